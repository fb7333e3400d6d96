"""Tram a square: a square or angle plate run along a travel, and its reversal."""

from dataclasses import dataclass, replace
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from readings import Direction
from sweeps.allowance import DEFAULT_ALLOWANCE, Allowance
from sweeps.budget import BudgetLine, combine
from sweeps.result import SweepFailure
from sweeps.slope import Slope, slope_of
from sweeps.traverse import traverse
from sweeps.traverse_result import TraverseResult
from sweeps.zone import line_zone

_SIDE: dict[Direction, float] = {"right": 1.0, "back": 1.0, "left": -1.0, "front": -1.0}
_OWN_LINES = ("fit", "drift")
"""Budget lines that two runs do not share."""


@dataclass(frozen=True, slots=True, eq=False)
class SquareResult:
    """A square's arm run along a travel.

    `error` is positive where the arm leans to +X (or +Y) against the travel as place grows.
    `run` is the line of readings, with straightness, budget, residuals and flags.
    """

    error: Slope
    looks: Direction
    run: TraverseResult

    def __bool__(self) -> Literal[True]:
        return True

    @property
    def flags(self) -> tuple[str, ...]:
        """Flags of the run."""
        return self.run.flags


def tram_square(
    place_mm: ArrayLike,
    value_mm: ArrayLike,
    *,
    looks: Direction,
    sigma_mm: ArrayLike,
    t_s: ArrayLike | None = None,
    u_place_mm: float = 0.0,
    allowance: Allowance = DEFAULT_ALLOWANCE,
    u_dial_mm: float | None = None,
) -> SquareResult | SweepFailure:
    """Return the error over length and the straightness of a square run along a travel.

    Parameters
    ----------
    place_mm, value_mm
        ``(n,)``; place grows along the travel (Z up, or +X, +Y).
    looks
        The side to which the touched face looks: the stylus pushes the other way, and the
        reading rises as the face lies further on that side.
    sigma_mm, t_s, u_place_mm, allowance, u_dial_mm
        As in `traverse`.

    Returns
    -------
    SquareResult or SweepFailure
        A failure where `traverse` fails.
    """
    if looks not in _SIDE:
        return SweepFailure("A face looks to the right, back, left or front.")
    run = traverse(
        place_mm,
        value_mm,
        sigma_mm=sigma_mm,
        t_s=t_s,
        u_place_mm=u_place_mm,
        allowance=allowance,
        u_dial_mm=u_dial_mm,
    )
    if not run:
        return run
    return SquareResult(replace(run.slope, rad=_SIDE[looks] * run.slope.rad), looks, run)


@dataclass(frozen=True, slots=True, eq=False)
class ReversalResult:
    """Square and machine told apart by turning the square round.

    `square` is the square's own error: positive where its arm leans out, to the side its
    face looks. `machine` is what a perfect square would have shown with its face looking
    to `looks`: positive to that side, the travel itself leaning the other way. Straightness
    is minimum zone, over the places both runs share; None where they share under three.
    `budget` is of either error over 300 mm.
    """

    square: Slope
    machine: Slope
    looks: Direction
    square_straightness_mm: float | None
    machine_straightness_mm: float | None
    u_straightness_mm: float | None
    budget: tuple[BudgetLine, ...]
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True


_OPPOSITE: dict[Direction, Direction] = {
    "right": "left",
    "left": "right",
    "back": "front",
    "front": "back",
}


def reverse_square(
    first: SquareResult | SweepFailure, second: SquareResult | SweepFailure
) -> ReversalResult | SweepFailure:
    """Return square and machine apart from a run on either side (C. J. Evans et al., CIRP 1996).

    Against the travel's direction the face reads ``m₁ = square + machine`` and, turned
    round, ``m₂ = square - machine``, each positive to the side the face then looks.

    Returns
    -------
    ReversalResult or SweepFailure
        The first failure of the two, or one where the faces do not look opposite ways.
    """
    for each in (first, second):
        if isinstance(each, SweepFailure):
            return each
    assert isinstance(first, SquareResult)
    assert isinstance(second, SquareResult)
    if second.looks != _OPPOSITE[first.looks]:
        return SweepFailure("For a reversal the square's face looks the other way the second time.")
    one, other = first.run.slope.rad, second.run.slope.rad
    budget = _mean_budget(first.run.budget, second.run.budget)
    square, machine, u_form = _straightness(first.run, second.run)
    return ReversalResult(
        square=slope_of((one + other) / 2, budget),
        machine=slope_of((one - other) / 2, budget),
        looks=first.looks,
        square_straightness_mm=square,
        machine_straightness_mm=machine,
        u_straightness_mm=u_form,
        budget=budget,
        flags=tuple(dict.fromkeys((*first.flags, *second.flags))),
        message=f"{first.run.message}; turned round: {second.run.message}",
    )


def _mean_budget(
    one: tuple[BudgetLine, ...], other: tuple[BudgetLine, ...]
) -> tuple[BudgetLine, ...]:
    """Return the budget of half the sum or difference; what both share does not average out."""
    named: dict[str, list[BudgetLine]] = {}
    for line in (*one, *other):
        named.setdefault(line.name, []).append(line)
    result = []
    for name, lines in named.items():
        if name in _OWN_LINES:
            half = combine([replace(line, u_mm=line.u_mm / 2) for line in lines])
            result.append(BudgetLine(name, half.u_mm, half.dof, lines[0].note))
        else:
            result.append(max(lines, key=lambda line: line.u_mm))
    return tuple(result)


def _straightness(
    one: TraverseResult, other: TraverseResult
) -> tuple[float | None, float | None, float | None]:
    low, high = max(one.near_mm, other.near_mm), min(one.far_mm, other.far_mm)
    inside = (one.profile_place_mm >= low) & (one.profile_place_mm <= high)
    place = one.profile_place_mm[inside]
    if len(np.unique(place)) < 3:
        return None, None, None
    here = one.profile_mm[inside]
    there = np.interp(place, other.profile_place_mm, other.profile_mm)
    sizes = [line_zone(place, half).width_mm for half in ((here + there) / 2, (here - there) / 2)]
    u = sqrt(one.u_straightness_mz_mm**2 + other.u_straightness_mz_mm**2) / 2
    return sizes[0], sizes[1], u
