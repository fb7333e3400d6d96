"""Rounds of the guides other than centring: take in, find, put right, again."""

from dataclasses import replace

from readings import Sweep
from setups.fine import SAME_WAY, as_theta, pair_up
from setups.guide import Step
from setups.guides import GUIDES
from setups.measured import CannotTell, Do, Measured, Place, Run, Seen
from setups.places import LAYOUTS
from setups.rough import at_angle
from setups.state import Effect, Finish, KeepMeasured, SetupState, Still, Turned
from setups.state_task import Pair
from setups.tasks import TASKS
from sweeps import SweepResult

Outcome = tuple[SetupState, tuple[Effect, ...]]


def wanted_place(state: SetupState) -> Place | None:
    """Return the place at which the dial is to be read next, None at any other step."""
    places = places_of_step(state)
    return places[min(len(state.task.seen), len(places) - 1)] if places else None


def places_of_step(state: SetupState) -> tuple[Place, ...]:
    """Return the places of the step in hand, none at a step without."""
    step = GUIDES[state.guide].step(state.step)
    return LAYOUTS[step.places](dict(state.task.sizes)) if step.kind == "places" else ()


def wanted_todo(state: SetupState) -> Do | None:
    """Return the thing to do now, None at any other step."""
    found = state.task.found
    if GUIDES[state.guide].step(state.step).kind != "todo" or found is None:
        return None
    return found.todo[min(state.task.todo, len(found.todo) - 1)] if found.todo else None


def take_place(state: SetupState, event: Still) -> Outcome:
    """Take the reading at the place in hand; the last one ends the run."""
    place = wanted_place(state)
    if place is None or not event.moved:
        return state, ()
    if event.value_mm is None:
        return _noted(
            state, "I cannot read the dial here: clear the view and touch next again."
        ), ()
    if _out_of_travel(state, event.value_mm):
        return _set_anew(state), ()
    seen = Seen(place.key, float(event.value_mm), float(event.sigma_mm or 0.0), event.at_s)
    task = replace(state.task, seen=(*state.task.seen, seen))
    step = GUIDES[state.guide].step(state.step)
    if len(task.seen) < len(places_of_step(state)):
        return replace(state, task=task, note="", active_s=event.at_s), ()
    run = Run(step.kept_as, task.seen)
    others = tuple(each for each in task.runs if each.step != run.step)
    task = replace(task, seen=(), runs=(*others, run))
    return end_of_run(replace(state, task=task, note="", active_s=event.at_s), step)


def _set_anew(state: SetupState) -> SetupState:
    """Ask for mid travel; what was read before has another zero and is not kept beside it."""
    note = "The dial is at an end of its travel: set it to mid travel."
    if not state.task.seen:
        return _noted(state, note)
    task = replace(state.task, seen=())
    return replace(state, task=task, note=f"{note} Then begin again at the first place.")


def _out_of_travel(state: SetupState, value_mm: float) -> bool:
    travel = state.instrument.travel_mm
    if travel is None:
        return False
    margin = 0.02 * (travel[1] - travel[0])
    return not travel[0] + margin < value_mm < travel[1] - margin


def take_turn(state: SetupState, event: Turned, result: SweepResult) -> Outcome:
    """Take one turn in; a second one the same way takes the first one's place."""
    step = GUIDES[state.guide].step(state.step)
    first, sweep = state.task.first, as_theta(event.sweep, state)
    if first is None or state.fine.first is None:
        return _first_turn(state, sweep, result, ""), ()
    if first.sense == sweep.sense:
        return _first_turn(state, sweep, result, SAME_WAY), ()
    combined = None if result.surface == "face" else pair_up(state.fine.first, result)
    pair = Pair(step.kept_as, (first, sweep), combined)
    pairs = tuple(each for each in state.task.pairs if each.step != pair.step)
    task = replace(state.task, first=None, pairs=(*pairs, pair))
    fine = replace(state.fine, first=None)
    return end_of_run(replace(state, task=task, fine=fine, note=""), step)


def _first_turn(state: SetupState, sweep: Sweep, result: SweepResult, note: str) -> SetupState:
    task, fine = replace(state.task, first=sweep), replace(state.fine, first=result)
    return replace(state, task=task, fine=fine, note=note)


