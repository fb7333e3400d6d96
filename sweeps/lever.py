"""A lever indicator's sign, gain and angle from a known move.

A lever at angle α to the surface reads high by 1/cos α; the gain is what its reading is
multiplied by, ``true = gain * reading``, with the sign of the way it is set. The move is
the table's, by its own dial or a gauge block, slack taken up.
"""

from dataclasses import dataclass
from math import acos, degrees, hypot, inf, isfinite, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from sweeps.budget import BudgetLine, Verdict, combine, verdict_between
from sweeps.fourier import Float
from sweeps.result import SweepFailure

LEAST_MOVE_MM = 0.2
"""A move that measures the gain: this much, or half of the dial's travel where that is less."""
LEAST_TIMES = 3
_TELLS_SIGN = 3.0
"""Changes of at least this many standard uncertainties tell which way the needle goes."""
_LARGEST_GAIN = 1.25
"""No lever in order shows so little: the stylus slipped, or the move was not what was said."""
_SMALLEST_GAIN = 0.45
"""A little beyond 60 degrees, where makers' correction tables end."""


@dataclass(frozen=True, slots=True, eq=False)
class LeverResult:
    """What a known move says of a lever; `u_…` k = 1.

    `gain` is None where the moves tell the sign alone (flag "gain not measured").
    `angle_deg` is acos |gain|, 0 where the lever reads true or low; `angle_95_deg` its 95 %
    interval, `u_angle_deg` None where that interval reaches nothing: an angle near nothing
    has no normal scatter.
    """

    sign: Literal[-1, 1]
    gain: float | None
    u_gain: float | None
    dof: float
    angle_deg: float | None
    u_angle_deg: float | None
    angle_95_deg: tuple[float, float] | None
    budget: tuple[BudgetLine, ...]
    """Parts of the gain's relative uncertainty (mm per mm)."""
    n: int
    residuals_mm: Float
    """(n,): change of the reading minus what the gain makes of the move."""
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    def judge(self, within: float) -> Verdict:
        """Judge whether the lever reads true within this share (0.02: two parts in a hundred)."""
        if self.gain is None:
            return Verdict("cannot tell", inf, inf)
        limits = (1 - within, 1 + within)
        return verdict_between(abs(self.gain), self.u_gain, limits, self.dof)


def lever_from_moves(
    move_mm: ArrayLike,
    change_mm: ArrayLike,
    *,
    u_move_mm: float,
    u_reading_mm: float,
    u_dial_mm: float = 0.0,
    travel_mm: float | None = None,
    slack_taken_up: bool = True,
    gauge_block: bool = False,
) -> LeverResult | SweepFailure:
    """Return a lever's sign, and its gain and angle where the moves carry them.

    Parameters
    ----------
    move_mm, change_mm
        ``(n,)``: each known move into the stylus (+: pushing it in) and the reading's change.
    u_move_mm
        Standard uncertainty of a move that repeats in every one (the screw, the block).
    u_reading_mm
        Standard uncertainty of one reading, as the reader states it.
    u_dial_mm
        Of the dial over such a move; the same in every one.
    travel_mm
        The dial's whole travel, where it is known.
    slack_taken_up
        Whether both readings of a move were come to from one side.
    gauge_block
        Whether the step is a block's: then one is enough and slack plays no part.

    Returns
    -------
    LeverResult or SweepFailure
        Slope of change over move by least squares through nothing, ``gain = 1 / slope``.
        A failure for no move, a move of nothing, values that are not numbers, a needle
        that hardly moved or that went both ways, or a gain no lever has.
    """
    move = np.atleast_1d(np.asarray(move_mm, dtype=np.float64))
    change = np.atleast_1d(np.asarray(change_mm, dtype=np.float64))
    reason = _unusable(move, change, (u_move_mm, u_reading_mm, u_dial_mm))
    if reason is not None:
        return SweepFailure(reason)
    slope = float(move @ change / (move @ move))
    residuals = change - slope * move
    if np.any(np.sign(change) * np.sign(move) != np.sign(slope)):
        return SweepFailure("The needle went both ways for the same move: the stylus slips.")
    if float(np.min(np.abs(change))) < _TELLS_SIGN * sqrt(2) * u_reading_mm:
        return SweepFailure("The needle hardly moved: make a longer move.")
    gain = 1 / slope
    if not _SMALLEST_GAIN < abs(gain) < _LARGEST_GAIN:
        return SweepFailure(
            f"A gain of {abs(gain):.2f} is no lever's: 0.5 to 1 is; check the move and the stylus."
        )
    lines = _budget(move, residuals, slope, u_move_mm, u_reading_mm, u_dial_mm)
    enough = _carries_gain(move, travel_mm, slack_taken_up, gauge_block)
    return _result(gain, lines, residuals, enough=enough)


