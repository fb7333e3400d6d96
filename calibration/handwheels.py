"""Handwheels: how many divisions a turn has and which way the slide goes."""

from dataclasses import dataclass
from typing import Literal

from readings import Axis, BadInputError


@dataclass(frozen=True, slots=True)
class Handwheel:
    """One slide's handwheel.

    `clockwise_moves` is the sign of the slide's travel when the wheel is turned
    clockwise, seen by the person who turns it. `backlash_mm` is the lost motion
    to take up before a reading counts; None where it was never measured.
    """

    axis: Axis
    mm_per_turn: float
    divisions_per_turn: int
    clockwise_moves: Literal[-1, 1] = 1
    backlash_mm: float | None = None

    def __post_init__(self) -> None:
        if not (self.mm_per_turn > 0 and self.divisions_per_turn > 0):
            msg = (
                f"a handwheel of {self.mm_per_turn} mm and {self.divisions_per_turn} divisions a "
                "turn was given; both must be above zero: read them off the wheel's collar"
            )
            raise BadInputError(msg)

    @property
    def mm_per_division(self) -> float:
        """Travel of the slide for one division of the wheel (mm)."""
        return self.mm_per_turn / self.divisions_per_turn

    def divisions(self, move_mm: float) -> float:
        """Return the divisions (unsigned) for a move of `move_mm`.

        >>> Handwheel("x", 5.0, 250).divisions(-0.05)
        2.5
        """
        return round(abs(move_mm) / self.mm_per_division, 6)

    def turning(self, move_mm: float) -> Literal["clockwise", "anticlockwise"]:
        """Return which way to turn the wheel, seen by the person who turns it."""
        return "clockwise" if move_mm * self.clockwise_moves >= 0 else "anticlockwise"
