"""The Advice of a state: a pure function, read alike by screen, speech, terminal and tests."""

from collections.abc import Callable
from math import pi

from calibration.handwheels import Handwheel
from readings import (
    DIRECTION_DEG,
    Axis,
    Direction,
    Sense,
    flag_sentence,
    format_length,
    format_with_uncertainty,
    move_word,
)
from setups.advice import Advice, Move, Wanted
from setups.arcs import move_stop
from setups.checklists import list_of, ticked
from setups.guide import Step, StepKind
from setups.machine import other_axes
from setups.measured import VerdictWord
from setups.measuring import places_of_step, wanted_place, wanted_todo
from setups.orbits import tell_orbit
from setups.rough import GOAL_WINDOW_MM
from setups.state import Found, SetupState
from setups.steps import guide_of, step_of
from setups.words import left_out_words
from sweeps import (
    back_off_mm,
    move_for,
    needle_target_mm,
    needle_window_mm,
    told_trend,
    travel_from_needle,
)

_WANTS: dict[StepKind, Wanted] = {
    "prepare": "key",
    "sizes": "sizes",
    "places": "place",
    "orbit": "stop",
    "todo": "still",
    "change": "key",
    "checklist": "ticks",
    "point": "still",
    "rough": "still",
    "turns": "turn",
    "moves": "still",
    "lock": "key",
    "done": "nothing",
}

STYLUS_WORD: dict[Direction, str] = {
    "right": "to the right",
    "left": "to the left",
    "back": "to the back",
    "front": "to the front",
}


def advise(state: SetupState, theta_rad: float | None = None) -> Advice:
    """Return what is told at `state`; `theta_rad` is the live stylus angle where it is known."""
    step = step_of(state)
    tell = _TELL.get(step.kind)
    if tell is None:
        return _plain(state, step)
    return tell(state, step, theta_rad)


def _verdict(state: SetupState) -> VerdictWord | None:
    """Return the latest verdict, of whichever task."""
    found = state.task.found
    if found is not None:
        return found.verdict
    return state.found.verdict if state.found else None


def _plain(state: SetupState, step: Step) -> Advice:
    return Advice(
        headline=step.title,
        detail=step.text,
        say=step.say,
        wants=_WANTS[step.kind],
        stylus=step.direction,
        note=state.note,
        verdict=_verdict(state),
    )


def _checklist(state: SetupState, step: Step, theta_rad: float | None) -> Advice:
    lines = list_of(step.checklist or "", state.shop_lines).lines
    left = len(lines) - len(ticked(state.ticks, step.checklist or ""))
    return Advice(
        headline=step.title,
        detail=f"{step.text} {left} of {len(lines)} left.",
        say=step.say,
        wants="ticks",
        note=state.note,
        verdict=_verdict(state),
    )


def _turns(state: SetupState, step: Step, theta_rad: float | None) -> Advice:
    first = state.fine.first
    headline, detail, say = step.title, step.text, step.say
    if first is not None:
        way = _back(state, first.sense)
        headline = "Now one turn back"
        detail = f"The first turn is taken. Now one full turn, slowly, {way}."
        say = f"Now one full turn back, {way}."
    return Advice(
        headline=headline,
        detail=detail,
        say=say,
        wants="turn",
        note=state.note,
        verdict=_verdict(state),
    )


def _back(state: SetupState, sense: Sense | None) -> str:
    """Return which way is back, as it is said.

    Where the work turns under a still dial, θ is of the work: which way hands turned hangs on
    how its marks are numbered.
    """
    if sense is None or "still" in guide_of(state).layouts:
        return "the other way"
    back = "clockwise" if sense == "anticlockwise" else "anticlockwise"
    return f"{back} seen from above"


def divisions(state: SetupState, value_mm: float) -> float:
    """Return a reading in divisions of the dial in use, signed."""
    return value_mm / state.instrument.graduation_mm


