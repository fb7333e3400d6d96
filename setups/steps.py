"""Where a setup stands among its guide's steps, and how it goes from one to another."""

from dataclasses import replace

from setups.guides import GUIDES, Guide, Step
from setups.measuring import resumed
from setups.rough import STOPS
from setups.state import Fine, Rough, SetupState


def guide_of(state: SetupState) -> Guide:
    """Return the guide that `state` walks."""
    return GUIDES[state.guide]


def step_of(state: SetupState) -> Step:
    """Return the step `state` stands at."""
    return guide_of(state).step(state.step)


def after_restart(state: SetupState, note: str) -> SetupState:
    """Return a kept state as it is taken up again: nobody saw the machine in between.

    What was measured half is measured anew: the stops of rough centring, and the turns
    that a round of moves came from. `note` is told where that concerns the step.
    """
    kind = step_of(state).kind
    if kind == "rough":
        axis = state.rough.axis
        return replace(state, rough=Rough(axis=axis, stop=STOPS[axis][0]), note=note)
    if kind == "moves":
        return replace(goto(state, "turns", note), fine=Fine(corrections=state.fine.corrections))
    kept = ("turns", "lock", "places", "change", "todo", "orbit")
    return replace(resumed(state), note=note) if kind in kept else state


def goto(state: SetupState, key: str, note: str = "") -> SetupState:
    """Return the state at another step."""
    return replace(state, step=key, note=note)


def forward(state: SetupState) -> SetupState:
    """Return the state at the next step of its guide."""
    return goto(state, guide_of(state).after(state.step).key)


def noted(state: SetupState, note: str) -> SetupState:
    """Return the state with a note; the same object where it stands already."""
    return state if state.note == note else replace(state, note=note)
