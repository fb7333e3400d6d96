"""A turn each way: the offset that neither retrace nor lag can drag."""

from dataclasses import dataclass
from math import hypot, inf, pi, sqrt
from typing import Literal

import numpy as np

from readings import Surface, offset_from_first_harmonic
from sweeps.budget import BudgetLine, Combined, Verdict, combine
from sweeps.first import STATED, directed_covariance, stated_covariance
from sweeps.fourier import Float, harmonic_columns
from sweeps.result import Harmonic, SweepResult, judge_places, offset_geometry
from sweeps.retrace import retrace_loss_mm


@dataclass(frozen=True, slots=True, eq=False)
class CentringResult:
    """The mean of one turn each way. Lengths in mm, `u_…` k = 1.

    `offset_x_mm`, `offset_y_mm` is e = work axis - spindle axis; the work moves by -e.
    `covariance` is of (x, y) in mm², everything in it. `sideways_mm` is half the
    difference of the two turns: retrace and lag, which the mean is free of.
    `ovality_mm` has the offset's own lobe removed and is None where the diameter is
    unknown.
    """

    offset_x_mm: float
    offset_y_mm: float
    covariance: Float
    eccentricity_mm: float
    u_eccentricity_mm: float
    u_dial_mm: float | None
    u_total_mm: float
    dof_total: float
    budget: tuple[BudgetLine, ...]
    sideways_mm: float
    sideways_x_mm: float
    sideways_y_mm: float
    a1_mm: float
    b1_mm: float
    mean_mm: float
    high_spot_deg: float
    tir_mm: float
    u_tir_mm: float
    ovality_mm: float | None
    lobes: tuple[Harmonic, ...]
    """Orders 2 and up of the work itself, geometry's own lobe removed where known."""
    surface: Surface
    diameter_mm: float | None
    places: int
    start_rad: float
    """Smallest angle that both turns used."""
    turn_deg: float
    flags: tuple[str, ...]
    message: str
    shape_values_mm: Float
    """(2 * order + 1,): mean, 0, 0, a2, b2, … with the offset's own share taken off."""
    shape_covariance: Float
    """The fits' covariance of `shape_values_mm` in mm², the first order's included."""
    geometry: tuple[float, float]
    """(mean, lobe) in mm that the offset itself puts into the reading; zeros if unknown."""

    def __bool__(self) -> Literal[True]:
        return True

    def shape_mm(self, theta_rad: float | Float) -> Float:
        """Return the reading to expect at θ once the offset is gone, as `theta_rad` is shaped."""
        theta = np.atleast_1d(np.asarray(theta_rad, dtype=np.float64)).ravel()
        columns = harmonic_columns(theta, (len(self.shape_values_mm) - 1) // 2)
        return np.asarray((columns @ self.shape_values_mm).reshape(np.shape(theta_rad)))

    def curve_mm(self, theta_rad: float | Float) -> Float:
        """Return the mean fitted reading at θ, offset included."""
        theta = np.asarray(theta_rad, dtype=np.float64)
        first = self.a1_mm * np.cos(theta) + self.b1_mm * np.sin(theta)
        mean, lobe = self.geometry
        high = np.radians(self.high_spot_deg)
        return np.asarray(self.shape_mm(theta) + first + mean + lobe * np.cos(2 * (theta - high)))

    def judge(self, tolerance_mm: float) -> Verdict:
        """Judge the eccentricity against a tolerance; three places can never say "inside"."""
        total = Combined(self.u_total_mm, self.dof_total)
        return judge_places(self.eccentricity_mm, total, tolerance_mm, self.places)


def combine_turns(anticlockwise: SweepResult, clockwise: SweepResult) -> CentringResult:
    """Return the centring result of one turn each way over the same surface.

    Parameters
    ----------
    anticlockwise, clockwise
        Results of `fit_turn` with the same surface (bore, boss or bar) and diameter.

    Raises
    ------
    ValueError
        If the surfaces or diameters differ, or the surface has no centre.

    Notes
    -----
    Retrace and lag drag the reading after the angle, so their part of (a1, b1) changes
    sign with the sense of turning. Fits are independent; the reader's repeating part,
    the roundness allowance and the dial are the same in both and do not average out, nor
    does what retrace takes off the size (found from half the difference).
    """
    surface = _common_surface(anticlockwise, clockwise)
    a1 = (anticlockwise.a1_mm + clockwise.a1_mm) / 2
    b1 = (anticlockwise.b1_mm + clockwise.b1_mm) / 2
    size = hypot(a1, b1)
    x, y = offset_from_first_harmonic(a1, b1, surface)
    side = _half_difference(anticlockwise, clockwise, surface)
    fit, common = _covariances(anticlockwise, clockwise)
    u_dial = _worst(anticlockwise.u_dial_mm, clockwise.u_dial_mm)
    budget = _budget(anticlockwise, clockwise, (a1, b1), fit, u_dial, hypot(*side))
    total = combine(budget)
    lost = directed_covariance(a1, b1, _named(budget, "retrace").u_mm ** 2, 0.0)
    stated = stated_covariance(a1, b1, _stated(anticlockwise, clockwise))
    known = _known_geometry(anticlockwise, size, surface)
    high = float(np.arctan2(b1, a1))
    shape = _mean_shape(anticlockwise, clockwise)
    lobes = _lobes(shape)
    return CentringResult(
        offset_x_mm=x,
        offset_y_mm=y,
        covariance=fit + common + lost + stated + (u_dial or 0.0) ** 2 * np.eye(2),
        eccentricity_mm=size,
        u_eccentricity_mm=hypot(budget[0].u_mm, budget[1].u_mm),
        u_dial_mm=u_dial,
        u_total_mm=total.u_mm,
        dof_total=total.dof,
        budget=budget,
        sideways_mm=hypot(*side),
        sideways_x_mm=side[0],
        sideways_y_mm=side[1],
        a1_mm=a1,
        b1_mm=b1,
        mean_mm=(anticlockwise.mean_mm + clockwise.mean_mm) / 2,
        high_spot_deg=float(np.degrees(high)) % 360.0,
        tir_mm=(anticlockwise.tir_mm + clockwise.tir_mm) / 2,
        u_tir_mm=hypot(anticlockwise.u_tir_mm, clockwise.u_tir_mm) / sqrt(2.0),
        ovality_mm=lobes[0].amplitude_mm if known is not None and lobes else None,
        lobes=lobes,
        surface=surface,
        diameter_mm=anticlockwise.diameter_mm,
        places=min(anticlockwise.places, clockwise.places),
        start_rad=max(anticlockwise.start_rad, clockwise.start_rad),
        turn_deg=min(anticlockwise.turn_deg, clockwise.turn_deg),
        flags=_flags(anticlockwise, clockwise),
        message=f"one turn each way, {anticlockwise.n} and {clockwise.n} readings",
        shape_values_mm=shape,
        shape_covariance=_shape_covariance(anticlockwise, clockwise),
        geometry=known or (0.0, 0.0),
    )


def _common_surface(one: SweepResult, other: SweepResult) -> Surface:
    if one.surface is None or one.surface == "face":
        msg = "centring needs a bore, a boss or a bar; a face has no centre"
        raise ValueError(msg)
    if one.surface != other.surface or one.diameter_mm != other.diameter_mm:
        msg = "the two turns were not over the same surface"
        raise ValueError(msg)
    return one.surface


def _half_difference(one: SweepResult, other: SweepResult, surface: Surface) -> tuple[float, float]:
    return offset_from_first_harmonic(
        (one.a1_mm - other.a1_mm) / 2, (one.b1_mm - other.b1_mm) / 2, surface
    )


def _covariances(one: SweepResult, other: SweepResult) -> tuple[Float, Float]:
    """Return the mean's (2, 2) covariance from the fits, and from what both turns share."""
    fits = [r.covariance[1:3, 1:3] for r in (one, other)]
    shared = [r.first_covariance - fit for r, fit in zip((one, other), fits, strict=True)]
    return (fits[0] + fits[1]) / 4, (shared[0] + shared[1]) / 2


def _worst(*values: float | None) -> float | None:
    known = [v for v in values if v is not None]
    return max(known) if len(known) == len(values) else None


def _named(budget: tuple[BudgetLine, ...], name: str) -> BudgetLine:
    return next(line for line in budget if line.name == name)


def _budget(
    one: SweepResult,
    other: SweepResult,
    first: tuple[float, float],
    fit: Float,
    u_dial: float | None,
    sideways_mm: float,
) -> tuple[BudgetLine, ...]:
    shared = [
        BudgetLine(name, max(_named(r.budget, name).u_mm for r in (one, other)), inf, note)
        for name, note in (("reader", "the same in both turns"), ("roundness", "the same in both"))
    ]
    lines = [BudgetLine("fit", _along(first, fit), _mean_dof(one, other), "mean of two turns")]
    loss = retrace_loss_mm(hypot(*first), pi * sideways_mm / 2) / sqrt(3)
    lines.append(BudgetLine("retrace", loss, inf, "rest at each turn of the needle"))
    dial = [BudgetLine("dial", u_dial, inf, "its error table")] if u_dial is not None else []
    return (lines[0], *shared, *lines[1:], *dial, *_stated(one, other))


def _stated(one: SweepResult, other: SweepResult) -> tuple[BudgetLine, ...]:
    """Return what was stated of gain, temperature and repeatability, the same in both turns."""
    lines = [line for line in (*one.budget, *other.budget) if line.name in STATED]
    largest = {line.name: line for line in sorted(lines, key=lambda line: line.u_mm)}
    return tuple(largest[name] for name in STATED if name in largest)


def _along(first: tuple[float, float], covariance: Float) -> float:
    worst = float(np.linalg.eigvalsh(covariance)[-1])
    size = hypot(*first)
    if size <= 3 * sqrt(worst):
        return sqrt(worst)
    unit = np.array(first) / size
    return sqrt(max(float(unit @ covariance @ unit), 0.0))


def _mean_dof(one: SweepResult, other: SweepResult) -> float:
    halves = [BudgetLine("", _named(r.budget, "fit").u_mm / 2, r.dof) for r in (one, other)]
    return combine(halves).dof


def _known_geometry(
    result: SweepResult, size: float, surface: Surface
) -> tuple[float, float] | None:
    return offset_geometry(size, surface, result.diameter_mm, result.tip_radius_mm)


def _mean_shape(one: SweepResult, other: SweepResult) -> Float:
    """Return the mean of both shapes as harmonic coefficients to the order both carry."""
    order = min(one.model.order, other.model.order)
    total = (_own_shape(one, order) + _own_shape(other, order)) / 2
    total.flags.writeable = False
    return total


def _shape_covariance(one: SweepResult, other: SweepResult) -> Float:
    size = 2 * min(one.model.order, other.model.order) + 1
    return (one.covariance[:size, :size] + other.covariance[:size, :size]) / 4


def _own_shape(result: SweepResult, order: int) -> Float:
    values = np.array(result.values_mm[: 2 * order + 1])
    mean, lobe = result.geometry
    values[0] -= mean
    values[1:3] = 0.0
    if order >= 2:
        high = np.radians(result.high_spot_deg)
        values[3] -= lobe * np.cos(2 * high)
        values[4] -= lobe * np.sin(2 * high)
    return values


def _lobes(shape: Float) -> tuple[Harmonic, ...]:
    pairs = shape[3:].reshape(-1, 2).tolist()
    return tuple(
        Harmonic(k, hypot(a, b), float(np.degrees(np.arctan2(b, a))))
        for k, (a, b) in enumerate(pairs, start=2)
    )


def _flags(one: SweepResult, other: SweepResult) -> tuple[str, ...]:
    both = dict.fromkeys((*one.flags, *other.flags))
    return tuple(flag for flag in both if flag != "one way only")
