"""What guides for held work find: how far it runs out, and which jaws or sides bring it true."""

from collections.abc import Callable

from readings import format_length
from setups.measured import CannotTell, Do, Measured, Number
from setups.state import SetupState
from setups.tasks_common import budget_of, measured, refused
from sweeps import JawStep, four_jaw


def four_jaws(state: SetupState) -> Measured | CannotTell:
    """Return how far held work runs out, and which jaws to turn with what the dial must read."""
    return _held(state, "jaw", _turn_jaws, state.task.size("jaw_pitch"))


def four_sides(state: SetupState) -> Measured | CannotTell:
    """Return how far held work runs out, and which sides to tap with what the dial must read."""
    return _held(state, "side", _tap_side, None)


def _held(
    state: SetupState,
    named: str,
    told: Callable[[JawStep, SetupState], Do],
    pitch_mm: float | None,
) -> Measured | CannotTell:
    """Return a pair of turns judged, with one thing to do for each pair of jaws or sides."""
    found = state.task.pairs[-1].combined
    if found is None:
        return CannotTell("A turn gave no runout: turn again.")
    plan = four_jaw(found, jaw1_deg=0.0, tolerance_mm=state.tolerance_mm, pitch_mm=pitch_mm)
    if not plan:
        return refused(plan)
    return measured(
        found.judge(state.tolerance_mm),
        numbers=(
            Number("eccentricity", "off by", found.eccentricity_mm, "mm", found.u_total_mm),
            Number("tir", "runout (TIR)", found.tir_mm, "mm", found.u_tir_mm),
            Number("high_spot", f"high spot from {named} 1", found.high_spot_deg, "deg"),
        ),
        sentence=f"The work is off by {format_length(found.eccentricity_mm)}.",
        size_mm=found.eccentricity_mm,
        u_size_mm=found.u_total_mm,
        todo=tuple(told(step, state) for step in plan.steps),
        budget=budget_of(found.budget),
        flags=found.flags,
    )


def _needle(step: JawStep, state: SetupState) -> str:
    return f"{step.reading_mm / state.instrument.graduation_mm:+.1f} divisions"


def _turn_jaws(step: JawStep, state: SetupState) -> Do:
    turns = "" if step.turns is None else f" About {step.turns:.2f} of a turn of either."
    return Do(
        what=f"jaws {step.slacken} and {step.tighten}",
        headline=f"Slacken {step.slacken}, tighten {step.tighten}",
        detail=f"With jaw {step.tighten} at the dial, slacken jaw {step.slacken}, then tighten "
        f"jaw {step.tighten} until the needle stands at {_needle(step, state)}.{turns}",
        stylus_deg=step.at_deg,
        needle_mm=step.reading_mm,
        window_mm=step.window_mm,
    )


def _tap_side(step: JawStep, state: SetupState) -> Do:
    return Do(
        what=f"side {step.tighten}",
        headline=f"Tap side {step.tighten} in by {format_length(step.move_mm)}",
        detail=f"With side {step.tighten} at the dial, tap it with a soft mallet until the needle "
        f"falls to {_needle(step, state)}. If it goes too far, tap side {step.slacken}, "
        "opposite, and come back to it.",
        stylus_deg=step.at_deg,
        needle_mm=step.reading_mm,
        window_mm=step.window_mm,
    )
