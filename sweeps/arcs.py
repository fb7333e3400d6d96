"""Old bores: worn on one side, slotted, oil-holed. The centre by the arcs that still count.

Falls are stretches where the work lies away from the stylus: below the circle that touches
the unworn wall. That circle is found from the wall nearest the stylus (inscribed in a bore,
circumscribed on a boss), which no wear under half a turn can move.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import degrees, hypot, sqrt
from typing import Literal

import numpy as np

from readings import Surface, Sweep, frozen_array, offset_from_first_harmonic
from sweeps.allowance import DEFAULT_ALLOWANCE, Allowance
from sweeps.budget import BudgetLine, Verdict, combine
from sweeps.contact import detect_clipped
from sweeps.first import ARCS
from sweeps.fourier import Float, harmonic_columns
from sweeps.overlap import TURN_RAD
from sweeps.result import SweepFailure, SweepResult, judge_places
from sweeps.roundness import Roundness, roundness
from sweeps.task import malformed
from sweeps.turn import fit_turn

Arc = tuple[float, float]
"""From, to in radians, anticlockwise: (6.2, 0.1) runs through zero."""
LEAST_FALL_MM = 0.008
"""Shallower than this a fall is taken for form: twice the two lobes allowed for."""
_GUARD_RAD = np.radians(3.0)
_BIN_RAD = np.radians(2.0)
_SLOT_RAD = np.radians(30.0)
"""A fall wider than this may as well be a stylus in the air, and is watched for that."""
_MIN_PLACES = 4
_ROUNDS = 20
_NOISE = 4.0
_MOSTLY = 0.9


@dataclass(frozen=True, slots=True, eq=False)
class ArcCentres:
    """One bore's (or boss') centre three ways; lengths in mm, e = work axis - spindle axis.

    `kept` is the one to use. `all_readings` is a failure where the whole sweep gives no
    number. `inscribed_x_mm`, `inscribed_y_mm` is of the largest circle that fits (on a boss
    of the smallest that goes round), a few places' word only; None where nothing holds it.
    `apart_mm` is the largest distance between those that exist; beyond the tolerance
    "arcs disagree" stands in `flags` and the person is to be asked.
    """

    kept: SweepResult
    all_readings: SweepResult | SweepFailure
    inscribed_x_mm: float | None
    inscribed_y_mm: float | None
    left_out: tuple[Arc, ...]
    """By hand and found, in radians within [0, 2π)."""
    found: tuple[Arc, ...]
    deepest_mm: float
    """How far the deepest fall lies below the kept curve's circle; 0 without falls."""
    apart_mm: float
    budget: tuple[BudgetLine, ...]
    """Of the kept arcs' eccentricity; "arcs" is how far the inscribed circle's centre lies
    from it, the most that a shallow wear left in the kept arcs can do, as a half-width."""
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    def judge(self, tolerance_mm: float) -> Verdict:
        """Judge the kept arcs' eccentricity, what the arcs leave open included."""
        total = combine(self.budget)
        return judge_places(self.kept.eccentricity_mm, total, tolerance_mm, self.kept.places)


