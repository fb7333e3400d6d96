"""Arcs left out by hand, and the numbers of the turns at hand found anew without them.

A number found anew is no move and no sweep: no list lapses by it.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import degrees, radians

import numpy as np
from numpy.typing import NDArray

from readings import DIRECTION_DEG, Axis, Direction
from setups.fine import good_enough, judge, measure_turn, pair_up, start_round
from setups.rough import STOPS
from setups.state import DegArc, Effect, Fine, KeepResult, LeftOut, SetupState
from setups.steps import goto, guide_of, noted, step_of
from sweeps import MOVE_STOPS, TOO_MUCH_BY_HAND, SweepResult, left_out_rad

Outcome = tuple[SetupState, tuple[Effect, ...]]

STOP_CLEAR_DEG = 5
"""A stop serves a move where the wall counts this far to either side of it."""

NO_CENTRE = "Arcs can be left out while a bore, a boss or a plug is centred."
NO_TURNS = "From the next turn on: the turns before are not at hand any more."
BEGUN = "The table was moved meanwhile: turn once each way to see where the work is now."
NOTHING_LEFT = "Nothing is left that a move could better: turn once each way again."


def offered(state: SetupState) -> bool:
    """Whether arcs can be left out where the setup stands."""
    kind = step_of(state).kind
    return guide_of(state).task == "centre" and kind in ("rough", "turns", "moves", "lock")


def in_arcs(theta_rad: float, arcs: Sequence[DegArc]) -> bool:
    """Whether θ lies in one of the arcs."""
    theta = degrees(theta_rad) % 360.0
    return any((theta - start) % 360.0 <= (end - start) % 360 for start, end in arcs)


def move_stop(axis: Axis, arcs: Sequence[DegArc]) -> Direction:
    """Return where the stylus stands while an axis is moved: where the wall counts."""
    usual = MOVE_STOPS[axis]
    other = next(stop for stop in STOPS[axis] if stop != usual)
    return other if _hidden(usual, arcs) and not _hidden(other, arcs) else usual


def _hidden(stop: Direction, arcs: Sequence[DegArc]) -> bool:
    ring, at = _ring(arcs), int(DIRECTION_DEG[stop])
    return bool(ring[np.arange(at - STOP_CLEAR_DEG, at + STOP_CLEAR_DEG) % 360].any())


def on_left_out(state: SetupState, event: LeftOut) -> Outcome:
    """Leave an arc out, or take it back, and find the turns at hand anew.

    What cannot be done leaves the state as it is but for a note that says why.
    """
    if not offered(state):
        return noted(state, NO_CENTRE), ()
    arcs = changed(state.left_out, event.arc, out=event.out)
    why = _refused(state.left_out, arcs, out=event.out)
    if why:
        return noted(state, why), ()
    return _found_anew(state, replace(state, left_out=arcs, active_s=event.at_s, note=""))


def changed(arcs: Sequence[DegArc], arc: DegArc, *, out: bool) -> tuple[DegArc, ...]:
    """Return arcs with one more left out, or taken back: joined, apart, in rising order.

    >>> changed(((10, 40),), (30, 60), out=True)
    ((10, 60),)
    >>> changed(((350, 20),), (355, 5), out=False)
    ((5, 20), (350, 355))
    """
    ring = _ring(arcs)
    ring[_degrees_of(arc)] = out
    starts = np.flatnonzero(ring & ~np.roll(ring, 1))
    ends = (np.flatnonzero(ring & ~np.roll(ring, -1)) + 1) % 360
    first = next((i for i, end in enumerate(ends) if len(starts) and end > starts[0]), 0)
    return tuple(
        (int(start), int(end)) for start, end in zip(starts, np.roll(ends, -first), strict=True)
    )


def _degrees_of(arc: DegArc) -> NDArray[np.intp]:
    """Return the whole degrees of an arc; one from a place to itself is all round."""
    start, end = arc
    return np.arange(start, start + ((end - start) % 360 or 360), dtype=np.intp) % 360


def _ring(arcs: Sequence[DegArc]) -> NDArray[np.bool_]:
    ring = np.zeros(360, dtype=np.bool_)
    for arc in arcs:
        ring[_degrees_of(arc)] = True
    return ring


def _refused(before: Sequence[DegArc], arcs: tuple[DegArc, ...], *, out: bool) -> str:
    all_round = out and not arcs
    if arcs == before and not all_round:
        return "That changes nothing: the arc is as it was."
    if all_round or left_out_rad([(radians(a), radians(b)) for a, b in arcs]) > np.pi + 1e-9:
        return TOO_MUCH_BY_HAND.reason
    for positive, negative in STOPS.values():
        if _hidden(positive, arcs) and _hidden(negative, arcs):
            return (
                f"Neither {positive} nor {negative} would be left to read a move by: take an "
                "arc back first."
            )
    return ""


def _found_anew(before: SetupState, state: SetupState) -> Outcome:
    """Find the turns at hand anew; what gives no number leaves everything as it was."""
    kind, turns = step_of(state).kind, len(state.fine.sweeps)
    if kind == "turns" and state.fine.first is not None and turns == 1:
        return _first_anew(before, state)
    if kind not in ("moves", "lock") or state.found is None:
        return state, ()
    if turns != 2:
        return goto(state, "turns", NO_TURNS), ()
    return _pair_anew(before, state)


def _first_anew(before: SetupState, state: SetupState) -> Outcome:
    result, why, _ = measure_turn(state.fine.sweeps[0], state, guide_of(state).surface)
    if result is None:
        return noted(before, why), ()
    return replace(state, fine=replace(state.fine, first=result)), ()


def _pair_anew(before: SetupState, state: SetupState) -> Outcome:
    assert state.found is not None
    results: list[SweepResult] = []
    for sweep in state.fine.sweeps:
        result, why, _ = measure_turn(sweep, state, guide_of(state).surface)
        if result is None:
            return noted(before, why), ()
        results.append(result)
    pair = pair_up(*results)
    assert pair is not None
    returns = tuple(result.return_mm for result in results)
    found = judge(pair, returns, state, locked=state.found.locked)
    after = replace(state, history=(*state.history[:-1], found))
    return _onward(after), (KeepResult(found, pair, again=True),)


def _onward(state: SetupState) -> SetupState:
    """Go where the numbers found anew lead; a check, locked, has the last word in any case."""
    assert state.found is not None
    fine, moving = state.fine, step_of(state).kind == "moves"
    if good_enough(state.found, state.tolerance_mm):
        if moving and (fine.move > 0 or fine.remaining_mm is not None):
            return goto(replace(state, fine=replace(fine, sweeps=())), "turns", BEGUN)
        return goto(state, "lock")
    rounds = fine.corrections - 1 if moving else fine.corrections
    return to_moves(state, replace(fine, corrections=rounds), "")


def to_moves(state: SetupState, fine: Fine, note: str) -> SetupState:
    """Begin a round of moves; where none is worth making, turn again."""
    assert state.found is not None
    fine = start_round(state.found, fine, state.tolerance_mm)
    if not fine.axes:
        return goto(replace(state, fine=replace(fine, sweeps=())), "turns", note or NOTHING_LEFT)
    return goto(replace(state, fine=fine), "moves", note)
