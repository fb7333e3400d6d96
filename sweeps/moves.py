"""What to move, how far, and the reading to bring the needle to.

A move is judged by the needle: it is right when the dial shows, at the axis concerned, what
it will show once the work is true there. The handwheel only helps to get near.
"""

from dataclasses import dataclass
from math import cos, degrees, pi, sin, sqrt
from typing import Literal, Protocol

import numpy as np

from readings import DIRECTION_DEG, Axis, Direction, Surface, reading_change_for_move
from sweeps.centring import CentringResult
from sweeps.fourier import harmonic_columns
from sweeps.result import SweepFailure

Trend = Literal["rising", "falling"]
"""How the needle goes as it comes to its reading."""

WINDOW_SHARE = 0.2
"""Share of the tolerance within which the needle counts as brought to its reading."""
LEAST_WINDOW_MM = 0.0005
SKIP_SHARE = 0.15
"""A part of the offset smaller than this share of the tolerance is left alone."""
BACK_OFF_BELOW_MM = 0.05
"""A move shorter than this begins by going back, so that slack and the dial's own lag are
taken up from one side."""
BACK_OFF_MM = 0.15
_STOP_SLACK_DEG = 5.0
"""How far beyond the swept arc a reading may still be told."""
MOVE_STOPS: dict[Axis, Direction] = {"x": "right", "y": "back"}
"""Where the stylus stands while an axis is moved."""


class Centred(Protocol):
    """Numbers of a pair of turns: e = work axis - spindle axis, and the work's own shape."""

    @property
    def offset_x_mm(self) -> float:
        """Part of e along X."""

    @property
    def offset_y_mm(self) -> float:
        """Part of e along Y."""

    @property
    def sideways_mm(self) -> float:
        """Half the difference of the turns: retrace and lag."""

    def shape_mm(self, theta_rad: float) -> object:
        """Return mean plus orders two and up of the reading at θ."""


def needle_window_mm(tolerance_mm: float) -> float:
    """Return how near (mm) the needle is brought to its reading."""
    return max(LEAST_WINDOW_MM, WINDOW_SHARE * tolerance_mm)


def plan_moves(offset_x_mm: float, offset_y_mm: float, tolerance_mm: float) -> tuple[Axis, ...]:
    """Return the axes to move, the larger part first; parts too small to matter are left.

    >>> plan_moves(0.004, -0.3, 0.02)
    ('y', 'x')
    >>> plan_moves(0.002, -0.3, 0.02)
    ('y',)
    """
    parts: list[tuple[float, Axis]] = [(abs(offset_x_mm), "x"), (abs(offset_y_mm), "y")]
    worth: list[Axis] = [
        axis for size, axis in sorted(parts, reverse=True) if size > SKIP_SHARE * tolerance_mm
    ]
    return tuple(worth)


def move_for(found: Centred, axis: Axis) -> float:
    """Return the signed table travel along `axis` that takes out its part of the offset."""
    return -(found.offset_x_mm if axis == "x" else found.offset_y_mm)


def retrace_shown_mm(sideways_mm: float) -> float:
    """Return the dial's retrace h told by the sideways part of two turns, 2h/π at right angles.

    >>> round(retrace_shown_mm(0.0019099), 5)
    0.003
    """
    return pi / 2.0 * sideways_mm


def needle_target_mm(
    found: Centred,
    axes_to_come: tuple[Axis, ...],
    theta_rad: float,
    surface: Surface,
    trend: Trend | None = None,
) -> float:
    """Return the reading to bring the needle to at θ, when the axis in hand is to read true.

    Mean plus shape at that angle, plus what the axes not yet moved still put there, plus
    half the dial's retrace on the side from which the needle comes.
    """
    left_x = found.offset_x_mm if "x" in axes_to_come else 0.0
    left_y = found.offset_y_mm if "y" in axes_to_come else 0.0
    shape = float(np.asarray(found.shape_mm(theta_rad), dtype=np.float64))
    target = shape + reading_change_for_move(
        left_x, left_y, cos(theta_rad), sin(theta_rad), surface
    )
    if trend is None:
        return target
    half = retrace_shown_mm(found.sideways_mm) / 2.0
    return target + (half if trend == "falling" else -half)