def needle_words(state: SetupState, value_mm: float) -> str:
    """Return a reading as it is said: divisions of the dial, to a tenth."""
    return f"{divisions(state, value_mm):+.1f} divisions"


def _rough(state: SetupState, step: Step, theta_rad: float | None) -> Advice:
    rough = state.rough
    where = STYLUS_WORD[rough.stop]
    if rough.goal_mm is None:
        return Advice(
            headline=f"Stylus {where}",
            detail="Turn the spindle by hand until the stylus points there, then hold still.",
            say=f"Stylus {where}, and hold still.",
            wants="still",
            stylus=rough.stop,
            note=state.note,
        )
    move = _rough_move(state, rough.goal_mm)
    thing = "table" if rough.what == "table" else "stylus on its arm"
    reading = needle_words(state, rough.goal_mm)
    why = "" if rough.what == "table" else "The needle comes to the end of its travel. "
    return Advice(
        headline=f"{thing.split()[0].capitalize()} {move.direction}",
        detail=f"{why}With the stylus {where}, move the {thing} {move.direction} until the needle "
        f"stands at {reading}, then take your hands off.",
        say=f"Move the {thing} {move.direction} until the needle stands at {reading}.",
        wants="still",
        stylus=rough.stop,
        moves=(move,),
        move=0,
        note=state.note,
    )


def _rough_move(state: SetupState, goal_mm: float) -> Move:
    """Return the move to a rough goal; its length is the least where the dial is at an end."""
    rough = state.rough
    seen = goal_mm if rough.seen_mm is None else rough.seen_mm
    stop_rad = DIRECTION_DEG[rough.stop] * pi / 180.0
    if rough.what == "stylus":
        travel = goal_mm - seen
        outward = (travel >= 0) == (guide_of(state).surface == "bore")
        direction = "out" if outward else "in"
    else:
        surface = guide_of(state).surface
        travel = travel_from_needle(seen, goal_mm, rough.axis, stop_rad, surface)
        direction = move_word(rough.axis, travel)
    wheel = wheel_of(state, rough.axis) if rough.what == "table" else None
    return Move(
        what=rough.what,
        axis=rough.axis,
        direction=direction,
        move_mm=travel,
        divisions=wheel.divisions(travel) if wheel else None,
        wheel_turning=wheel.turning(travel) if wheel else None,
        stylus=rough.stop,
        needle_mm=goal_mm,
        needle_divisions=divisions(state, goal_mm),
        window_mm=GOAL_WINDOW_MM,
        approach="Follow the needle.",
        back_off_mm=0.0,
    )


def wheel_of(state: SetupState, axis: Axis) -> Handwheel | None:
    """Return the handwheel of `axis`, None where none was taught."""
    return next((w for w in state.wheels if w.axis == axis), None)


def _moves(state: SetupState, step: Step, theta_rad: float | None) -> Advice:
    found = state.found
    if found is None:
        return _plain(state, step)
    moves = tuple(
        _fine_move(state, found, axis, theta_rad if i == state.fine.move else None)
        for i, axis in enumerate(state.fine.axes)
    )
    i = min(state.fine.move, len(moves) - 1)
    move = moves[i]
    left = state.fine.remaining_mm
    travel = move.move_mm if left is None else left
    way = move_word(move.axis, travel)
    return Advice(
        headline=f"Table {way} {format_length(abs(travel))}",
        detail=_move_detail(state, move, travel, way),
        say=f"Stylus {STYLUS_WORD[move.stylus]}. Table {way}, {format_length(abs(travel))}. "
        f"Needle to {needle_words(state, move.needle_mm)}.",
        wants="still",
        stylus=move.stylus,
        moves=moves,
        move=i,
        note=state.note or found_note(found),
        verdict=found.verdict,
    )


