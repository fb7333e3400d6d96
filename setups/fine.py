"""The fine loop: two turns give the offset; moves bring the needle to a reading; again."""

from dataclasses import replace
from functools import partial
from math import cos, pi, radians, sin, sqrt

from readings import Surface, Sweep, flag_sentence, frozen_array
from setups.state import Fine, Found, SetupState
from sweeps import (
    Allowance,
    CentringResult,
    Harmonic,
    SweepFailure,
    SweepResult,
    combine_turns,
    fit_turn,
    fit_without,
    plan_moves,
)

SAME_WAY = "Both turns went the same way: now one full turn the other way."


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
    """Fit one turn in θ; (None, reason, flags) where it gives no number.

    Arcs that a person left out do not count.
    """
    dial = state.instrument
    fit = fit_turn
    if state.left_out and surface != "face":
        arcs = [(radians(start), radians(end)) for start, end in state.left_out]
        fit = partial(fit_without, leave_out=arcs, tolerance_mm=state.tolerance_mm)
    result = fit(
        sweep,
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
        left_out=state.left_out,
    )


def _lobe(harmonic: Harmonic) -> tuple[int, float, float]:
    phase = harmonic.phase_deg * pi / 180.0
    size = harmonic.amplitude_mm
    return harmonic.order, size * cos(phase), size * sin(phase)


def start_round(found: Found, fine: Fine, tolerance_mm: float) -> Fine:
    """Return the fine state at the start of a round of moves."""
    axes = plan_moves(found.offset_x_mm, found.offset_y_mm, tolerance_mm)
    return Fine(axes=axes, corrections=fine.corrections + 1, sweeps=fine.sweeps)


def good_enough(found: Found, tolerance_mm: float) -> bool:
    """Inside; or as near as this dial can ever tell, where the verdict stays open."""
    if found.verdict == "inside":
        return True
    provable = found.least_provable_mm < tolerance_mm
    return not provable and found.eccentricity_mm < tolerance_mm / 2.0
