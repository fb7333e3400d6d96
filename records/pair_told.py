"""How true a part's second seat is to its first: told before it is bored, and after.

Both come from results in the book: beforehand from the chain of links that the guide
`second-end` closed on the plug, afterwards from the sweeps of both seats (`prove-pair`).
Nothing is worked out here that was not measured; what is missing is said.
"""

from dataclasses import dataclass, replace

from readings import format_length, format_with_uncertainty
from records.job_board import Board, Cell
from records.report.verdict import Verdict, fine_length
from setups import GUIDES, Measured
from setups.jobs import JobPlan

BEFORE, AFTER = "second-end", "prove-pair"
"""The guides that tell it."""

_HEAVIEST = 2


@dataclass(frozen=True, slots=True)
class PairTold:
    """What was told of one part's pair; texts carry their uncertainty, "" is not told.

    `before` is the zone that holds 95 % of what may come, `known` the part of it that is
    known and what weighs most in the rest; `after` what was measured (k = 2) and `surely` the
    zone that holds it with 95 %. `compared` sets both against each other.
    """

    part: str
    before: str = ""
    known: str = ""
    before_verdict: Verdict | None = None
    after: str = ""
    surely: str = ""
    after_verdict: Verdict | None = None
    compared: str = ""
    missing: tuple[str, ...] = ()


def proves_a_pair(plan: JobPlan) -> bool:
    """Whether the plan has an operation that tells of a pair, before or after."""
    return any(operation.guide in (BEFORE, AFTER) for operation in plan.operations)


def pair_told(board: Board, part: str) -> PairTold:
    """Return what the book tells of one part's two seats."""
    missing: list[str] = []
    before = _measured(board, part, BEFORE, missing)
    after = _measured(board, part, AFTER, missing)
    told = PairTold(part)
    bound_mm = size_mm = u_mm = None
    if before is not None:
        cell, found = before
        bound_mm = _value(found, "coaxiality_bound")
        told = _told_before(told, cell, found, bound_mm, missing)
    if after is not None:
        cell, found = after
        size_mm, u_mm = found.size_mm, found.u_size_mm
        told = _told_after(told, cell, found, missing)
    compared = ""
    if before is not None and after is not None:
        if (after[0].done_id or 0) < (before[0].done_id or 0):
            missing.append("the proof is older than the sweep on the plug: prove the pair again")
        elif bound_mm is not None and size_mm is not None and u_mm is not None:
            compared = _compared(bound_mm, size_mm, u_mm)
    return replace(told, compared=compared, missing=tuple(missing))


def _measured(
    board: Board, part: str, guide: str, missing: list[str]
) -> tuple[Cell, Measured] | None:
    """Return the last finished place of a guide on a part, with what it found."""
    title = GUIDES[guide].title
    cells = [cell for cell in board.on(part) if cell.operation.guide == guide]
    done = [cell for cell in cells if cell.done_id is not None]
    if not cells:
        missing.append(f"the plan holds no operation “{title}”")
        return None
    if not done:
        missing.append(f"not measured yet: {cells[-1].operation.name}")
        return None
    last = done[-1]
    if not isinstance(last.last, Measured):
        missing.append(f"setup {last.done_id} ended without a number: {last.operation.name}")
        return None
    return last, last.last


def _told_before(
    told: PairTold, cell: Cell, found: Measured, bound_mm: float | None, missing: list[str]
) -> PairTold:
    if bound_mm is None:
        missing.append(f"setup {cell.done_id} does not hold the zone that is to come")
        return told
    known_mm = _value(found, "coaxiality")
    heaviest = ", ".join(f"{name} {fine_length(u_mm)}" for name, u_mm in found.budget[:_HEAVIEST])
    known = "" if known_mm is None else f"{format_length(known_mm)} of it is known"
    rest = f"most of the rest (k = 1): {heaviest}" if heaviest else ""
    return replace(
        told,
        before=f"{format_length(bound_mm)} (95 % of such)",
        known="; ".join(words for words in (known, rest) if words),
        before_verdict=cell.verdict,
    )


def _told_after(told: PairTold, cell: Cell, found: Measured, missing: list[str]) -> PairTold:
    if found.size_mm is None or found.u_size_mm is None:
        missing.append(f"setup {cell.done_id} does not hold the zone with its uncertainty")
        return told
    bound_mm = _value(found, "bound")
    return replace(
        told,
        after=format_with_uncertainty(found.size_mm, found.u_size_mm),
        surely="" if bound_mm is None else f"surely within {format_length(bound_mm)} (95 %)",
        after_verdict=cell.verdict,
    )


def _value(found: Measured, key: str) -> float | None:
    return next((number.value for number in found.numbers if number.key == key), None)


def _compared(bound_mm: float, size_mm: float, u_mm: float) -> str:
    """Set what was measured (with two standard uncertainties) against what was told."""
    if size_mm + 2 * u_mm <= bound_mm:
        return "as told beforehand"
    if size_mm - 2 * u_mm > bound_mm:
        return "more than was told beforehand: look for what moved"
    return "cannot tell whether it is as told beforehand"