def _move_detail(state: SetupState, move: Move, travel_mm: float, way: str) -> str:
    wheel = wheel_of(state, move.axis)
    turn = (
        f" That is {wheel.divisions(travel_mm):.1f} divisions {wheel.turning(travel_mm)} on the "
        f"{move.axis.upper()} handwheel."
        if wheel
        else ""
    )
    return (
        f"With the stylus {STYLUS_WORD[move.stylus]}, move the table {way} until the needle stands "
        f"at {needle_words(state, move.needle_mm)}.{turn} {move.approach}"
    )


def _fine_move(state: SetupState, found: Found, axis: Axis, theta_rad: float | None) -> Move:
    surface = guide_of(state).surface
    stop = move_stop(axis, state.left_out)
    theta = DIRECTION_DEG[stop] * pi / 180.0 if theta_rad is None else theta_rad
    travel = move_for(found, axis)
    trend = told_trend(found, axis, surface, stop)
    target = needle_target_mm(found, other_axes(state), theta, surface, trend)
    wheel = wheel_of(state, axis)
    back_off = back_off_mm(travel)
    return Move(
        what="table",
        axis=axis,
        direction=move_word(axis, travel),
        move_mm=travel,
        divisions=wheel.divisions(travel) if wheel else None,
        wheel_turning=wheel.turning(travel) if wheel else None,
        stylus=stop,
        needle_mm=target,
        needle_divisions=divisions(state, target),
        window_mm=needle_window_mm(state.tolerance_mm),
        approach=_approach(axis, travel, trend, back_off),
        back_off_mm=back_off,
    )


def _approach(axis: Axis, travel_mm: float, trend: str, back_off: float) -> str:
    finish = f"Finish moving {move_word(axis, travel_mm)}, the needle {trend}"
    if back_off:
        back = move_word(axis, -travel_mm)
        return f"Go past the reading first, {format_length(back_off)} {back} of it. {finish}."
    return f"{finish}; if you overshoot, go back well past it and come again."


def found_note(found: Found) -> str:
    """Return the numbers of the last pair in one sentence."""
    off = format_with_uncertainty(found.eccentricity_mm, found.u_eccentricity_mm)
    return f"Off by {off}: {found.verdict}."


def flag_lines(found: Found, *, brief: bool = False) -> tuple[str, ...]:
    """Return the sentences of the flags that stand on `found`; arcs left out by hand by name.

    `brief` leaves out what follows from arcs left out, for a screen that is read from afar.
    """
    by_hand = {"arcs left out": left_out_words(found.left_out)} if found.left_out else {}
    implied = ("tir at least",) if brief and by_hand else ()
    told = (name for name in found.flags if name not in implied)
    return tuple(by_hand.get(name) or flag_sentence(name) for name in told)


def _place(state: SetupState, step: Step, theta_rad: float | None) -> Advice:
    place = wanted_place(state)
    assert place is not None
    taken, places = len(state.task.seen), len(places_of_step(state))
    found = state.task.found
    return Advice(
        headline=f"Dial {place.words}",
        detail=f"{step.text} Place {taken + 1} of {places}: when the dial stands there, next.",
        say=f"Dial {place.words}. Hold still, then next.",
        wants="place",
        note=state.note or (found.sentence if found and not taken else ""),
        verdict=_verdict(state),
    )


def _todo(state: SetupState, step: Step, theta_rad: float | None) -> Advice:
    todo, found = wanted_todo(state), state.task.found
    if todo is None or found is None:
        return _plain(state, step)
    return Advice(
        headline=todo.headline,
        detail=todo.detail,
        say=todo.detail,
        wants="still" if todo.needle_mm is not None else "key",
        todo=todo,
        todos=found.todo,
        note=state.note or found.sentence,
        verdict=found.verdict,
    )


_TELL: dict[StepKind, Callable[[SetupState, Step, float | None], Advice]] = {
    "rough": _rough,
    "moves": _moves,
    "turns": _turns,
    "checklist": _checklist,
    "places": _place,
    "orbit": tell_orbit,
    "todo": _todo,
}