def _unusable(move: Float, change: Float, stated: tuple[float, ...]) -> str | None:
    if len(move) == 0 or move.shape != change.shape or move.ndim != 1:
        return "A lever needs one known move or more, each with the reading's change."
    if not (np.isfinite(move).all() and np.isfinite(change).all()):
        return "A move or a change of the reading is not a number."
    if np.any(move == 0):
        return "A move of nothing tells nothing."
    if not all(isfinite(u) and u >= 0 for u in stated):
        return "An uncertainty is negative or not a number."
    return None


def _carries_gain(
    move: Float, travel_mm: float | None, slack_taken_up: bool, gauge_block: bool
) -> bool:
    least = LEAST_MOVE_MM if travel_mm is None else min(LEAST_MOVE_MM, travel_mm / 2)
    long_enough = float(np.min(np.abs(move))) >= least * (1 - 1e-9)
    often = gauge_block or (slack_taken_up and len(move) >= LEAST_TIMES)
    return long_enough and often


def _budget(
    move: Float, residuals: Float, slope: float, u_move: float, u_reading: float, u_dial: float
) -> tuple[BudgetLine, ...]:
    """Return the parts of the gain's relative uncertainty; scatter stands in from two on."""
    root = sqrt(float(move @ move))
    mean = root**2 / float(np.sum(np.abs(move)))
    dof = len(move) - 1
    scatter = sqrt(float(residuals @ residuals) / dof) if dof else sqrt(2) * u_reading
    name = "repeatability" if dof else "reader"
    return (
        BudgetLine(name, scatter / (root * abs(slope)), dof or inf, "scatter of the changes"),
        BudgetLine("known move", u_move / mean, inf, "the same in every move"),
        BudgetLine("dial", u_dial / (mean * abs(slope)), inf, "its error over the move"),
    )


def _result(
    gain: float, lines: tuple[BudgetLine, ...], residuals: Float, *, enough: bool
) -> LeverResult:
    total = combine(lines)
    u_gain = abs(gain) * total.u_mm
    half = abs(gain) * total.expanded_mm()
    low = abs(gain) > 1 + half
    flags = {"gain not measured": not enough, "lever reads low": enough and low}
    angle = _angle(abs(gain)) if enough else None
    interval = (_angle(abs(gain) + half), _angle(abs(gain) - half)) if enough else None
    near_nothing = interval is None or interval[0] == 0.0
    return LeverResult(
        sign=1 if gain > 0 else -1,
        gain=gain if enough else None,
        u_gain=u_gain if enough else None,
        dof=total.dof,
        angle_deg=angle,
        u_angle_deg=None if near_nothing else degrees(u_gain / sqrt(1 - gain**2)),
        angle_95_deg=interval,
        budget=lines,
        n=len(residuals),
        residuals_mm=residuals,
        flags=tuple(name for name, on in flags.items() if on),
        message=f"{len(residuals)} known move(s)",
    )


def _angle(gain: float) -> float:
    return degrees(acos(min(max(gain, 0.0), 1.0)))


def reading_true_mm(
    reading_mm: float, u_reading_mm: float, lever: LeverResult
) -> tuple[float, float] | SweepFailure:
    """Return a length and its standard uncertainty from a lever's reading: gain times reading.

    >>> lever = lever_from_moves([0.3] * 3, [-0.32, -0.3201, -0.3199], u_move_mm=0, u_reading_mm=0)
    >>> round(reading_true_mm(0.1, 0.0, lever)[0], 5)
    -0.09375
    """
    if lever.gain is None or lever.u_gain is None:
        return SweepFailure("The lever's gain was not measured: only its sign is known.")
    u_mm = hypot(lever.gain * u_reading_mm, reading_mm * lever.u_gain)
    return lever.gain * reading_mm, u_mm
