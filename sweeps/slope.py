"""A small angle as the trade states it: so much over a length, or arc-seconds."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import atan, degrees, inf

from sweeps.budget import BudgetLine, Verdict, VerdictWord, combine, verdict
from sweeps.distributions import Scaled

BUDGET_LENGTH_MM = 300.0
"""Length over which the budget of an angle is stated, as charts of machine tests have it."""
SQUARE_TO_TABLE_MM = 0.025
"""Spindle square to the table, both planes, over 300 mm (ISO 1701-2 class; check your chart)."""
SQUARE_TO_TABLE_FINE_MM = 0.02
"""The same over 300 mm on charts of Schlesinger's kind (ISO 10791-2 class)."""


@dataclass(frozen=True, slots=True)
class Slope:
    """A small angle in radians (mm per mm) with its standard uncertainty (k = 1).

    >>> bar = Slope(0.006 / 150, 0.0)
    >>> round(bar.over_mm(1000), 6), round(bar.arcsec, 2)
    (0.04, 8.25)
    """

    rad: float
    u_rad: float
    dof: float = inf

    def over_mm(self, length_mm: float) -> float:
        """Return the rise in mm over this length."""
        return self.rad * length_mm

    def u_over_mm(self, length_mm: float) -> float:
        """Return the standard uncertainty in mm of the rise over this length."""
        return self.u_rad * abs(length_mm)

    @property
    def arcsec(self) -> float:
        """Arc-seconds."""
        return degrees(atan(self.rad)) * 3600

    @property
    def u_arcsec(self) -> float:
        """Standard uncertainty in arc-seconds."""
        return degrees(self.u_rad) * 3600

    def judge(self, tolerance_mm: float, per_mm: float = BUDGET_LENGTH_MM) -> Verdict:
        """Judge the size of the angle against a tolerance in mm over `per_mm`."""
        size, u_mm = abs(self.over_mm(per_mm)), self.u_over_mm(per_mm)
        return verdict(size, u_mm, tolerance_mm, self.dof)


def slope_of(rad: float, lines: Iterable[BudgetLine]) -> Slope:
    """Return an angle with the uncertainty of budget lines stated over `BUDGET_LENGTH_MM`."""
    total = combine(lines)
    return Slope(rad, total.u_mm / BUDGET_LENGTH_MM, total.dof)


def scaled(lines: Iterable[BudgetLine], factor: float) -> tuple[BudgetLine, ...]:
    """Return the lines of `factor` times the quantity."""
    return tuple(
        replace(
            line,
            u_mm=abs(factor) * line.u_mm,
            spread=None if line.spread is None else Scaled(line.spread, factor),
        )
        for line in lines
    )


def squareness(first: Slope, second: Slope) -> Slope:
    """Return how far two axes are from square, each measured against one and the same square.

    The second minus the first, both as angles of the axis against the square's arm in one
    sense of turning.
    """
    lines = [BudgetLine("", one.u_rad, one.dof) for one in (first, second)]
    total = combine(lines)
    return Slope(second.rad - first.rad, total.u_mm, total.dof)


def judge_both(one: Slope, other: Slope, tolerance_mm: float, per_mm: float) -> Verdict:
    """Judge two angles against one tolerance: inside only if both, outside if either."""
    found = (one.judge(tolerance_mm, per_mm), other.judge(tolerance_mm, per_mm))
    words = {each.word for each in found}
    word: VerdictWord = "cannot tell"
    if "outside" in words:
        word = "outside"
    elif words == {"inside"}:
        word = "inside"
    guard = max(each.guard_mm for each in found)
    return Verdict(word, guard, guard)


def dish_mm(lean_along_feed_rad: float, cutter_mm: float) -> float:
    """Return how deep a cutter of this diameter dishes a full-width cut, in mm.

    Half the cutter's rise: the lean stands along the feed.

    >>> round(dish_mm(0.02 / 300, 50.0), 4)
    0.0017
    """
    return abs(lean_along_feed_rad) * cutter_mm / 2


def step_mm(lean_across_feed_rad: float, cutter_mm: float) -> float:
    """Return the step in mm left between passes by a lean across the feed."""
    return abs(lean_across_feed_rad) * cutter_mm