def centre_by_arcs(
    sweep: Sweep,
    *,
    surface: Surface,
    tolerance_mm: float,
    leave_out: Sequence[Arc] = (),
    search: bool = True,
    diameter_mm: float | None = None,
    tip_radius_mm: float = 1.0,
    allowance: Allowance = DEFAULT_ALLOWANCE,
    travel_mm: tuple[float, float] | None = None,
    u_dial_mm: float | None = None,
    least_fall_mm: float = LEAST_FALL_MM,
) -> ArcCentres | SweepFailure:
    """Return the centre from all readings, from the arcs kept, and inscribed.

    Parameters
    ----------
    sweep
        A turn with measured angles.
    leave_out
        Arcs that a person left out by touch.
    search
        Whether to look for falls by itself.
    least_fall_mm
        How deep a fall must be to be left out.
    surface, tolerance_mm, diameter_mm, tip_radius_mm, allowance, travel_mm, u_dial_mm
        As in `fit_turn` and `SweepResult.judge`.

    Returns
    -------
    ArcCentres or SweepFailure
        A failure as `fit_turn` has them on the kept arcs, where more than half a turn is
        left out, where the needle rests as in the air (narrow falls and arcs left out by
        hand apart), or on a face.
    """
    if surface == "face":
        return SweepFailure("A face has no centre: arcs belong to a bore, a boss or a bar.")
    if not all(np.isfinite(edge) for arc in leave_out for edge in arc):
        return SweepFailure("An arc to be left out has an end that is not a number.")
    reason = malformed(sweep)
    if reason is not None:
        return SweepFailure(reason, sweep.flags)
    if left_out_rad(leave_out) > TURN_RAD / 2:
        return TOO_MUCH_BY_HAND
    by_hand = _outside(sweep.angle_rad, leave_out)
    hand = _cut(sweep, by_hand)
    found = find_falls(hand, least_fall_mm=least_fall_mm) if search else ()
    if isinstance(found, SweepFailure):
        return found
    narrow = [arc for arc in found if _width(arc) < _SLOT_RAD]
    watched = detect_clipped(_cut(hand, _outside(hand.angle_rad, narrow)), travel_mm)
    if "stylus off the work" in watched or (watched and not _rests_on_the_wall(hand, found)):
        return SweepFailure(_IN_THE_AIR, watched)
    fit = partial(
        fit_turn,
        surface=surface,
        diameter_mm=diameter_mm,
        tip_radius_mm=tip_radius_mm,
        allowance=allowance,
        travel_mm=travel_mm,
        u_dial_mm=u_dial_mm,
    )
    kept = fit(_cut(hand, _outside(hand.angle_rad, found)))
    if isinstance(kept, SweepFailure):
        return kept
    return _compared(sweep, kept, fit(sweep), tuple(leave_out), found, tolerance_mm)


TOO_MUCH_BY_HAND = SweepFailure(
    "More than half of the wall would be left out: what is left cannot tell a centre. Take an "
    "arc back."
)


def left_out_rad(arcs: Sequence[Arc]) -> float:
    """Return how much of a turn arcs leave out together, overlaps counted once.

    >>> round(degrees(left_out_rad([(6.0, 0.5), (0.0, 1.0)])), 1)
    73.5
    """
    joined = _joined([(a % TURN_RAD, a % TURN_RAD + _width((a, b))) for a, b in arcs])
    return sum(_width(arc) for arc in joined)


def _rests_on_the_wall(sweep: Sweep, found: tuple[Arc, ...]) -> bool:
    """Whether the highest readings belong to what is kept beside falls.

    A nearly centred wall is flat at the top and, beside a fall, looks like an end of travel;
    a true end of travel lies below the circle itself and is found as a fall.
    """
    top = sweep.value_mm >= sweep.value_mm.max() - _NOISE * _scatter(sweep.value_mm)
    return bool(found) and bool(_outside(sweep.angle_rad[top], found).mean() > _MOSTLY)


_IN_THE_AIR = (
    "The needle rests on a wide arc, in the air or at the end of its travel: leave that arc "
    "out by hand, or load the stylus to mid travel and sweep again."
)


