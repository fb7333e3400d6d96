"""Judge a dial's error table by a class.

The rule is ISO 14253-1's with k = 2: proven inside where value + guard <= limit, proven outside
where value - guard > limit, else "cannot tell". A largest of many differences errs upward by
noise alone, so the guard for "outside" is widened until noise in all of them together passes
for an error no oftener than it would in one (Bonferroni).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import sqrt
from statistics import NormalDist
from typing import Any, Literal

import numpy as np

from calibration.dial_classes import DialClass, Limit, What
from calibration.dial_errors import (
    REPEATS_FOR_SPREAD,
    ErrorTable,
    dense_enough,
    deviations,
    largest_mm,
    partial_mm,
    repeatability_mm,
    retrace_mm,
    u_deviation_mm,
    whole_range_mm,
)
from readings import BadInputError, frozen_array

Word = Literal["pass", "fail", "cannot tell"]

K = 2.0
"""Coverage factor of the guard band (ISO 14253-1)."""
_ONE_SIDED = 1 - NormalDist().cdf(K)


@dataclass(frozen=True, slots=True)
class ItemVerdict:
    """One limit judged. `value_mm` is None where it was not measured; `reason` says why."""

    limit: Limit
    value_mm: float | None
    u_mm: float
    limit_mm: float
    word: Word
    reason: str = ""


@dataclass(frozen=True, slots=True)
class ClassVerdict:
    """A table judged: fail where one limit fails, pass where all pass."""

    dial_class: DialClass
    word: Word
    items: tuple[ItemVerdict, ...]


def refuse_other_class(dial_class: DialClass, graduation_mm: float, dial: str) -> None:
    """Refuse a class that is for dials of another graduation.

    Raises
    ------
    BadInputError
        With both graduations.
    """
    own = dial_class.graduation_mm
    if own is not None and abs(own - graduation_mm) > 1e-6 * own:
        msg = (
            f"class {dial_class.name} is for a graduation of {dial_class.graduation:g} "
            f"{dial_class.unit}, dial {dial} has {graduation_mm:.6g} mm: "
            "'dial classes' lists the others."
        )
        raise BadInputError(msg)


def judge_table(
    table: ErrorTable, dial_class: DialClass, travel_mm: float | None = None
) -> ClassVerdict:
    """Judge an error table by a class; `travel_mm` is the dial's whole travel where known.

    Raises
    ------
    BadInputError
        If the class is for dials of another graduation.
    """
    refuse_other_class(dial_class, table.graduation_mm, table.dial)
    part = _within(table, dial_class.within_turns)
    short = _too_short(part, dial_class, travel_mm)
    items = tuple(_judge_item(part, limit, short) for limit in dial_class.limits)
    words = {item.word for item in items}
    word: Word = "fail" if "fail" in words else "cannot tell" if "cannot tell" in words else "pass"
    return ClassVerdict(dial_class, word, items)


def _within(table: ErrorTable, turns: float | None) -> ErrorTable:
    """Return the part of a table over so many turns from its first step."""
    if turns is None:
        return table
    end = table.steps_mm[0] + turns * table.mm_per_turn * (1 + 1e-6)
    kept = max(2, int(np.searchsorted(table.steps_mm, end, side="right")))
    cut: dict[str, Any] = {name: frozen_array(getattr(table, name)[:kept]) for name in _COLUMNS}
    return replace(table, **cut)


_COLUMNS = ("steps_mm", "up_mm", "down_mm")


def _too_short(table: ErrorTable, dial_class: DialClass, travel_mm: float | None) -> str:
    """Return why the steps do not reach far enough for a pass; empty where they do."""
    low, high = dial_class.range_mm or (0.0, 0.0)
    asked = travel_mm or low or high
    if dial_class.within_turns is not None:
        asked = min(asked or np.inf, 0.9 * dial_class.within_turns * table.mm_per_turn)
    if not asked and table.length_mm < 0.9 * table.mm_per_turn:
        asked = table.mm_per_turn
    if table.length_mm >= 0.95 * asked - 1e-9:
        return ""
    return f"the steps cover {table.length_mm:.4g} of {asked:.4g} mm"


def _judge_item(table: ErrorTable, limit: Limit, short: str) -> ItemVerdict:
    value, u_mm, many = _MEASURES[limit.what](table, limit)
    bound = limit.limit_mm(table.graduation_mm)
    if value is None:
        return ItemVerdict(limit, None, u_mm, bound, "cannot tell", _unmeasured(limit))
    if value - _guard_many(many) * u_mm > bound:
        return ItemVerdict(limit, value, u_mm, bound, "fail")
    missing = short or _too_coarse(table, limit)
    if missing or value + K * u_mm > bound:
        reason = missing or "too near to the limit for this uncertainty"
        return ItemVerdict(limit, value, u_mm, bound, "cannot tell", reason)
    return ItemVerdict(limit, value, u_mm, bound, "pass")


def _guard_many(many: int) -> float:
    """Return the factor at which the largest of so many differences proves an error.

    >>> round(_guard_many(1), 6), round(_guard_many(190), 2)
    (2.0, 3.67)
    """
    return max(K, NormalDist().inv_cdf(1 - _ONE_SIDED / max(many, 1)))


def _unmeasured(limit: Limit) -> str:
    if limit.what == "retrace":
        return "not measured: the steps went one way only"
    if limit.what == "repeatability":
        return "not measured: the steps were gone through once"
    return "not measured: the steps lie too far apart"


def _too_coarse(table: ErrorTable, limit: Limit) -> str:
    if limit.what == "repeatability" and table.runs < REPEATS_FOR_SPREAD:
        return f"{table.runs} runs of {REPEATS_FOR_SPREAD} that a spread needs"
    if limit.what == "partial" and not dense_enough(table, limit.over_mm(table)):
        return "the steps lie too far apart"
    if limit.what in ("whole", "whole up") and not dense_enough(table):
        return "the steps lie too far apart"
    if limit.what == "whole" and not table.both_ways:
        return "the steps went one way only"
    return ""


_Measure = tuple[float | None, float, int]


def _whole(table: ErrorTable, limit: Limit) -> _Measure:
    both = limit.what == "whole"
    points = len(table.steps_mm) * (len(deviations(table).ways) if both else 1)
    u_mm = sqrt(2) * u_deviation_mm(table)
    if limit.kind == "plus_minus":
        return largest_mm(table), u_mm, points
    return whole_range_mm(table, both=both), u_mm, points * (points - 1) // 2


def _partial(table: ErrorTable, limit: Limit) -> _Measure:
    over = limit.over_mm(table)
    value = partial_mm(table, over)
    near = np.abs(table.steps_mm[:, None] - table.steps_mm) <= over + 1e-6
    many = (int(near.sum()) - len(near)) // 2 * len(deviations(table).ways)
    return value, sqrt(2) * u_deviation_mm(table), many


def _retrace(table: ErrorTable, limit: Limit) -> _Measure:
    return retrace_mm(table), sqrt(2) * table.u_reading_mm, len(table.steps_mm)


def _repeatability(table: ErrorTable, limit: Limit) -> _Measure:
    spread = repeatability_mm(table)
    if spread is not None and limit.kind == "plus_minus":
        ways = (table.up_mm, table.down_mm) if table.both_ways else (table.up_mm,)
        spread = max(float(np.max(np.abs(w - w.mean(axis=1, keepdims=True)))) for w in ways)
    places = len(table.steps_mm) * len(deviations(table).ways)
    pairs = table.runs * (table.runs - 1) // 2
    return spread, sqrt(2) * table.u_reading_mm, places * pairs


_MEASURES: dict[What, Callable[[ErrorTable, Limit], _Measure]] = {
    "whole": _whole,
    "whole up": _whole,
    "partial": _partial,
    "retrace": _retrace,
    "repeatability": _repeatability,
}
