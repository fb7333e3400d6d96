"""A face swept by an arm on the spindle: its first harmonic from one turn, or one each way."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, inf, pi, sqrt
from typing import Literal

import numpy as np

from readings import Sweep
from sweeps.allowance import Allowance
from sweeps.budget import BudgetLine, combine
from sweeps.first import GAIN, RETURN, directed_covariance, stated_lines
from sweeps.fourier import Float, harmonic_columns
from sweeps.linear import frozen
from sweeps.result import Harmonic, SweepFailure, SweepResult
from sweeps.retrace import retrace_loss_mm
from sweeps.slots import on_the_face
from sweeps.task import unusable
from sweeps.turn import fit_turn

_CUT_FLAGS = ("stylus off the work", "end of travel")
_MIN_ON_FACE = 0.35
_FOUR_STOPS = 4
_CLOSURE_MM = 0.03
"""Opposite sums of four stops further apart than this: one of them may stand over a slot."""


@dataclass(frozen=True, slots=True)
class Part:
    """One contribution to (a1, b1): its ``(2, 2)`` covariance in mm²."""

    name: str
    covariance: Float
    dof: float
    note: str


@dataclass(frozen=True, slots=True, eq=False)
class SweptFace:
    """First harmonic of a face's reading and its shape; lengths in mm.

    `shape_values_mm` is mean, 0, 0, a2, b2, …; `left_out` the share of samples over slots.
    """

    a1_mm: float
    b1_mm: float
    parts: tuple[Part, ...]
    shape_values_mm: Float
    sideways_mm: float | None
    n: int
    dof: float
    residuals_mm: Float
    places: int
    turn_deg: float
    left_out: float
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    @property
    def covariance_mm2(self) -> Float:
        """``(2, 2)`` covariance of (a1, b1), all parts."""
        return np.asarray(sum((part.covariance for part in self.parts), np.zeros((2, 2))))

    def lines(self, direction: tuple[float, float], factor: float) -> tuple[BudgetLine, ...]:
        """Return the budget of ``factor * (a1, b1) · direction``."""
        unit = np.array(direction)
        return tuple(
            BudgetLine(
                part.name,
                abs(factor) * sqrt(max(float(unit @ part.covariance @ unit), 0.0)),
                part.dof,
                part.note,
            )
            for part in self.parts
        )

    def shape_mm(self, theta_rad: float | Float) -> Float:
        """Return the reading at θ once the tilt is gone: mean and orders 2 and up."""
        return _curve(theta_rad, self.shape_values_mm)

    def curve_mm(self, theta_rad: float | Float) -> Float:
        """Return the fitted reading at θ."""
        values = np.array(self.shape_values_mm)
        values[1:3] = self.a1_mm, self.b1_mm
        return _curve(theta_rad, values)

    @property
    def shape(self) -> tuple[Harmonic, ...]:
        """Orders 2 and up: the face's own form, and the spindle's axial motion with it."""
        pairs = self.shape_values_mm[3:].reshape(-1, 2).tolist()
        return tuple(
            Harmonic(k, hypot(a, b), float(np.degrees(np.arctan2(b, a))))
            for k, (a, b) in enumerate(pairs, start=2)
        )


def _curve(theta_rad: float | Float, values: Float) -> Float:
    theta = np.atleast_1d(np.asarray(theta_rad, dtype=np.float64)).ravel()
    columns = harmonic_columns(theta, (len(values) - 1) // 2)
    return np.asarray((columns @ values).reshape(np.shape(theta_rad)))


def sweep_face(
    sweeps: Sweep | Sequence[Sweep],
    *,
    allowance: Allowance,
    u_dial_mm: float | None = None,
    travel_mm: tuple[float, float] | None = None,
) -> SweptFace | SweepFailure:
    """Return the first harmonic of a face from one sweep or several over the same circle.

    Turns in one sense are averaged; those of either sense weigh the same, so that one turn
    each way is free of retrace, lag and steady drift. Slots are left out first.
    """
    turns = (sweeps,) if isinstance(sweeps, Sweep) else tuple(sweeps)
    if not turns:
        return SweepFailure("Nothing was swept.")
    results: list[SweepResult] = []
    left_out = 0.0
    for turn in turns:
        reason = unusable(turn)
        if reason is not None:
            return SweepFailure(reason, turn.flags)
        clean, share = _clean(turn)
        if isinstance(clean, SweepFailure):
            return clean
        found = fit_turn(
            clean,
            surface="face",
            allowance=allowance,
            u_dial_mm=u_dial_mm,
            travel_mm=_travel(clean, travel_mm, touches=share > 0),
        )
        if not found:
            return found if travel_mm or not _still(clean) else SweepFailure(_STILL, found.flags)
        if _over_a_slot(found):
            return SweepFailure(_SLOT_REASON, found.flags)
        results.append(found)
        left_out = max(left_out, share)
    return _mean(tuple(results), left_out, allowance, u_dial_mm)


_STILL_SIGMAS = 1.3
_STILL = (
    "The needle never moved: either the face is true to within the reading, or the stylus does "
    "not touch it; load the stylus, or teach the dial's travel, and sweep again."
)


def _still(sweep: Sweep) -> bool:
    return float(np.std(sweep.value_mm)) <= _STILL_SIGMAS * float(np.median(sweep.sigma_mm))


def _travel(
    sweep: Sweep, travel_mm: tuple[float, float] | None, *, touches: bool
) -> tuple[float, float] | None:
    """Return the travel; a still needle that fell into slots before is on the face for sure."""
    if travel_mm is None and touches and _still(sweep):
        middle = float(np.median(sweep.value_mm))
        return middle - 1.0, middle + 1.0
    return travel_mm


_SLOT_REASON = (
    "Opposite pairs of stops disagree by more than any table is bent: one may stand over a "
    "slot; turn the arm a little and sweep again, or sweep on a ring or two parallels."
)


def _clean(sweep: Sweep) -> tuple[Sweep | SweepFailure, float]:
    """Return the sweep without what fell into slots, and the share left out."""
    arrays = (sweep.t_s, sweep.value_mm, sweep.sigma_mm, sweep.angle_rad, sweep.sigma_angle_rad)
    if not all(len(a) == len(sweep) and np.isfinite(a).all() for a in arrays):
        return sweep, 0.0
    on = on_the_face(sweep)
    if on.all():
        return sweep, 0.0
    share = 1.0 - float(on.mean())
    if on.mean() < _MIN_ON_FACE:
        reason = f"{share:.0%} of the circle lies over slots: sweep on a ring or two parallels."
        return SweepFailure(reason, ("slots left out",)), share
    kept = tuple(f for f in sweep.flags if f not in _CUT_FLAGS)
    t_s, value, sigma, angle, sigma_angle = (frozen(a[on]) for a in arrays)
    flags = (*kept, "slots left out")
    clean = replace(
        sweep,
        t_s=t_s,
        value_mm=value,
        sigma_mm=sigma,
        angle_rad=angle,
        sigma_angle_rad=sigma_angle,
        flags=flags,
    )
    return clean, share


def _over_a_slot(result: SweepResult) -> bool:
    closure = result.opposite_sum_mm
    return result.places == _FOUR_STOPS and closure is not None and abs(closure) > _CLOSURE_MM


def _sense(result: SweepResult) -> str:
    return result.sense or "unknown"


def _mean(
    results: tuple[SweepResult, ...],
    left_out: float,
    allowance: Allowance,
    u_dial_mm: float | None,
) -> SweptFace:
    senses = sorted({_sense(r) for r in results})
    weights = [1 / (len(senses) * sum(_sense(o) == _sense(r) for o in results)) for r in results]
    firsts = np.array([[r.a1_mm, r.b1_mm] for r in results])
    first = np.asarray(weights) @ firsts
    both_ways = {"anticlockwise", "clockwise"} <= set(senses)
    sideways = _half_difference(results, firsts) if both_ways else None
    parts = (
        _fit_part(results, weights),
        *_shared_parts(results),
        _dragged_part(results, first, allowance, sideways),
        *_return_part(results, weights),
        *_stated_parts(first, allowance, u_dial_mm),
    )
    flags = tuple(dict.fromkeys(f for r in results for f in r.flags))
    return SweptFace(
        a1_mm=float(first[0]),
        b1_mm=float(first[1]),
        parts=parts,
        shape_values_mm=_mean_shape(results, weights),
        sideways_mm=sideways,
        n=sum(r.n for r in results),
        dof=parts[0].dof,
        residuals_mm=frozen(np.concatenate([r.residuals_mm for r in results])),
        places=min(r.places for r in results),
        turn_deg=min(r.turn_deg for r in results),
        left_out=left_out,
        flags=tuple(f for f in flags if not (both_ways and f == "one way only")),
        message="; ".join(r.message for r in results),
    )


def _half_difference(results: tuple[SweepResult, ...], firsts: Float) -> float:
    means = [
        firsts[[_sense(r) == sense for r in results]].mean(axis=0)
        for sense in ("anticlockwise", "clockwise")
    ]
    return float(np.linalg.norm(means[0] - means[1])) / 2


def _fit_part(results: tuple[SweepResult, ...], weights: list[float]) -> Part:
    total = np.zeros((2, 2))
    lines = []
    for result, weight in zip(results, weights, strict=True):
        own = weight**2 * result.covariance[1:3, 1:3]
        total += own
        lines.append(BudgetLine("", sqrt(max(float(np.trace(own)) / 2, 0.0)), result.dof))
    return Part("fit", total, combine(lines).dof, "scatter about the fitted curve")


def _shared_parts(results: tuple[SweepResult, ...]) -> tuple[Part, ...]:
    """Return what is the same in every turn: the reader's part and the form's leak."""
    readers = [next(b.u_mm for b in r.budget if b.name == "reader") for r in results]
    eye = np.eye(2)
    forms = [
        r.first_covariance - r.covariance[1:3, 1:3] - reader**2 * eye
        for r, reader in zip(results, readers, strict=True)
    ]
    return (
        Part("reader", max(readers) ** 2 * eye, inf, "what repeats from picture to picture"),
        Part("roundness", np.mean(forms, axis=0), inf, "allowed form times its leak"),
    )


def _return_part(results: tuple[SweepResult, ...], weights: list[float]) -> tuple[Part, ...]:
    """Return what turns that did not come back leave open, if any did not."""
    total = 0.0
    for result, weight in zip(results, weights, strict=True):
        total += sum((weight * b.u_mm) ** 2 for b in result.budget if b.name == RETURN)
    return (Part(RETURN, total * np.eye(2), inf, "a knock or drift"),) if total > 0 else ()


def _dragged_part(
    results: tuple[SweepResult, ...], first: Float, allowance: Allowance, sideways: float | None
) -> Part:
    """Return what retrace and lag do; one turn each way leaves what retrace takes off."""
    a1, b1 = float(first[0]), float(first[1])
    size = hypot(a1, b1)
    if sideways is not None:
        play = min(pi * sideways / 2, allowance.retrace_mm)
        loss = retrace_loss_mm(size, play) / sqrt(3)
        return Part("retrace", directed_covariance(a1, b1, loss**2, 0.0), inf, "one turn each way")
    across = max(r.sideways_variance for r in results)
    along = max(next(b.u_mm for b in r.budget if b.name == "retrace") for r in results) ** 2
    if size < 3 * sqrt(across):
        return Part("retrace", max(across, along) * np.eye(2), inf, "one way only, lag with it")
    return Part("retrace", directed_covariance(a1, b1, along, across), inf, "one way only")


def _stated_parts(first: Float, allowance: Allowance, u_dial_mm: float | None) -> tuple[Part, ...]:
    a1, b1 = float(first[0]), float(first[1])
    parts = []
    if u_dial_mm is not None:
        parts.append(Part("dial", u_dial_mm**2 * np.eye(2), inf, "its error table"))
    for line in stated_lines(hypot(a1, b1), allowance):
        own = np.eye(2) * line.u_mm**2
        if line.name == GAIN:
            own = directed_covariance(a1, b1, line.u_mm**2, 0.0)
        parts.append(Part(line.name, own, inf, line.note))
    return tuple(parts)


def _mean_shape(results: tuple[SweepResult, ...], weights: list[float]) -> Float:
    order = min(r.model.order for r in results)
    values = np.asarray(weights) @ np.array([r.values_mm[: 2 * order + 1] for r in results])
    values[1:3] = 0.0
    return frozen(values)
