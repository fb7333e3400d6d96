"""The one pure state machine: (state, event) -> (state, effects). No clock, no socket, no file."""

from collections.abc import Callable
from dataclasses import replace
from math import pi
from typing import Any

from readings import FLAGS, Axis
from setups.arcs import in_arcs, move_stop, on_left_out, to_moves
from setups.checklists import (
    lapse,
)
from setups.fine import (
    SAME_WAY,
    as_theta,
    good_enough,
    judge,
    measure_turn,
    pair_up,
)
from setups.lists import on_changed, on_clock, on_lost, on_touched
from setups.measuring import (
    needle_came,
    next_todo,
    set_size,
    take_place,
    take_turn,
    wanted_todo,
)
from setups.orbits import take_stop
from setups.rough import at_stop, rough_step
from setups.state import (
    CameraBack,
    CameraLost,
    Changed,
    Clock,
    CollarZero,
    Effect,
    Event,
    Fine,
    Finish,
    KeepResult,
    KeepTurn,
    LeftOut,
    Next,
    Rough,
    SetupState,
    Sized,
    Still,
    Touched,
    Turned,
    Void,
)
from setups.steps import forward, goto, guide_of, noted, step_of
from sweeps import (
    CentringResult,
    SweepResult,
    Trend,
    needle_target_mm,
    needle_window_mm,
    told_trend,
    travel_from_needle,
)

Outcome = tuple[SetupState, tuple[Effect, ...]]

WRONG_SIDE = "The needle came from the other side: go back past the reading and finish as told."

IN_AN_ARC = "The stylus stands in an arc that is left out: turn it a little, nearer to the axis."

QUARTER_WITHIN_RAD = 25.0 * pi / 180.0
"""How far from a right angle the second pointing mark may be."""


def other_axes(state: SetupState) -> tuple[Any, ...]:
    """Return the axes whose part of the offset still stands while the move in hand is made."""
    done = state.fine.axes[: state.fine.move + 1]
    return tuple(axis for axis in ("x", "y") if axis not in done)


def advance(state: SetupState, event: Event) -> Outcome:
    """Return the state after `event` and what is to be done about it.

    Events that do not concern the present step leave the state as it is (the same
    object, so that a caller sees that nothing changed).
    """
    handler = _HANDLERS[type(event)]
    after, effects = handler(state, event)
    if after is not state:
        after = replace(after, revision=state.revision + 1)
    return after, effects


# touches


def _on_next(state: SetupState, event: Next) -> Outcome:
    kind = step_of(state).kind
    if kind in ("prepare", "sizes", "change", "lock"):
        fine = replace(state.fine, sweeps=())  # what locking does, no turn before it tells
        return replace(forward(state), active_s=event.at_s, fine=fine), ()
    todo = wanted_todo(state)
    if todo is not None and todo.needle_mm is None:
        return replace(next_todo(state), active_s=event.at_s), ()
    return state, ()


def _on_sized(state: SetupState, event: Sized) -> Outcome:
    asked = next((size for size in guide_of(state).sizes if size.key == event.key), None)
    if step_of(state).kind != "sizes" or asked is None:
        return state, ()
    if not asked.low <= event.value <= asked.high:
        note = f"{asked.label} can be {asked.low:g} to {asked.high:g} {asked.unit}."
        return noted(state, note), ()
    return replace(set_size(state, event.key, event.value), note="", active_s=event.at_s), ()


# what the camera saw


def _on_back(state: SetupState, event: CameraBack) -> Outcome:
    return (replace(state, camera_lost=False, note=""), ()) if state.camera_lost else (state, ())


def _on_void(state: SetupState, event: Void) -> Outcome:
    if step_of(state).kind != "turns":
        return state, ()
    return _void(state, FLAGS[event.flag].sentence, (event.flag,))


SET_FOR_TURN = (
    "Turn to the highest reading and to the lowest, set the dial to mid travel between them, "
    "then turn again."
)


def _void(state: SetupState, reason: str, flags: tuple[str, ...]) -> Outcome:
    purpose = "check" if step_of(state).locked else "turns"
    kept = KeepTurn(purpose, None, reason, flags)  # type: ignore[arg-type]
    task = replace(state.task, first=None)
    after = replace(state, fine=replace(state.fine, first=None), task=task, note=reason)
    if not {"end of travel", "stylus off the work"} & set(flags):
        return after, (kept,)
    if guide_of(state).first_of("rough") is not None:
        return replace(after, step="rough", rough=Rough()), (kept,)
    return replace(after, note=f"{reason} {SET_FOR_TURN}"), (kept,)


def _on_still(state: SetupState, event: Still) -> Outcome:
    kind = step_of(state).kind
    if kind == "places":
        return take_place(state, event)
    if kind == "todo":
        return needle_came(state, event)
    if kind == "orbit":
        return take_stop(state, event)
    if event.collar_rad is None:
        return state, ()
    if kind == "checklist" and event.moved:
        return on_changed(state, Changed("move", event.at_s))
    if kind == "point":
        return _pointed(state, event)
    theta = state.theta_rad(event.collar_rad)
    if theta is None:
        return state, ()
    if kind == "rough":
        return _rough(replace(state, active_s=event.at_s), event, theta), ()
    if kind == "moves":
        return _moving(replace(state, active_s=event.at_s), event, theta), ()
    return state, ()


