"""Rough centring: opposite stops, until half a turn stays inside the dial's travel.

At each axis the stylus visits two opposite stops. Where both readings lie inside the
travel the needle is brought to their mean: the wall is then equally far on both sides.

Where a stop is out of travel its reading tells only which way. Two things can be wrong,
where the work lies and how far the stylus reaches, and a move at a stop that does not read
changes by an amount that nobody knows. So the moves are made where the needle does read, by
a known share of the travel: the work towards the other stop's need first, then the stylus
on its arm, in turns, each time with a look across, until both stops read.
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

WORKING_END = 0.125
"""Share of the travel from its ends to which the needle is brought where the other stop
needs room."""

LOADED_END = 0.25
"""Share of the travel at its ends in which a needle is not loaded to about half the travel: one
that rests so near an end all the way round may as well have lost the work."""


def zone(value_mm: float | None, dial: Instrument, end: float = END_MARGIN) -> Zone:
    """Return where a reading stands in the dial's travel, `end` the share of it at either end."""
    if value_mm is None:
        return "unknown"
    if dial.travel_mm is None:
        return "inside"
    low, high = dial.travel_mm
    margin = end * (high - low)
    if value_mm <= low + margin:
        return "low"
    return "high" if value_mm >= high - margin else "inside"


def mid_travel_mm(dial: Instrument) -> float:
    """Return the reading at the middle of the travel (0 where the travel is not known)."""
    return 0.0 if dial.travel_mm is None else sum(dial.travel_mm) / 2.0


def _near_end_mm(side: Literal["low", "high"], dial: Instrument) -> float:
    """Return the reading that is used near one end of the travel."""
    low, high = dial.travel_mm or (0.0, 0.0)
    share = WORKING_END * (high - low)
    return low + share if side == "low" else high - share


def at_stop(theta_rad: float, stop: Direction) -> bool:
    """Whether the stylus at θ stands at `stop`."""
    return at_angle(theta_rad, DIRECTION_DEG[stop])


def at_angle(theta_rad: float, degrees: float) -> bool:
    """Whether θ is near enough to an angle for a stop there."""
    away = theta_rad - degrees * pi / 180.0
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


def _goal(rough: Rough, goal_mm: float, what: Literal["table", "stylus"]) -> Rough:
    return replace(rough, goal_mm=goal_mm, what=what, final=False)


def _both_inside(rough: Rough, value_mm: float, other_mm: float, dial: Instrument) -> Rough | None:
    """Both stops read: load the stylus anew, one last move to their mean, or done."""
    mean_mm = (value_mm + other_mm) / 2.0
    if zone(mean_mm, dial, LOADED_END) != "inside":
        return _goal(rough, value_mm + mid_travel_mm(dial) - mean_mm, "stylus")
    if abs(value_mm - other_mm) / 2.0 <= ROUGH_WITHIN_MM:
        return _next_axis(rough)
    return replace(rough, goal_mm=mean_mm, what="table", final=True)


def _make_room(
    rough: Rough, value_mm: float, side: Literal["low", "high"], dial: Instrument
) -> Rough:
    """Give the other stop, out at `side`, what it lacks while this one reads.

    Moving the work by what takes this reading to `side` brings the other one in by as
    much; where this reading stands there already, the stylus' reach does it for both.
    """
    here = _near_end_mm(side, dial)
    if abs(value_mm - here) > 2 * GOAL_WINDOW_MM:
        return _goal(rough, here, "table")
    return _goal(rough, _near_end_mm("high" if side == "low" else "low", dial), "stylus")


def _look(rough: Rough, value_mm: float, dial: Instrument) -> Rough | None:
    """Take the reading of a stop at which no goal stands."""
    other = _other_reading(rough)
    rough = _with_reading(rough, value_mm)
    if other is None:
        return _go_across(rough)
    here, there = zone(value_mm, dial), zone(other, dial)
    if here == there == "inside":
        return _both_inside(rough, value_mm, other, dial)
    if here == "inside":
        return _make_room(rough, value_mm, "low" if there == "low" else "high", dial)
    if there == "inside":
        return _go_across(rough)
    if here == there:
        return _goal(rough, mid_travel_mm(dial), "stylus")
    return _goal(rough, _near_end_mm("low" if here == "low" else "high", dial), "table")


def _goal_reached(rough: Rough, value_mm: float) -> Rough | None:
    """Only this stop's reading still holds: look across."""
    if rough.final:
        return _next_axis(rough)
    return _go_across(_with_reading(replace(rough, near_mm=None, far_mm=None), value_mm))


def rough_step(rough: Rough, value_mm: float | None, dial: Instrument) -> tuple[Rough | None, str]:
    """Take a still reading at the wanted stop.

    Returns the new state (None: both axes are done) and a note, "" where the reading
    was taken.
    """
    if value_mm is None:
        return rough, "I cannot read the dial here."
    if rough.goal_mm is None:
        after = _look(rough, value_mm, dial)
        return (after if after is None or after.goal_mm is None else _seen(after, value_mm)), ""
    if abs(value_mm - rough.goal_mm) <= GOAL_WINDOW_MM:
        return _goal_reached(rough, value_mm), ""
    return _seen(rough, value_mm), ""


def _seen(rough: Rough, value_mm: float) -> Rough:
    """Remember what the needle shows, unless it has hardly moved since."""
    before = rough.seen_mm
    if before is not None and abs(before - value_mm) < GOAL_WINDOW_MM / 5:
        return rough
    return replace(rough, seen_mm=value_mm)
