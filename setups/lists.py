"""The two checklists in a running setup: touches, and what makes them lapse."""

from dataclasses import replace

from readings import FLAGS
from setups.checklists import (
    Change,
    Tick,
    complete,
    knows,
    lapse,
    lapse_by_age,
    toggle,
)
from setups.state import CameraLost, Changed, Clock, Effect, KeepTick, SetupState, Touched
from setups.steps import after_restart, forward, goto, step_of

Outcome = tuple[SetupState, tuple[Effect, ...]]

CHANGED_NOTES: dict[Change, str] = {
    "move": "The spindle moved: touch again what that changes.",
    "sweep": "It was swept again: touch again what that changes.",
    "camera": "The camera was lost: touch again what that changes.",
    "tool": "The tool was changed: touch again what that changes.",
    "reload": "The page was loaded anew: touch its lines again.",
}


def on_touched(state: SetupState, event: Touched) -> Outcome:
    """Tick a line, or take its tick back; a list that is whole goes on."""
    if not knows(event.checklist, event.line, state.shop_lines):
        return state, ()
    tick = Tick(event.checklist, event.line, event.who, event.at_s)
    ticks = toggle(state.ticks, tick)
    after = replace(state, ticks=ticks, active_s=event.at_s)
    step = step_of(state)
    here = step.kind == "checklist" and step.checklist == event.checklist
    if here and complete(ticks, event.checklist, state.shop_lines):
        after = goto(after, state.resume) if state.resume else forward(after)
        after = replace(after, resume="")
    return after, (KeepTick(tick, tick in ticks),)


def on_clock(state: SetupState, event: Clock) -> Outcome:
    """Let lists lapse by age."""
    ticks = lapse_by_age(state.ticks, event.at_s, state.active_s)
    if ticks == state.ticks:
        return state, ()
    return _lapsed(state, ticks, "Ten minutes went by: the list has lapsed."), ()


def on_changed(state: SetupState, event: Changed) -> Outcome:
    """Let lines lapse: a page loaded anew shows none as ticked, a changed tool asks again."""
    step = step_of(state)
    if event.what == "reload" and step.kind != "checklist":
        return state, ()
    ticks = lapse(state.ticks, step.checklist or "before-hands", event.what)
    if ticks == state.ticks:
        return state, ()
    return _lapsed(state, ticks, CHANGED_NOTES[event.what]), ()


def _lapsed(state: SetupState, ticks: tuple[Tick, ...], note: str) -> SetupState:
    """Return the state with some ticks gone; where hands may be on, the list is asked again.

    What was half measured is measured anew afterwards: nobody vouches for the time between.
    """
    lapsed = replace(state, ticks=ticks, note=note)
    held = complete(state.ticks, "before-hands", state.shop_lines)
    holds = complete(ticks, "before-hands", state.shop_lines)
    if step_of(state).kind in ("prepare", "sizes", "checklist", "done") or holds or not held:
        return lapsed
    kept = after_restart(lapsed, note)
    return replace(goto(kept, "before-hands", note), resume=kept.step)


def on_lost(state: SetupState, event: CameraLost) -> Outcome:
    """Note that nobody watches any more; what hangs on the camera lapses."""
    if state.camera_lost:
        return state, ()
    ticks = lapse(lapse(state.ticks, "before-power", "camera"), "before-hands", "camera")
    lapsed = _lapsed(state, ticks, FLAGS["camera gone"].sentence)
    return replace(lapsed, camera_lost=True), ()
