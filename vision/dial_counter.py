"""Whole turns of a needle from the dial's own turns counter.

The counter's hand tells the needle's turns to a few hundredths; the needle tells the fraction
exactly. The whole turns are what is left between the two, and they are believed only where
both agree. A counter that stays with the case counts against the case: where its circle is
seen tells how far the bezel was turned, and that comes off first.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.counters import TaughtCounter
from calibration.dials import TaughtDial
from vision.dial_counter_hand import (
    HandFit,
    PatchGrid,
    fit_hand,
    hand_look,
    patch_grid,
    see_patch,
)
from vision.dial_counter_ring import RingSearch, find_bearing, ring_search
from vision.dial_needle import NeedleFit, needle_look
from vision.dial_pose import PlanePose
from vision.dial_scale import ScaleFit

_LEAST_RING = 0.10
_LEAST_RING_MARGIN = 0.04
_LEAST_SCORE = 0.70
_LEAST_MARGIN = 0.15
_LEAST_STRENGTH = 0.25
_LEAST_SEEN = 0.5
MOST_OFF = 1 / 3
"""Turns by which counter and needle may disagree."""
_SURE = 4.5  # standard deviations between a count and its neighbour's limit
_HALF_TURN_DOUBT = 0.03
"""Turns about half a turn of the bezel where it cannot be told which way it was turned."""
_STILL_HOME = 0.01  # turns of the bezel within which a counter is where it was taught
_BELOW = 1  # turns below zero that are told where the dial's travel is not known


@dataclass(frozen=True, slots=True, eq=False)
class _Place:
    """Where a counter stands about one pose; `bezel_turns` is None where it was not found."""

    pose: PlanePose
    grid: PatchGrid
    bearing_rad: float
    bezel_turns: float | None


def half_wrapped(turns: float) -> float:
    """Return turns modulo one, in [-0.5, 0.5)."""
    return (turns + 0.5) % 1.0 - 0.5


def bezel_turns(dial: TaughtDial, counter: TaughtCounter, bearing_rad: float) -> float | None:
    """Return how far the bezel was turned, in turns of a rising needle; None where in doubt.

    A bezel turned by half a turn may have come either way: a whole turn hangs on it. Where home
    itself is not sure, any turn of the bezel leaves the count in doubt.
    """
    turned = half_wrapped(dial.rising * (counter.home_rad - bearing_rad) / (2 * np.pi))
    if not counter.home_sure and abs(turned) > _STILL_HOME:
        return None
    return None if abs(turned) > 0.5 - _HALF_TURN_DOUBT else turned


def whole_turns(off_turns: float, sigma_turns: float) -> int | None:
    """Return the whole turns nearest to what counter and needle differ by.

    None where they are over `MOST_OFF` apart, or where the next count is within reach.
    """
    count = round(off_turns)
    sure = _SURE * sigma_turns < 1.0 - MOST_OFF
    return count if sure and abs(off_turns - count) < MOST_OFF else None


def within_travel(count: int, divisions: float, dial: TaughtDial, around: int) -> int | None:
    """Return a count known modulo `around` as the one within the dial's travel.

    Where the travel is not known, counts from one turn below zero up to half of the counter are
    told and the others not: a needle far above zero may as well be as far below.
    """
    if dial.travel_mm is None:
        inside = (count + _BELOW) % around - _BELOW
        return inside if inside < around / 2 else None
    low, high = (one / dial.mm_per_turn for one in dial.travel_mm)
    at = divisions / dial.marks_per_turn
    first = int(np.ceil((low - MOST_OFF - at - count) / around))
    last = int(np.floor((high + MOST_OFF - at - count) / around))
    return count + first * around if first == last else None


class TurnsCounter:
    """Counts the whole turns of one dial's needle, picture after picture."""

    def __init__(self, dial: TaughtDial, counter: TaughtCounter) -> None:
        self._dial = dial
        self._counter = counter
        self._needle = needle_look(dial)
        self._hand = hand_look(counter.hand)
        self._search: RingSearch = ring_search(counter.distance_mm, counter.ring_mm)
        self._place: _Place | None = None

    def turns(
        self,
        image: NDArray[np.uint8],
        gray: NDArray[np.uint8],
        scale: ScaleFit,
        needle: NeedleFit,
        light: float,
    ) -> int | None:
        """Return the whole turns from zero, rounded down; None where they cannot be told.

        `light` is the marks' contrast in this picture. While the pose is the same object as
        before, only the hand is looked at.
        """
        if self._place is None or self._place.pose is not scale.pose:
            self._place = self._find(gray, scale.pose)
        place = self._place
        if place.bezel_turns is None:
            return None
        line = (needle.angle_rad, needle.miss_mm)
        seen = see_patch(image, place.grid, line, scale.blur_px)
        hand = fit_hand(seen, self._counter.hand_step, light, self._hand)
        return self._count(hand, place, needle) if _believed(hand) else None

    def _find(self, gray: NDArray[np.uint8], pose: PlanePose) -> _Place:
        """Find the counter about a new pose, and so the bezel's turn."""
        seen = find_bearing(gray, pose, self._search, self._dial.mark_sign)
        way = np.array([np.cos(seen.angle_rad), np.sin(seen.angle_rad)])
        found = seen.score > _LEAST_RING and seen.margin > _LEAST_RING_MARGIN
        turned = bezel_turns(self._dial, self._counter, seen.angle_rad) if found else None
        centre = self._counter.distance_mm * way
        grid = patch_grid(pose, self._needle, centre, self._counter.ring_mm)
        return _Place(pose, grid, seen.angle_rad, turned)

    def _count(self, hand: HandFit, place: _Place, needle: NeedleFit) -> int | None:
        dial, counter = self._dial, self._counter
        assert place.bezel_turns is not None
        turned = place.bearing_rad - counter.home_rad
        gone = half_wrapped((hand.angle_rad - turned - counter.seen_rad) / (2 * np.pi))
        sigma = counter.turns * hand.sigma_rad / (2 * np.pi)
        fraction = dial.rising * needle.angle_rad / (2 * np.pi) % 1.0
        counts = set()
        for sense in (counter.rising,) if counter.rising else (1.0, -1.0):
            against_case = counter.seen_turns + sense * counter.turns * gone
            count = whole_turns(against_case - place.bezel_turns - fraction, sigma)
            if count is not None:
                counts.add(count)
        if len(counts) != 1:  # neither, or either sense of an unknown one
            return None
        return within_travel(counts.pop(), fraction * dial.marks_per_turn, dial, counter.turns)


def _believed(hand: HandFit) -> bool:
    return (
        hand.score > _LEAST_SCORE
        and hand.margin > _LEAST_MARGIN
        and hand.strength > _LEAST_STRENGTH
        and hand.seen > _LEAST_SEEN
    )
