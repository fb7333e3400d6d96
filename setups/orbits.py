"""A target's orbit as it is taken in: stop by stop, told by the target's own turn."""

from dataclasses import replace
from math import degrees, pi

from setups.advice import Advice
from setups.guide import Step
from setups.guides import GUIDES
from setups.measured import Run, Seen
from setups.measuring import Outcome, end_of_run
from setups.state import SetupState, Still

LEAST_STOPS = 8
APART_RAD = 20.0 * pi / 180.0
"""A stop nearer to one taken before is the same place."""
WIDEST_GAP_RAD = 50.0 * pi / 180.0
"""The orbit is complete once no gap between neighbouring stops is wider."""


def take_stop(state: SetupState, event: Still) -> Outcome:
    """Take the target's place where it stands; the stop that closes the last gap ends the run."""
    stop = event.target
    if stop is None or not event.moved:
        return state, ()
    near = [abs(_apart(stop.turn_rad, turn)) < APART_RAD for turn in _turns(state)]
    if any(near):
        return state, ()
    name = f"stop {len(state.task.seen) + 1}"
    seen = (*state.task.seen, Seen(name, stop.x_mm, stop.sigma_mm, event.at_s, stop))
    state = replace(state, active_s=event.at_s, note="")
    if not _complete([one.target.turn_rad for one in seen if one.target is not None]):
        return replace(state, task=replace(state.task, seen=seen)), ()
    step = GUIDES[state.guide].step(state.step)
    others = tuple(run for run in state.task.runs if run.step != step.kept_as)
    task = replace(state.task, seen=(), runs=(*others, Run(step.kept_as, seen)))
    return end_of_run(replace(state, task=task), step)


def tell_orbit(state: SetupState, step: Step, theta_rad: float | None) -> Advice:
    """Return what is told while an orbit is taken in."""
    taken, found = len(state.task.seen), state.task.found
    gap = degrees(_widest(_turns(state))) if taken > 1 else 360.0
    so_far = f" {taken} stops so far, the widest gap {gap:.0f} degrees." if taken else ""
    return Advice(
        headline=f"{step.title}: {taken}" if taken else step.title,
        detail=step.text + so_far,
        say=step.say if taken == 0 else f"{taken}.",
        wants="stop",
        note=state.note,
        verdict=found.verdict if found else None,
        stops_deg=tuple(round(degrees(turn) % 360.0, 1) for turn in _turns(state)),
    )


def _turns(state: SetupState) -> list[float]:
    return [one.target.turn_rad for one in state.task.seen if one.target is not None]


def _complete(turns: list[float]) -> bool:
    return len(turns) >= LEAST_STOPS and _widest(turns) <= WIDEST_GAP_RAD


def _apart(one: float, other: float) -> float:
    return (one - other + pi) % (2 * pi) - pi


def _widest(turns: list[float]) -> float:
    """Return the widest gap between neighbours round the turn."""
    way = sorted(turn % (2 * pi) for turn in turns)
    return max(b - a for a, b in zip(way, (*way[1:], way[0] + 2 * pi), strict=True))