def find_falls(
    sweep: Sweep, *, least_fall_mm: float = LEAST_FALL_MM
) -> tuple[Arc, ...] | SweepFailure:
    """Return the arcs where the reading falls away from the circle of the rest.

    Parameters
    ----------
    sweep
        A turn with measured angles, whole or in part.
    least_fall_mm
        How deep a fall must be; also four times the scatter from sample to sample.

    Returns
    -------
    tuple of Arc or SweepFailure
        Each with three degrees more at either end, joined where they meet; empty where
        nothing falls. A failure where more than half a turn would be left out or values
        are not numbers.
    """
    if malformed(sweep) or len(sweep) < _MIN_PLACES:
        return SweepFailure("Falls need four readings or more, all of them numbers.")
    angle, level = _bins(sweep)
    touching = roundness(angle, level, "MCC")
    if not touching:
        return ()
    depth = least_fall_mm + _NOISE * _scatter(sweep.value_mm)
    columns = harmonic_columns(sweep.angle_rad, 1)
    rest = level - _first(angle) @ (touching.x_mm, touching.y_mm)
    beta = np.array([float(rest.max()), touching.x_mm, touching.y_mm])
    kept = sweep.value_mm - columns @ beta > -depth
    for _ in range(_ROUNDS):
        if kept.sum() < _MIN_PLACES:
            return _TOO_MUCH
        beta = np.linalg.lstsq(columns[kept], sweep.value_mm[kept], rcond=None)[0]
        now = sweep.value_mm - columns @ beta > -_edge(depth)
        if (now == kept).all():
            break
        kept = now
    return _as_arcs(sweep, columns @ beta - sweep.value_mm, depth)


_TOO_MUCH = SweepFailure(
    "More than half of the wall falls away: what is left cannot tell a centre. Say by hand "
    "which arcs are worn."
)


def _edge(depth: float) -> float:
    """Return how far into the fall the wall is trusted: half, so that its slopes go too."""
    return 0.5 * depth


def _as_arcs(sweep: Sweep, below: Float, depth: float) -> tuple[Arc, ...] | SweepFailure:
    """Return runs below half the depth that reach the whole of it somewhere."""
    order = np.argsort(np.mod(sweep.angle_rad, TURN_RAD), kind="stable")
    angle, low = np.mod(sweep.angle_rad, TURN_RAD)[order], below[order]
    step = TURN_RAD / max(len(angle), 1)
    arcs: list[Arc] = []
    inside = np.flatnonzero(low > _edge(depth))
    for run in np.split(inside, np.flatnonzero(np.diff(angle[inside]) > _GUARD_RAD + 2 * step) + 1):
        if len(run) and low[run].max() > depth:
            arcs.append((float(angle[run[0]]) - _GUARD_RAD, float(angle[run[-1]]) + _GUARD_RAD))
    joined = _joined(arcs)
    return _TOO_MUCH if sum(_width(arc) for arc in joined) > TURN_RAD / 2 else joined


def _joined(arcs: list[Arc]) -> tuple[Arc, ...]:
    """Join what overlaps, through zero too, and fold into [0, 2π)."""
    merged: list[list[float]] = []
    for start, end in sorted(arcs):
        if merged and start <= merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], end)
        else:
            merged.append([start, end])
    if len(merged) > 1 and merged[0][0] + TURN_RAD <= merged[-1][1]:
        start, end = merged.pop()
        merged[0] = [start - TURN_RAD, max(merged[0][1], end - TURN_RAD)]
    return tuple((start % TURN_RAD, end % TURN_RAD) for start, end in merged)


def _width(arc: Arc) -> float:
    return (arc[1] - arc[0]) % TURN_RAD


def _outside(angle_rad: Float, arcs: Sequence[Arc]) -> np.ndarray:
    keep = np.ones(len(angle_rad), dtype=bool)
    for start, end in arcs:
        keep &= np.mod(angle_rad - start, TURN_RAD) > _width((start, end))
    return keep


def left_out_of(angle_rad: Float, arcs: Sequence[Arc]) -> np.ndarray:
    """Return which angles lie inside arcs, as `angle_rad` is shaped."""
    return ~_outside(angle_rad, arcs)


def _cut(sweep: Sweep, keep: np.ndarray) -> Sweep:
    if keep.all():
        return sweep
    return replace(
        sweep,
        t_s=frozen_array(sweep.t_s[keep]),
        value_mm=frozen_array(sweep.value_mm[keep]),
        sigma_mm=frozen_array(sweep.sigma_mm[keep]),
        angle_rad=frozen_array(sweep.angle_rad[keep]),
        sigma_angle_rad=frozen_array(sweep.sigma_angle_rad[keep]),
    )


