"""What guides find whose dial goes round by itself, read at eight stops each way (orbiting)."""

from collections.abc import Sequence
from dataclasses import replace
from math import radians

import numpy as np

from readings import Sense, Sweep, format_length, frozen_array, move_word
from setups.guides import GUIDES
from setups.measured import CannotTell, Do, Measured, Number, Seen
from setups.places import STOP_SIDES
from setups.state import SetupState
from setups.tasks_common import allowance_of, budget_of, measured, refused, u_dial_over
from setups.tasks_turned import tram_found
from sweeps import (
    STOP_ANGLE_RAD,
    CentringResult,
    NeedleGoal,
    SweepResult,
    combine_turns,
    fit_turn,
    needle_goals,
)


def _sweep(seen: Sequence[Seen], sense: Sense) -> Sweep:
    """Return stops as a sweep; the one touched again stands a turn further on."""
    sign = 1.0 if sense == "anticlockwise" else -1.0
    start = radians(STOP_SIDES[seen[0].place][1])
    angles = [start + sign * i * 2 * np.pi / (len(seen) - 1) for i in range(len(seen))]
    n = len(seen)
    return Sweep(
        frozen_array([one.at_s for one in seen]),
        frozen_array([one.value_mm for one in seen]),
        frozen_array([one.sigma_mm for one in seen]),
        frozen_array(angles),
        frozen_array([STOP_ANGLE_RAD] * n),
        sense,
        "stops",
    )


def _both_ways(state: SetupState) -> tuple[Sweep, Sweep]:
    return (
        _sweep(state.task.run("there"), "anticlockwise"),
        _sweep(state.task.run("back"), "clockwise"),
    )


def tram_by_stops(state: SetupState) -> Measured | CannotTell:
    """Return the lean of the head from stops, the needle's goals at the named sides."""
    found = tram_found(state, _both_ways(state))
    if isinstance(found, CannotTell):
        return found
    return _without_angles(found)


def _without_angles(found: Measured) -> Measured:
    """Return it for a stylus that no collar follows: the words alone tell where it stands."""
    todo = tuple(replace(each, stylus_deg=None) for each in found.todo)
    return replace(found, todo=todo)


def centre_by_stops(state: SetupState) -> Measured | CannotTell:
    """Return how far the work lies off the spindle, and the table's moves by the needle."""
    dial, sweeps = state.instrument, _both_ways(state)
    surface = GUIDES[state.guide].surface
    fits = [
        fit_turn(
            sweep,
            surface=surface,
            diameter_mm=state.task.size("diameter"),
            tip_radius_mm=dial.tip_radius_mm,
            allowance=allowance_of(dial),
            travel_mm=dial.travel_mm,
            u_dial_mm=u_dial_over(dial, sweeps),
        )
        for sweep in sweeps
    ]
    for fit in fits:
        if not isinstance(fit, SweepResult):
            return refused(fit)
    found = combine_turns(fits[0], fits[1])  # type: ignore[arg-type]
    judged = found.judge(state.tolerance_mm)
    goals = needle_goals(found, state.tolerance_mm)
    if not isinstance(goals, tuple):
        return refused(goals)
    return measured(
        judged,
        numbers=(
            Number("eccentricity", "off centre", found.eccentricity_mm, "mm", found.u_total_mm),
            Number("x", "work to the right", found.offset_x_mm, "mm",
                   float(np.sqrt(found.covariance[0, 0]))),
            Number("y", "work to the back", found.offset_y_mm, "mm",
                   float(np.sqrt(found.covariance[1, 1]))),
        ),
        sentence=f"Off by {format_length(found.eccentricity_mm)}.",
        size_mm=found.eccentricity_mm,
        u_size_mm=found.u_total_mm,
        todo=tuple(_table(goal, found, state) for goal in goals),
        budget=budget_of(found.budget),
        flags=found.flags,
    )  # fmt: skip


def _table(goal: NeedleGoal, found: CentringResult, state: SetupState) -> Do:
    side = "to the right" if goal.axis == "x" else "to the back"
    way = move_word(goal.axis, goal.move_mm)
    needle = f"{goal.reading_mm / state.instrument.graduation_mm:+.1f} divisions"
    wheel = next((w for w in state.wheels if w.axis == goal.axis), None)
    turn = (
        f" That is {wheel.divisions(goal.move_mm):.1f} divisions "
        f"{wheel.turning(goal.move_mm)} on the {goal.axis.upper()} handwheel."
        if wheel
        else ""
    )
    return Do(
        what=f"table, {goal.axis}",
        headline=f"Table {way} {format_length(abs(goal.move_mm))}",
        detail=f"With the stylus {side}, move the table {way} until the needle stands at "
        f"{needle}, the needle {goal.trend} as it comes.{turn}",
        needle_mm=goal.reading_mm,
        window_mm=goal.window_mm,
        amount_mm=goal.move_mm,
    )
