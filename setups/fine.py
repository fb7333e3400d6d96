"""The fine loop: two turns give the offset; moves bring the needle to a reading; again."""

from dataclasses import replace
from math import cos, pi, sin, sqrt

from readings import (
    DIRECTION_DEG,
    Axis,
    Direction,
    Surface,
    Sweep,
    flag_sentence,
    frozen_array,
    reading_change_for_move,
)
from setups.state import Fine, Found, SetupState, Trend
from sweeps import (
    Allowance,
    CentringResult,
    Harmonic,
    SweepFailure,
    SweepResult,
    combine_turns,
    fit_turn,
)

WINDOW_SHARE = 0.2
"""Share of the tolerance within which the needle counts as brought to its reading."""

LEAST_WINDOW_MM = 0.0005

SKIP_SHARE = 0.15
"""A part of the offset smaller than this share of the tolerance is left alone."""

BACK_OFF_BELOW_MM = 0.05
"""A move shorter than this begins by going back, so that slack and the dial's own lag are
taken up from one side."""

BACK_OFF_MM = 0.15

MOVE_STOPS: dict[Axis, Direction] = {"x": "right", "y": "back"}
"""Where the stylus stands while an axis is moved."""


def window_mm(tolerance_mm: float) -> float:
    """Return how near (mm) the needle is brought to its reading."""
    return max(LEAST_WINDOW_MM, WINDOW_SHARE * tolerance_mm)


def as_theta(sweep: Sweep, state: SetupState) -> Sweep:
    """Return a sweep given in collar angles in θ, with its sense seen from above."""
    mark = state.collar
    if mark is None or mark.sense is None or mark.zero_rad is None:
        msg = "a turn was captured before the stylus was pointed right and back"
        raise ValueError(msg)
    angle = mark.sense * (sweep.angle_rad - mark.zero_rad)
    rising = len(angle) > 1 and angle[-1] > angle[0]
    return replace(
        sweep,
        angle_rad=frozen_array(angle),
        sense="anticlockwise" if rising else "clockwise",
    )


def measure_turn(
    sweep: Sweep, state: SetupState, surface: Surface
) -> tuple[SweepResult | None, str, tuple[str, ...]]:
    """Fit one captured turn; (None, reason, flags) where it gives no number."""
    dial = state.instrument
    result = fit_turn(
        as_theta(sweep, state),
        surface=surface,
        diameter_mm=state.diameter_mm,
        tip_radius_mm=dial.tip_radius_mm,
        allowance=Allowance.for_graduation(dial.graduation_mm),
        travel_mm=dial.travel_mm,
        u_dial_mm=dial.u_dial_mm(_swing_mm(sweep)),
    )
    if isinstance(result, SweepResult):
        return result, "", result.flags
    return None, _reason(result), result.flags


def _swing_mm(sweep: Sweep) -> float:
    return float(sweep.value_mm.max() - sweep.value_mm.min()) if len(sweep) else 0.0


def _reason(failure: SweepFailure) -> str:
    """Return the plain sentence of the first known flag, else the fit's own reason."""
    return flag_sentence(failure.flags[0]) if failure.flags else failure.reason


def pair_up(first: SweepResult, second: SweepResult) -> CentringResult | None:
    """Combine two turns of opposite sense; None where both went the same way."""
    if first.sense == second.sense:
        return None
    if first.sense == "anticlockwise":
        return combine_turns(first, second)
    return combine_turns(second, first)


def judge(
    result: CentringResult, returns_mm: tuple[float | None, ...], state: SetupState, *, locked: bool
) -> Found:
    """Turn the numbers of a pair into what is told: values, uncertainty and verdict.

    `returns_mm` are the returns of the single turns; the larger is told.
    """
    answer = result.judge(state.tolerance_mm)
    flags = result.flags if result.u_dial_mm is not None else (*result.flags, "dial unchecked")
    known = [abs(value) for value in returns_mm if value is not None]
    return Found(
        offset_x_mm=result.offset_x_mm,
        offset_y_mm=result.offset_y_mm,
        u_x_mm=sqrt(float(result.covariance[0, 0])),
        u_y_mm=sqrt(float(result.covariance[1, 1])),
        eccentricity_mm=result.eccentricity_mm,
        u_eccentricity_mm=result.u_eccentricity_mm,
        u_dial_mm=result.u_dial_mm,
        mean_mm=float(result.shape_values_mm[0]),
        lobes=tuple(_lobe(harmonic) for harmonic in result.lobes),
        sideways_mm=result.sideways_mm,
        ovality_mm=result.ovality_mm,
        tir_mm=result.tir_mm,
        return_mm=max(known) if known else None,
        verdict=answer.word,
        guard_mm=answer.guard_mm,
        least_provable_mm=answer.least_provable_mm,
        locked=locked,
        flags=tuple(dict.fromkeys(flags)),
    )


def _lobe(harmonic: Harmonic) -> tuple[int, float, float]:
    phase = harmonic.phase_deg * pi / 180.0
    size = harmonic.amplitude_mm
    return harmonic.order, size * cos(phase), size * sin(phase)


def plan_moves(found: Found, tolerance_mm: float) -> tuple[Axis, ...]:
    """Return the axes to move, the larger part first; parts too small to matter are left."""
    parts: list[tuple[float, Axis]] = [
        (abs(found.offset_x_mm), "x"),
        (abs(found.offset_y_mm), "y"),
    ]
    worth: list[Axis] = [
        axis for size, axis in sorted(parts, reverse=True) if size > SKIP_SHARE * tolerance_mm
    ]
    return tuple(worth)


def start_round(found: Found, fine: Fine, tolerance_mm: float) -> Fine:
    """Return the fine state at the start of a round of moves."""
    axes = plan_moves(found, tolerance_mm)
    return Fine(axes=axes, corrections=fine.corrections + 1)


def move_for(found: Found, axis: Axis) -> float:
    """Return the signed table travel along `axis` that takes out its part of the offset."""
    return -(found.offset_x_mm if axis == "x" else found.offset_y_mm)


def retrace_mm(found: Found) -> float:
    """Return the dial's retrace h told by the sideways part of two turns, 2h/π at right angles."""
    return pi / 2.0 * found.sideways_mm


def needle_target_mm(
    found: Found,
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
    target = found.shape_mm(theta_rad) + reading_change_for_move(
        left_x, left_y, cos(theta_rad), sin(theta_rad), surface
    )
    if trend is None:
        return target
    half: float = retrace_mm(found) / 2.0
    return target + (half if trend == "falling" else -half)


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


def told_trend(found: Found, axis: Axis, surface: Surface) -> Trend:
    """Return how the needle comes to its reading where the move is finished as told."""
    return needle_trend(axis, move_for(found, axis), DIRECTION_DEG[MOVE_STOPS[axis]], surface)


def back_off_mm(move_mm: float) -> float:
    """Return how far to go back before a move (0: no need)."""
    return BACK_OFF_MM if abs(move_mm) < BACK_OFF_BELOW_MM else 0.0