def _bins(sweep: Sweep) -> tuple[Float, Float]:
    """Return median angle and reading of bins of two degrees: no spike rules a circle."""
    folded = np.mod(sweep.angle_rad, TURN_RAD)
    _, place, count = np.unique(
        (folded / _BIN_RAD).astype(np.intp), return_inverse=True, return_counts=True
    )
    angle = np.bincount(place, folded) / count
    rising = sweep.value_mm[np.lexsort((sweep.value_mm, place))]
    first = np.cumsum(count) - count
    middle = rising[first + (count - 1) // 2] + rising[first + count // 2]
    return angle, middle / 2


def _first(angle: Float) -> Float:
    return np.column_stack([np.cos(angle), np.sin(angle)])


def _scatter(value_mm: Float) -> float:
    third = np.diff(value_mm, 3)
    return float(1.4826 * np.median(np.abs(third)) / np.sqrt(20.0)) if len(third) else 0.0


def _compared(
    sweep: Sweep,
    kept: SweepResult,
    all_readings: SweepResult | SweepFailure,
    by_hand: tuple[Arc, ...],
    found: tuple[Arc, ...],
    tolerance_mm: float,
) -> ArcCentres:
    inscribed = _inscribed(sweep, kept)
    centres = [(kept.offset_x_mm, kept.offset_y_mm), inscribed]
    if isinstance(all_readings, SweepResult):
        centres.append((all_readings.offset_x_mm, all_readings.offset_y_mm))
    known = [(x, y) for x, y in centres if x is not None and y is not None]
    apart = max(_apart(a, b) for a in known for b in known)
    open_mm = _apart(centres[0], inscribed) / sqrt(3) if inscribed[0] is not None else 0.0
    left_out = _joined([(a, a + _width((a, b))) for a, b in (*by_hand, *found)])
    flags = {
        "arcs left out": bool(left_out),
        "arcs disagree": apart > tolerance_mm or isinstance(all_readings, SweepFailure),
    }
    width = sum(_width(arc) for arc in left_out)
    return ArcCentres(
        kept=kept,
        all_readings=all_readings,
        inscribed_x_mm=inscribed[0],
        inscribed_y_mm=inscribed[1],
        left_out=left_out,
        found=found,
        deepest_mm=_deepest(sweep, kept, found),
        apart_mm=apart,
        budget=(*kept.budget, BudgetLine(ARCS, open_mm, note="which arcs count")),
        flags=(*kept.flags, *(name for name, on in flags.items() if on)),
        message=f"{len(left_out)} arcs of {degrees(width):.0f} degrees together left out",
    )


def _apart(
    one: tuple[float | None, float | None], other: tuple[float | None, float | None]
) -> float:
    return hypot((one[0] or 0.0) - (other[0] or 0.0), (one[1] or 0.0) - (other[1] or 0.0))


def _inscribed(sweep: Sweep, kept: SweepResult) -> tuple[float | None, float | None]:
    """Return the centre of the circle that touches the wall nearest the stylus."""
    angle, level = _bins(sweep)
    touching: Roundness | SweepFailure = roundness(angle, level, "MCC")
    if not touching or kept.surface is None:
        return None, None
    return offset_from_first_harmonic(touching.x_mm, touching.y_mm, kept.surface)


def _deepest(sweep: Sweep, kept: SweepResult, found: tuple[Arc, ...]) -> float:
    fallen = ~_outside(sweep.angle_rad, found)
    if not fallen.any():
        return 0.0
    circle = harmonic_columns(sweep.angle_rad[fallen], 1) @ kept.values_mm[:3]
    return float(np.max(circle - sweep.value_mm[fallen]))
