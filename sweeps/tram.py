"""Tram of the head by a swept arm: lean, what to turn, and what the dial must then read."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import cos, degrees, hypot, inf, isfinite, radians, sin
from typing import Literal

import numpy as np

from readings import DIRECTION_DEG, Axis, Direction, Sweep, move_word
from sweeps.allowance import DEFAULT_ALLOWANCE, Allowance
from sweeps.budget import BudgetLine, Verdict
from sweeps.first import directed_covariance
from sweeps.fourier import Float
from sweeps.result import Harmonic, SweepFailure
from sweeps.slope import BUDGET_LENGTH_MM, Slope, judge_both, slope_of
from sweeps.swept import Part, SweptFace, sweep_face
from sweeps.traverse_result import TraverseResult

_PLUS_END: dict[Axis, Direction] = {"x": "right", "y": "back", "z": "right"}


@dataclass(frozen=True, slots=True)
class HeadMove:
    """One adjustment of the head: tilt (x) or nod (y).

    The top of the spindle goes in `direction` by `lean_rad`. With the stylus at `look_at`
    the needle is brought to `reading_mm`, which holds for the head turning about `pivot`;
    `difference_mm`, the reading there less the one opposite, holds for any pivot.
    """

    axis: Axis
    direction: str
    lean_rad: float
    look_at: Direction
    reading_now_mm: float
    reading_mm: float
    u_reading_mm: float
    difference_now_mm: float
    difference_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class TramResult:
    """Lean of the spindle against the surface swept.

    `lean_x` is positive where the top of the spindle leans to +X (right), `lean_y` to +Y
    (back). `covariance_rad2` is of (lean_x, lean_y); `budget_x`, `budget_y` are over
    300 mm. `shape` are orders 2 and up of the reading: the table's form along the circle,
    and the spindle's axial motion.
    """

    lean_x: Slope
    lean_y: Slope
    covariance_rad2: Float
    lean_rad: float
    toward_deg: float
    """Where the top leans, from +X anticlockwise seen from above."""
    budget_x: tuple[BudgetLine, ...]
    budget_y: tuple[BudgetLine, ...]
    radius_mm: float
    moves: tuple[HeadMove, HeadMove]
    shape: tuple[Harmonic, ...]
    face: SweptFace
    n: int
    dof: float
    residuals_mm: Float
    left_out: float
    """Share of the circle over slots."""
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    def judge(self, tolerance_mm: float, per_mm: float = BUDGET_LENGTH_MM) -> Verdict:
        """Judge both planes against a tolerance in mm over `per_mm`."""
        return judge_both(self.lean_x, self.lean_y, tolerance_mm, per_mm)


def tram_by_arm(
    sweeps: Sweep | Sequence[Sweep],
    radius_mm: float,
    *,
    u_radius_mm: float = 0.5,
    pivot_mm: tuple[float, float] = (0.0, 0.0),
    allowance: Allowance = DEFAULT_ALLOWANCE,
    u_dial_mm: float | None = None,
    travel_mm: tuple[float, float] | None = None,
) -> TramResult | SweepFailure:
    """Return the lean of the spindle from a stylus that looks down and is swept round.

    Parameters
    ----------
    sweeps
        One turn, one each way (free of retrace, lag and drift), or stops; three or more
        places, better eight. Stretches over slots are left out.
    radius_mm, u_radius_mm
        From the spindle's axis to the stylus, with its standard uncertainty.
    pivot_mm
        How far to +X the axis lies about which the head tilts, and to +Y the one about
        which it nods, from the spindle's own. It moves only `reading_mm` of a `HeadMove`.
    allowance, u_dial_mm, travel_mm
        As in `fit_turn`.

    Returns
    -------
    TramResult or SweepFailure
        A failure where `fit_turn` fails, the radius is not a length, too much of the
        circle lies over slots, or one of four stops seems to.

    Notes
    -----
    The reading rises as the stylus is pushed up, so the arm's low side reads high: the top
    of the spindle leans to +X by ``a1 / S`` and to +Y by ``b1 / S``.
    """
    if not (isfinite(radius_mm) and radius_mm > 0 and isfinite(u_radius_mm) and u_radius_mm >= 0):
        return SweepFailure("The arm's length must be a number over zero.")
    face = sweep_face(sweeps, allowance=allowance, u_dial_mm=u_dial_mm, travel_mm=travel_mm)
    if not face:
        return face
    face = with_arm(face, radius_mm, u_radius_mm)
    lean = (face.a1_mm / radius_mm, face.b1_mm / radius_mm)
    factor = BUDGET_LENGTH_MM / radius_mm
    budget_x, budget_y = face.lines((1.0, 0.0), factor), face.lines((0.0, 1.0), factor)
    return TramResult(
        lean_x=slope_of(lean[0], budget_x),
        lean_y=slope_of(lean[1], budget_y),
        covariance_rad2=face.covariance_mm2 / radius_mm**2,
        lean_rad=hypot(*lean),
        toward_deg=degrees(float(np.arctan2(lean[1], lean[0]))) % 360.0,
        budget_x=budget_x,
        budget_y=budget_y,
        radius_mm=radius_mm,
        moves=head_moves(face, radius_mm, lean, pivot_mm),
        shape=face.shape,
        face=face,
        n=face.n,
        dof=face.dof,
        residuals_mm=face.residuals_mm,
        left_out=face.left_out,
        flags=face.flags,
        message=face.message,
    )


def with_arm(face: SweptFace, radius_mm: float, u_radius_mm: float) -> SweptFace:
    """Return the face with the arm's uncertain length in its parts."""
    size = hypot(face.a1_mm, face.b1_mm)
    along = (size * u_radius_mm / radius_mm) ** 2
    own = directed_covariance(face.a1_mm, face.b1_mm, along, 0.0)
    return replace(face, parts=(*face.parts, Part("arm length", own, inf, "radius of the sweep")))