@dataclass(frozen=True, slots=True)
class NeedleGoal:
    """A reading to bring the needle to; `u_mm` (k = 1) is the fit's, `window_mm` near enough."""

    axis: Axis
    move_mm: float
    reading_mm: float
    u_mm: float
    dof: float
    window_mm: float
    trend: Trend

    def __bool__(self) -> Literal[True]:
        return True


def needle_goals(
    found: CentringResult | SweepFailure, tolerance_mm: float
) -> tuple[NeedleGoal, ...] | SweepFailure:
    """Return the fewest moves that centre the work, in order, each with its reading.

    The stylus stands at the right for X and at the back for Y. Empty where nothing is
    worth moving. A failure is handed on; one is returned for a tolerance of nothing, and
    where a stop lies beyond the arc that was swept.
    """
    if isinstance(found, SweepFailure):
        return found
    if not tolerance_mm > 0:
        return SweepFailure("The tolerance must be a length above zero.")
    axes = plan_moves(found.offset_x_mm, found.offset_y_mm, tolerance_mm)
    for stop in (MOVE_STOPS[axis] for axis in axes):
        if not _was_swept(found, DIRECTION_DEG[stop]):
            return SweepFailure(
                f"The arc did not pass the {stop}, so the reading there is not known: sweep "
                "on past it."
            )
    return tuple(
        _goal(found, axis, axes[i + 1 :], needle_window_mm(tolerance_mm))
        for i, axis in enumerate(axes)
    )


def _was_swept(found: CentringResult, at_deg: float) -> bool:
    after = (at_deg - degrees(found.start_rad) + _STOP_SLACK_DEG) % 360.0
    return after <= found.turn_deg + 2 * _STOP_SLACK_DEG


def _goal(
    found: CentringResult, axis: Axis, to_come: tuple[Axis, ...], window_mm: float
) -> NeedleGoal:
    theta = DIRECTION_DEG[MOVE_STOPS[axis]] * pi / 180.0
    trend = told_trend(found, axis, found.surface)
    reading = needle_target_mm(found, to_come, theta, found.surface, trend)
    fit = next(line for line in found.budget if line.name == "fit")
    u_mm = u_target_mm(found, to_come, theta)
    return NeedleGoal(axis, move_for(found, axis), reading, u_mm, fit.dof, window_mm, trend)


def u_target_mm(found: CentringResult, axes_to_come: tuple[Axis, ...], theta_rad: float) -> float:
    """Return the fits' standard uncertainty (mm) of `needle_target_mm`."""
    order = (len(found.shape_covariance) - 1) // 2
    columns = harmonic_columns(np.array([theta_rad]), order)[0]
    columns[1] *= "x" in axes_to_come
    columns[2] *= "y" in axes_to_come
    return sqrt(max(float(columns @ found.shape_covariance @ columns), 0.0))


def travel_from_needle(
    reading_mm: float, target_mm: float, axis: Axis, theta_rad: float, surface: Surface
) -> float:
    """Return the signed table travel along `axis` that brings the needle to its target."""
    unit: tuple[float, float] = (1.0, 0.0) if axis == "x" else (0.0, 1.0)
    gain = reading_change_for_move(*unit, cos(theta_rad), sin(theta_rad), surface)
    return (target_mm - reading_mm) / gain


def needle_trend(axis: Axis, move_mm: float, stop_deg: float, surface: Surface) -> Trend:
    """Return how the needle goes when the table makes `move_mm` with the stylus at the stop."""
    theta = stop_deg * pi / 180.0
    dx, dy = (move_mm, 0.0) if axis == "x" else (0.0, move_mm)
    change = reading_change_for_move(dx, dy, cos(theta), sin(theta), surface)
    return "rising" if change >= 0 else "falling"


def told_trend(
    found: Centred, axis: Axis, surface: Surface, stop: Direction | None = None
) -> Trend:
    """Return how the needle comes to its reading where the move is finished as told.

    The stylus stands at `stop`, as in `MOVE_STOPS` where it is not told.
    """
    at_deg = DIRECTION_DEG[stop or MOVE_STOPS[axis]]
    return needle_trend(axis, move_for(found, axis), at_deg, surface)


def back_off_mm(move_mm: float) -> float:
    """Return how far to go back before a move (0: no need)."""
    return BACK_OFF_MM if abs(move_mm) < BACK_OFF_BELOW_MM else 0.0
