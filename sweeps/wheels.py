"""Handwheel divisions and direction with the backlash taken up from one side."""

from dataclasses import dataclass
from math import isfinite
from typing import Literal, Protocol

from sweeps.moves import BACK_OFF_MM
from sweeps.result import SweepFailure

Way = Literal[-1, 1]
"""Sign of a slide's travel along its axis."""
_PAST_BACKLASH = 1.5
"""How many times the backlash a slide goes back, so that it is surely taken up."""


class Wheel(Protocol):
    """What is known of a handwheel; `backlash_mm` is None where it was never measured."""

    @property
    def backlash_mm(self) -> float | None:
        """Lost motion of the slide at a reversal."""

    def divisions(self, move_mm: float) -> float:
        """Return the divisions (unsigned) for a travel."""

    def turning(self, move_mm: float) -> Literal["clockwise", "anticlockwise"]:
        """Return which way to turn the wheel for a signed travel."""


@dataclass(frozen=True, slots=True)
class WheelLeg:
    """One turning of a handwheel one way.

    `divisions` counts from where the wheel stands, lost motion included where this leg
    reverses; `slack_divisions` is that part of it, None where the backlash is not known
    (then `divisions` is without it: count from where the needle begins to move).
    """

    travel_mm: float
    divisions: float
    slack_divisions: float | None
    turning: Literal["clockwise", "anticlockwise"]


def wheel_legs(
    move_mm: float, wheel: Wheel, *, finish: Way | None = None, came: Way | None = None
) -> tuple[WheelLeg, ...] | SweepFailure:
    """Return how to turn a handwheel so that the slide travels `move_mm` and stays there.

    Parameters
    ----------
    move_mm
        Signed travel wanted.
    wheel
        The handwheel.
    finish
        Sign of travel in which every move is to end, so that the screw always bears on
        the same flank; by default the way of this move.
    came
        Way of the slide's last travel, None where it is not known: then a leg goes back
        first, whose slack is unknown, and its end is told by the dial.

    Returns
    -------
    tuple of WheelLeg or SweepFailure
        One leg where the slack is taken up already, else one back and one to finish.
        Nothing for no move. A failure where a length is not a number.
    """
    if not isfinite(move_mm) or (wheel.backlash_mm is not None and not wheel.backlash_mm >= 0):
        return SweepFailure("A handwheel needs a length to travel, and a backlash not below zero.")
    if move_mm == 0:
        return ()
    way: Way = 1 if move_mm > 0 else -1
    end: Way = finish or way
    if way == end and came == end:
        return (_leg(move_mm, wheel, reverses=False),)
    if way == end and came is not None:
        return (_leg(move_mm, wheel, reverses=True),)
    over = end * max(BACK_OFF_MM, _PAST_BACKLASH * (wheel.backlash_mm or 0.0))
    first = _leg(min(move_mm - over, -over, key=lambda m: end * m), wheel, reverses=came == end)
    return (first, _leg(move_mm - first.travel_mm, wheel, reverses=True))


def _leg(travel_mm: float, wheel: Wheel, *, reverses: bool) -> WheelLeg:
    slack = wheel.backlash_mm if reverses else 0.0
    return WheelLeg(
        travel_mm=travel_mm,
        divisions=wheel.divisions(abs(travel_mm) + (slack or 0.0)),
        slack_divisions=None if slack is None else wheel.divisions(slack),
        turning=wheel.turning(travel_mm),
    )
