"""Rough centring: opposite stops, until half a turn stays inside the dial's travel.

At each axis the stylus visits two opposite stops. Where both readings lie inside
the travel the needle is brought to their mean: the wall is then equally far on
both sides. Where one is off the work or at the end of travel, the work is moved
until that side reads; where both are out the same way, the stylus' reach on its
arm is wrong and is corrected.
"""

from dataclasses import replace
from math import pi
from typing import Literal

from readings import DIRECTION_DEG, Axis, Direction
from setups.state import Instrument, Rough, Zone

STOPS: dict[Axis, tuple[Direction, Direction]] = {"x": ("right", "left"), "y": ("back", "front")}
"""The positive and the negative stop of each axis."""

ROUGH_WITHIN_MM = 0.03
"""Half the difference of opposite stops that is good enough to go on to full turns."""

GOAL_WINDOW_MM = 0.015
"""How near the needle is brought to a rough goal."""

STOP_WITHIN_RAD = 15.0 * pi / 180.0
"""A stop counts when the stylus points within this of the axis."""

END_MARGIN = 0.06
"""Share of the travel at either end that is not trusted."""

MOST_TRIES = 2
"""Moves on one axis before the reach of the stylus is corrected instead."""


def zone(value_mm: float | None, dial: Instrument) -> Zone:
    """Return where a reading stands in the dial's travel."""
    if value_mm is None:
        return "unknown"
    if dial.travel_mm is None:
        return "inside"
    low, high = dial.travel_mm
    margin = END_MARGIN * (high - low)
    if value_mm <= low + margin:
        return "low"
    return "high" if value_mm >= high - margin else "inside"


def mid_travel_mm(dial: Instrument) -> float:
    """Return the reading at the middle of the travel (0 where the travel is not known)."""
    return 0.0 if dial.travel_mm is None else sum(dial.travel_mm) / 2.0


def _quarter_mm(side: Literal["low", "high"], dial: Instrument) -> float:
    low, high = dial.travel_mm or (0.0, 0.0)
    return low + 0.25 * (high - low) if side == "low" else high - 0.25 * (high - low)


def at_stop(theta_rad: float, stop: Direction) -> bool:
    """Whether the stylus at θ stands at `stop`."""
    away = theta_rad - DIRECTION_DEG[stop] * pi / 180.0
    return abs((away + pi) % (2 * pi) - pi) <= STOP_WITHIN_RAD


def opposite(axis: Axis, stop: Direction) -> Direction:
    """Return the other stop of `axis`."""
    positive, negative = STOPS[axis]
    return negative if stop == positive else positive


def _with_reading(rough: Rough, value_mm: float | None) -> Rough:
    if rough.stop == STOPS[rough.axis][0]:
        return replace(rough, near_mm=value_mm)
    return replace(rough, far_mm=value_mm)


def _other_reading(rough: Rough) -> float | None:
    return rough.far_mm if rough.stop == STOPS[rough.axis][0] else rough.near_mm


def _next_axis(rough: Rough) -> Rough | None:
    """Return the start on the other axis, None where both are done."""
    return Rough(axis="x", stop="right") if rough.axis == "y" else None


def _go_across(rough: Rough) -> Rough:
    return replace(
        rough,
        stop=opposite(rough.axis, rough.stop),
        goal_mm=None,
        seen_mm=None,
        what="table",
        final=False,
    )


def _out_of_travel(rough: Rough, where: Literal["low", "high"], dial: Instrument) -> Rough:
    """Set a goal for a stop where the stylus reads nothing useful: move until it does."""
    tries = rough.tries + 1
    if tries > MOST_TRIES:
        fresh = Rough(axis=rough.axis, stop=rough.stop)
        return replace(fresh, goal_mm=mid_travel_mm(dial), what="stylus")
    first_side = _other_reading(rough) is None
    goal = mid_travel_mm(dial) if first_side else _quarter_mm(where, dial)
    return replace(rough, goal_mm=goal, what="table", final=False, tries=tries)


def _both_known(rough: Rough, value_mm: float) -> Rough | None:
    """Both stops read inside: done, or one last move to their mean."""
    other = _other_reading(rough)
    if other is None:
        return _go_across(rough)
    if abs(value_mm - other) / 2.0 <= ROUGH_WITHIN_MM:
        return _next_axis(rough)
    goal = (value_mm + other) / 2.0
    return replace(rough, goal_mm=goal, seen_mm=value_mm, what="table", final=True)


def _goal_reached(rough: Rough, value_mm: float) -> Rough | None:
    if rough.final:
        return _next_axis(rough)
    here_only = replace(_with_reading(rough, value_mm), goal_mm=None)
    cleared = replace(
        here_only,
        near_mm=here_only.near_mm if rough.stop == STOPS[rough.axis][0] else None,
        far_mm=here_only.far_mm if rough.stop == STOPS[rough.axis][1] else None,
    )
    return _go_across(cleared)


def rough_step(rough: Rough, value_mm: float | None, dial: Instrument) -> tuple[Rough | None, str]:
    """Take a still reading at the wanted stop.

    Returns the new state (None: both axes are done) and a note, "" where the reading
    was taken.
    """
    where = zone(value_mm, dial)
    if value_mm is None or where == "unknown":
        return rough, "I cannot read the dial here."
    if rough.goal_mm is not None:
        if abs(value_mm - rough.goal_mm) <= GOAL_WINDOW_MM:
            return _goal_reached(rough, value_mm), ""
        return _seen(rough, value_mm), ""
    if where != "inside":
        return _seen(_out_of_travel(rough, where, dial), value_mm), ""
    return _both_known(_with_reading(rough, value_mm), value_mm), ""


def _seen(rough: Rough, value_mm: float) -> Rough:
    """Remember what the needle shows, unless it has hardly moved since."""
    before = rough.seen_mm
    if before is not None and abs(before - value_mm) < GOAL_WINDOW_MM / 5:
        return rough
    return replace(rough, seen_mm=value_mm)