def end_of_run(state: SetupState, step: Step) -> Outcome:
    """Go on, or find what the full round says."""
    guide = GUIDES[state.guide]
    if not step.measures:
        return _goto(state, guide.after(step.key).key), ()
    found = TASKS[guide.task](state)
    if isinstance(found, CannotTell):
        return _round_again(state, found.reason), ()
    found = replace(found, locked=step.locked)
    task = replace(state.task, history=(*state.task.history, found), todo=0)
    state = replace(state, task=task, note="")
    kept = KeepMeasured(guide.task, found, state.task.runs)
    return _after_round(state, step, found, kept)


def _after_round(state: SetupState, step: Step, found: Measured, kept: KeepMeasured) -> Outcome:
    guide = GUIDES[state.guide]
    if guide.first_of("todo") is None or (step.locked and good_enough(state, found)):
        return _goto(state, guide.after(step.key).key), (kept, Finish(found))
    lock = guide.first_of("lock")
    if good_enough(state, found) or not found.todo:
        if lock is not None and not step.locked and good_enough(state, found):
            return _goto(state, lock.key), (kept,)
        note = "Nothing is left to put right that this dial could show: measure once more."
        return _round_again(state, note if not good_enough(state, found) else ""), (kept,)
    task = replace(state.task, corrections=state.task.corrections + 1)
    note = "Locking moved it: unlock and correct." if step.locked else ""
    return _goto(replace(state, task=task), "todo", note), (kept,)


def good_enough(state: SetupState, found: Measured) -> bool:
    """Inside; or as near as this dial can ever tell, where the verdict stays open."""
    if found.verdict == "inside":
        return True
    if found.verdict == "outside" or found.size_mm is None or found.least_provable_mm is None:
        return False
    provable = found.least_provable_mm < state.tolerance_mm
    return not provable and found.size_mm < state.tolerance_mm / 2.0


def _round_again(state: SetupState, note: str) -> SetupState:
    """Begin the round anew: nothing of it is kept."""
    task = replace(state.task, seen=(), runs=(), first=None, pairs=(), todo=0)
    fine = replace(state.fine, first=None)
    return _goto(replace(state, task=task, fine=fine), GUIDES[state.guide].around, note)


def needle_came(state: SetupState, event: Still) -> Outcome:
    """Take a needle at rest while something is put right: go on where it is at its reading."""
    todo = wanted_todo(state)
    if todo is None or todo.needle_mm is None or event.value_mm is None:
        return state, ()
    if todo.stylus_deg is not None:
        theta = None if event.collar_rad is None else state.theta_rad(event.collar_rad)
        if theta is None or not at_angle(theta, todo.stylus_deg):
            return state, ()
    left = todo.needle_mm - event.value_mm
    if abs(left) > todo.window_mm:
        past = "Not there yet" if event.moved else "Go on"
        way = "up" if left > 0 else "down"
        return _noted(state, f"{past}: the needle has to go {way} by {abs(left):.3f} mm."), ()
    return next_todo(replace(state, active_s=event.at_s)), ()


def next_todo(state: SetupState) -> SetupState:
    """Go to the next thing to do; after the last the round begins anew."""
    found = state.task.found
    done = state.task.todo + 1
    if found is None or done >= len(found.todo):
        return _round_again(state, "")
    return replace(state, task=replace(state.task, todo=done), note="")


def resumed(state: SetupState) -> SetupState:
    """Return a kept state with what a restart loses taken anew: pairs of turns."""
    guide = GUIDES[state.guide]
    if guide.task == "axis":
        return replace(state, task=replace(state.task, seen=()))
    if guide.task == "centre" or guide.step(state.step).kind not in ("turns", "change"):
        return state
    task = replace(state.task, first=None, pairs=())
    around = guide.around if not guide.step(state.step).locked else state.step
    return replace(state, task=task, step=around)


def set_size(state: SetupState, key: str, value: float) -> SetupState:
    """Return the state with one entered size changed."""
    sizes = tuple((name, value if name == key else old) for name, old in state.task.sizes)
    return replace(state, task=replace(state.task, sizes=sizes))


def _goto(state: SetupState, key: str, note: str = "") -> SetupState:
    return replace(state, step=key, note=note)


def _noted(state: SetupState, note: str) -> SetupState:
    return state if state.note == note else replace(state, note=note)