def _pointed(state: SetupState, event: Still) -> Outcome:
    if not event.moved or event.collar_rad is None:
        return state, ()
    state = replace(state, active_s=event.at_s)
    if step_of(state).direction == "right":
        return forward(replace(state, collar=CollarZero(event.collar_rad))), ()
    return _pointed_back(state, event), ()


def _pointed_back(state: SetupState, event: Still) -> SetupState:
    mark = state.collar
    if mark is None or event.collar_rad is None:
        return goto(state, "point-right")
    turned = (event.collar_rad - mark.right_rad + pi) % (2 * pi) - pi
    if abs(abs(turned) - pi / 2) > QUARTER_WITHIN_RAD:
        degrees = abs(turned) * 180 / pi
        return noted(state, f"That was {degrees:.0f} degrees from the right, not a quarter turn.")
    sense = 1 if turned > 0 else -1
    zero = mark.right_rad + (turned - sense * pi / 2) / 2
    zeroed = replace(mark, zero_rad=zero, sense=sense)  # type: ignore[arg-type]
    return forward(replace(state, collar=zeroed, rough=Rough()))


def _rough(state: SetupState, event: Still, theta_rad: float) -> SetupState:
    if not at_stop(theta_rad, state.rough.stop):
        return state
    rough, note = rough_step(state.rough, event.value_mm, state.instrument)
    if rough is None:
        return replace(forward(state), fine=Fine(), rough=Rough())
    return replace(state, rough=rough, note=note)


def _moving(state: SetupState, event: Still, theta_rad: float) -> SetupState:
    found, fine = state.found, state.fine
    if found is None or fine.move >= len(fine.axes):
        return goto(state, "turns")
    axis = fine.axes[fine.move]
    stop = move_stop(axis, state.left_out)
    if event.value_mm is None or not at_stop(theta_rad, stop):
        return state
    if in_arcs(theta_rad, state.left_out):
        return noted(state, IN_AN_ARC)
    told = told_trend(found, axis, guide_of(state).surface, stop)
    left = _left_to_move(state, event, axis, theta_rad, event.trend or told)
    if abs(left) > needle_window_mm(state.tolerance_mm):
        shown = _left_to_move(state, event, axis, theta_rad, told)
        note = WRONG_SIDE if abs(shown) <= needle_window_mm(state.tolerance_mm) else ""
        return replace(state, fine=replace(fine, remaining_mm=left), note=note)
    done = fine.move + 1 >= len(fine.axes)
    sweeps = () if done else fine.sweeps
    fine = replace(fine, move=fine.move + 1, remaining_mm=None, sweeps=sweeps)
    after = replace(state, fine=fine, note="")
    return goto(after, "turns") if fine.move >= len(fine.axes) else after


def _left_to_move(
    state: SetupState, event: Still, axis: Axis, theta_rad: float, trend: Trend
) -> float:
    """Return the signed table travel that is left, for a needle that came with `trend`."""
    assert state.found is not None
    assert event.value_mm is not None
    surface = guide_of(state).surface
    target = needle_target_mm(state.found, other_axes(state), theta_rad, surface, trend)
    return travel_from_needle(event.value_mm, target, axis, theta_rad, surface)


def _on_turned(state: SetupState, event: Turned) -> Outcome:
    if step_of(state).kind != "turns" or state.collar is None:
        return state, ()
    state = replace(state, active_s=event.at_s)
    sweep = as_theta(event.sweep, state)
    result, reason, flags = measure_turn(sweep, state, guide_of(state).surface)
    if result is None:
        return _void(state, reason, flags)
    purpose = "check" if step_of(state).locked else "turns"
    kept = KeepTurn(purpose, result, "", flags)  # type: ignore[arg-type]
    if guide_of(state).task != "centre":
        after, effects = take_turn(state, event, result)
        return after, (kept, *effects)
    alone = replace(state.fine, first=result, sweeps=(sweep,))
    if state.fine.first is None:
        return replace(state, fine=alone, note=""), (kept,)
    pair = pair_up(state.fine.first, result)
    if pair is None:
        return replace(state, fine=alone, note=SAME_WAY), (kept,)
    fine = replace(state.fine, sweeps=(*state.fine.sweeps, sweep))
    after, effects = _paired(replace(state, fine=fine), result, pair)
    return after, (kept, *effects)


def _paired(state: SetupState, second: SweepResult, pair: CentringResult) -> Outcome:
    step = step_of(state)
    first = state.fine.first
    returns = (first.return_mm if first else None, second.return_mm)
    found = judge(pair, returns, state, locked=step.locked)
    fine = replace(state.fine, first=None)
    after = replace(state, history=(*state.history, found), fine=fine, note="")
    effects: tuple[Effect, ...] = (KeepResult(found, pair),)
    if good_enough(found, state.tolerance_mm):
        after = forward(after) if step.locked else goto(after, "lock")
        if step.locked:
            effects = (*effects, Finish(found))
            after = replace(after, fine=replace(fine, sweeps=()))
        return replace(after, ticks=lapse(after.ticks, "before-power", "sweep")), effects
    note = "Locking moved it: unlock both slides and correct." if step.locked else ""
    return to_moves(after, fine, note), effects


_HANDLERS: dict[type, Callable[[SetupState, Any], Outcome]] = {
    Next: _on_next,
    Sized: _on_sized,
    Touched: on_touched,
    Clock: on_clock,
    CameraLost: on_lost,
    CameraBack: _on_back,
    Changed: on_changed,
    Void: _on_void,
    LeftOut: on_left_out,
    Still: _on_still,
    Turned: _on_turned,
}