def head_moves(
    face: SweptFace,
    radius_mm: float,
    remove_rad: tuple[float, float],
    pivot_mm: tuple[float, float],
) -> tuple[HeadMove, HeadMove]:
    """Return tilt, then nod, that take `remove_rad` (x, y) off the lean.

    Turning the head by -φ about an axis at p takes ``φ (S cos θ - p)`` off the reading at
    θ; the nod is told after the tilt is done.
    """
    tilt = _head_move(face, radius_mm, "x", (remove_rad[0], 0.0), (0.0, 0.0), pivot_mm)
    nod = _head_move(face, radius_mm, "y", (0.0, remove_rad[1]), (remove_rad[0], 0.0), pivot_mm)
    return tilt, nod


def _head_move(
    face: SweptFace,
    radius_mm: float,
    axis: Axis,
    remove: tuple[float, float],
    done: tuple[float, float],
    pivot_mm: tuple[float, float],
) -> HeadMove:
    look_at = _PLUS_END[axis]
    here = radians(DIRECTION_DEG[look_at])
    along = np.array([cos(here), sin(here)])
    shown = face.curve_mm(np.array([here, here + np.pi]))
    arms = radius_mm * np.outer([1.0, -1.0], along) - np.array(pivot_mm)
    now = shown - arms @ np.array(done)
    right = now - arms @ np.array(remove)
    size = remove[0] + remove[1]
    return HeadMove(
        axis=axis,
        direction=move_word(axis, -size),
        lean_rad=abs(size),
        look_at=look_at,
        reading_now_mm=float(now[0]),
        reading_mm=float(right[0]),
        u_reading_mm=float(np.sqrt(max(along @ face.covariance_mm2 @ along, 0.0))),
        difference_now_mm=float(now[0] - now[1]),
        difference_mm=float(right[0] - right[1]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class TramApart:
    """Spindle, table and travel told apart; each a lean of the top to +X and to +Y.

    A sweep compares the spindle with the table's surface, traverses under a still dial
    compare the surface with the travel; the sum is the spindle against the travel, and
    what a cutter does depends on that alone.
    """

    spindle_to_table_x: Slope
    spindle_to_table_y: Slope
    table_to_travel_x: Slope
    table_to_travel_y: Slope
    spindle_to_travel_x: Slope
    spindle_to_travel_y: Slope
    covariance_rad2: Float
    """``(2, 2)`` of spindle to travel."""
    budget_x: tuple[BudgetLine, ...]
    budget_y: tuple[BudgetLine, ...]
    moves: tuple[HeadMove, HeadMove]
    """What brings the spindle square to the travel; the sweep then still shows the table."""
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    def judge(self, tolerance_mm: float, per_mm: float = BUDGET_LENGTH_MM) -> Verdict:
        """Judge spindle to travel in both planes against a tolerance in mm over `per_mm`."""
        return judge_both(self.spindle_to_travel_x, self.spindle_to_travel_y, tolerance_mm, per_mm)


def spindle_to_travel(
    tram: TramResult | SweepFailure,
    along_x: TraverseResult | SweepFailure,
    along_y: TraverseResult | SweepFailure,
    *,
    what_moves: Literal["table", "spindle"] = "table",
    pivot_mm: tuple[float, float] = (0.0, 0.0),
) -> TramApart | SweepFailure:
    """Return the spindle against the travel, and apart from it the spindle against the table.

    Parameters
    ----------
    tram
        A sweep over the table's surface, by `tram_by_arm`.
    along_x, along_y
        Traverses along X and Y over the same surface, the dial still against the part that
        does not travel, looking down; places are the machine's own X and Y of what moves.
    what_moves
        The table under a still dial, or the spindle (a ram, a gantry) over a still table.

    Returns
    -------
    TramApart or SweepFailure
        The first failure among the three, if any.

    Notes
    -----
    As the table goes to +X the stylus runs over it to -X: the surface rises to +X against
    the travel by minus the reading's slope, and its normal leans to +X by that slope.
    """
    for each in (tram, along_x, along_y):
        if isinstance(each, SweepFailure):
            return each
    assert isinstance(tram, TramResult)
    assert isinstance(along_x, TraverseResult)
    assert isinstance(along_y, TraverseResult)
    sign = 1.0 if what_moves == "table" else -1.0
    table = [replace(t.slope, rad=sign * t.slope.rad) for t in (along_x, along_y)]
    budget_x = (*tram.budget_x, *_traverse_lines("X", along_x))
    budget_y = (*tram.budget_y, *_traverse_lines("Y", along_y))
    lean = (tram.lean_x.rad + table[0].rad, tram.lean_y.rad + table[1].rad)
    own = np.diag([table[0].u_rad ** 2, table[1].u_rad ** 2])
    return TramApart(
        spindle_to_table_x=tram.lean_x,
        spindle_to_table_y=tram.lean_y,
        table_to_travel_x=table[0],
        table_to_travel_y=table[1],
        spindle_to_travel_x=slope_of(lean[0], budget_x),
        spindle_to_travel_y=slope_of(lean[1], budget_y),
        covariance_rad2=tram.covariance_rad2 + own,
        budget_x=budget_x,
        budget_y=budget_y,
        moves=head_moves(tram.face, tram.radius_mm, lean, pivot_mm),
        flags=tuple(dict.fromkeys((*tram.flags, *along_x.flags, *along_y.flags))),
        message=f"sweep: {tram.message}; X: {along_x.message}; Y: {along_y.message}",
    )


def _traverse_lines(name: str, result: TraverseResult) -> tuple[BudgetLine, ...]:
    return tuple(replace(line, name=f"{name} travel, {line.name}") for line in result.budget)
