"""A dial's own error: what it read at known steps, and what that says about it. Pure.

A deviation is what the dial read less what it was truly pushed in, both counted from the
step nearest to zero. Readings of one step in one direction are averaged over the runs.

- Whole range: largest less smallest deviation, both directions (or going up alone).
- Partial range over a stretch: largest difference of two deviations in one direction whose
  steps lie no further apart (JIS B 7503's "1/10 revolution", ISO 463's partial range).
- Retrace (hysteresis): largest difference of up and down at one step.
- Repeatability: largest spread of one step's readings in one direction over the runs.
"""

from dataclasses import dataclass
from datetime import datetime
from math import hypot, inf, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from readings import BadInputError, frozen_array

Float = NDArray[np.float64]

STEEL_PER_K = 11.5e-6
"""Expansion of steel (ISO 1 reference 20 °C; FIGURES of JCGM 100 H.1 use the same)."""
EXPANSIONS_DIFFER_PER_K = 1.0e-6
"""Half-width of what two steels' expansions differ from each other's (JCGM 100, H.1.3)."""
TEMPERATURES_DIFFER_K = 1.0
"""Half-width of the temperature between the dial and what the steps were made with."""
UNKNOWN_TEMPERATURE_K = 10.0
"""How far from 20 °C a shop may be where nobody looked."""
REPEATS_FOR_SPREAD = 5
"""Releases that a repeatability is the spread of (JIS B 7503:2017)."""
UNSEEN_REPEAT_DIVISIONS = 0.2
"""Half-width allowed for repeatability nobody measured (AGD: a fifth of a graduation)."""

STEP_RULE_TURNS = ((2.0, 0.1), (5.0, 0.5), (10.0, 1.0), (inf, 5.0))
"""Steps over the first 2, 5, 10 turns and beyond, in turns (JIS B 7503:2017)."""
STEP_RULE_DIVISIONS = 10
"""Steps need never be finer than this many divisions (lever types have 80 a turn)."""
_SAME = 1e-6
"""Steps this close (mm) are the same."""


@dataclass(frozen=True, slots=True)
class MadeWith:
    """What the steps were made with; `u_step_mm` is k = 1 of one step's length from zero."""

    name: str
    u_step_mm: float
    both_ways: bool = True
    """Whether a step can be approached from above as truly as from below (a wheel cannot)."""

    def __post_init__(self) -> None:
        if not (np.isfinite(self.u_step_mm) and self.u_step_mm >= 0):
            msg = f"an uncertainty of {self.u_step_mm:g} mm cannot be used: give zero or more."
            raise BadInputError(msg)


@dataclass(frozen=True, slots=True, eq=False)
class ErrorTable:
    """What a dial read at known steps. Lengths in mm; arrays are read-only.

    Attributes
    ----------
    number
        Counts the dial's checks from 1; 0 while it is not kept.
    steps_mm
        (n,) true pushes, rising.
    up_mm, down_mm
        (n, runs) readings with whole turns, going up and going down; `down_mm` is (n, 0)
        where the steps went one way only.
    u_reading_mm
        k = 1 of one reading, of the reader or of the eye.
    judged_by, verdict
        The class it was judged by when it was made, and how; None where it was not.
    """

    dial: str
    dial_version: int
    number: int
    at_utc: datetime
    temperature_c: float | None
    made_with: MadeWith
    graduation_mm: float
    marks_per_turn: int
    steps_mm: Float
    up_mm: Float
    down_mm: Float
    u_reading_mm: float
    judged_by: str | None = None
    verdict: Literal["pass", "fail", "cannot tell"] | None = None

    def __post_init__(self) -> None:
        _check_table(self)

    @property
    def mm_per_turn(self) -> float:
        """Travel for one turn of the needle."""
        return self.graduation_mm * self.marks_per_turn

    @property
    def length_mm(self) -> float:
        """From the first step to the last."""
        return float(self.steps_mm[-1] - self.steps_mm[0])

    @property
    def runs(self) -> int:
        """How many times the steps were gone through."""
        return int(self.up_mm.shape[1])

    @property
    def both_ways(self) -> bool:
        """Whether it was read going down as well."""
        return int(self.down_mm.shape[1]) > 0

    @property
    def reference(self) -> int:
        """Index of the step that deviations count from: the one nearest to zero."""
        return int(np.argmin(np.abs(self.steps_mm)))


def _check_table(table: ErrorTable) -> None:
    steps, up, down = table.steps_mm, table.up_mm, table.down_mm
    n = len(steps)
    shaped = up.ndim == down.ndim == 2 and len(up) == len(down) == n and up.shape[1] > 0
    if not shaped or down.shape[1] not in (0, up.shape[1]):
        msg = f"a table of {n} steps needs as many readings each way: begin the check again."
        raise BadInputError(msg)
    if n < 2 or not np.all(np.diff(steps) > _SAME):
        msg = "an error table needs two or more steps, each larger than the one before."
        raise BadInputError(msg)
    single = np.array([table.u_reading_mm, table.temperature_c or 0.0])
    finite = all(bool(np.isfinite(v).all()) for v in (steps, up, down, single))
    if not finite or table.u_reading_mm < 0:
        msg = "an error table holds a number that is none: begin the check again."
        raise BadInputError(msg)
    if not (table.graduation_mm > 0 and table.marks_per_turn > 0):
        msg = "an error table needs a dial with a graduation above zero."
        raise BadInputError(msg)


@dataclass(frozen=True, slots=True, eq=False)
class Deviations:
    """Mean deviations of the steps, (n,) in mm; `down_mm` is (0,) where not measured."""

    up_mm: Float
    down_mm: Float

    @property
    def ways(self) -> tuple[Float, ...]:
        """The directions that were measured."""
        return (self.up_mm, self.down_mm) if len(self.down_mm) else (self.up_mm,)

    @property
    def mean_mm(self) -> Float:
        """(n,) mean of the directions."""
        return np.asarray(np.mean(self.ways, axis=0))


def deviations(table: ErrorTable) -> Deviations:
    """Return the mean deviation of each step, counted from the step nearest to zero."""
    at = table.reference
    zero = float(table.up_mm[at].mean()) - float(table.steps_mm[at])
    up = table.up_mm.mean(axis=1) - table.steps_mm - zero
    if not table.both_ways:
        return Deviations(frozen_array(up), frozen_array([]))
    down = table.down_mm.mean(axis=1) - table.steps_mm - zero
    return Deviations(frozen_array(up), frozen_array(down))


def whole_range_mm(table: ErrorTable, *, both: bool = True) -> float:
    """Return largest less smallest deviation, of both directions or going up alone."""
    found = deviations(table)
    return float(np.ptp(np.concatenate(found.ways) if both else found.up_mm))


def largest_mm(table: ErrorTable) -> float:
    """Return the largest deviation from zero, of either sign, in either direction."""
    return float(np.max(np.abs(np.concatenate(deviations(table).ways))))


def partial_mm(table: ErrorTable, over_mm: float) -> float | None:
    """Return the largest difference of two deviations within `over_mm` of travel.

    None where no two steps lie so near to each other.
    """
    apart = np.abs(table.steps_mm[:, None] - table.steps_mm[None, :])
    near = (apart <= over_mm + _SAME) & (apart > 0)
    if not near.any():
        return None
    return max(
        float(np.max(np.abs(way[:, None] - way[None, :])[near])) for way in deviations(table).ways
    )


def retrace_mm(table: ErrorTable) -> float | None:
    """Return the largest difference of up and down at one step; None where it went one way."""
    found = deviations(table)
    return float(np.max(np.abs(found.up_mm - found.down_mm))) if table.both_ways else None


def repeatability_mm(table: ErrorTable) -> float | None:
    """Return the largest spread of a step's readings over the runs; None of a single run."""
    if table.runs < 2:
        return None
    ways = (table.up_mm, table.down_mm) if table.both_ways else (table.up_mm,)
    return max(float(np.max(np.ptp(way, axis=1))) for way in ways)


def scatter_mm(table: ErrorTable) -> float:
    """Return the standard deviation of one reading at one step, pooled; an allowance of a run."""
    if table.runs < 2:
        return UNSEEN_REPEAT_DIVISIONS * table.graduation_mm / sqrt(3)
    ways = (table.up_mm, table.down_mm) if table.both_ways else (table.up_mm,)
    return float(np.sqrt(np.mean([np.mean(np.var(way, axis=1, ddof=1)) for way in ways])))


def u_deviation_mm(table: ErrorTable) -> float:
    """Return k = 1 of one deviation: the reading, the step, and both's temperature.

    The steps' own uncertainty is taken as common to no two steps, the reading's as not
    averaging over the runs: neither is known better.
    """
    return hypot(table.u_reading_mm, table.made_with.u_step_mm, u_temperature_mm(table))


def u_temperature_mm(table: ErrorTable) -> float:
    """Return k = 1 of the longest step from temperature: l·sqrt(u²(δα)·θ² + α²·u²(δθ))."""
    known = table.temperature_c is not None
    off_k = abs((table.temperature_c or 0.0) - 20.0) if known else UNKNOWN_TEMPERATURE_K
    longest = float(np.max(np.abs(table.steps_mm)))
    parts = EXPANSIONS_DIFFER_PER_K * off_k, STEEL_PER_K * TEMPERATURES_DIFFER_K
    return longest * hypot(*parts) / sqrt(3)


def widest_gap_mm(steps_turns: float, marks_per_turn: int) -> float:
    """Return the widest step in turns that the method allows so far into the travel."""
    gap = next(gap for end, gap in STEP_RULE_TURNS if steps_turns < end - _SAME)
    return max(gap, STEP_RULE_DIVISIONS / marks_per_turn)


def dense_enough(table: ErrorTable, over_mm: float | None = None) -> bool:
    """Whether steps lie as close as the method asks (over all, or where it asks `over_mm`)."""
    turn = table.mm_per_turn
    turns = (table.steps_mm - table.steps_mm[0]) / turn
    asked = np.array([widest_gap_mm(t, table.marks_per_turn) for t in turns[:-1]]) * turn
    if over_mm is not None:
        asked = asked[asked <= over_mm + _SAME]
    gaps = np.diff(table.steps_mm)[: len(asked)]
    return bool(len(gaps) and np.all(gaps <= asked + _SAME))


def planned_steps_mm(
    to_mm: float, mm_per_turn: float, marks_per_turn: int, from_mm: float = 0.0
) -> Float:
    """Return the steps that the method asks for a dial of this travel (JIS B 7503:2017).

    >>> len(planned_steps_mm(10.0, 1.0, 100))
    32
    """
    steps = [from_mm]
    while steps[-1] < to_mm - _SAME:
        turns = (steps[-1] - from_mm) / mm_per_turn
        gap = widest_gap_mm(turns, marks_per_turn) * mm_per_turn
        steps.append(min(steps[-1] + gap, to_mm))
    return frozen_array(np.round(steps, 9))
