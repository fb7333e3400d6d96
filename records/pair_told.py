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

OLDER = "the proof is older than the sweep on the plug: prove the pair again"
_HEAVIEST = 2


@dataclass(frozen=True, slots=True)
class PairTold:
    """What was told of one part's pair; texts carry their uncertainty, "" is not told.

    `before` is the zone that holds 95 % of what may come, `known` the part of it that is
    known, `weighs` what weighs most in the rest (k = 1). `after` is what was measured (k = 2),
    `surely` the zone that holds it with 95 %. `compared` sets both against each other;
    `lacking_…` says what the book does not hold.
    """

    part: str
    before: str = ""
    known: str = ""
    weighs: str = ""
    before_verdict: Verdict | None = None
    lacking_before: str = ""
    after: str = ""
    surely: str = ""
    after_verdict: Verdict | None = None
    lacking_after: str = ""
    compared: str = ""

    @property
    def missing(self) -> tuple[str, ...]:
        """Return everything that the book does not hold."""
        return tuple(words for words in (self.lacking_before, self.lacking_after) if words)


def proves_a_pair(plan: JobPlan) -> bool:
    """Whether the plan has an operation that tells of a pair, before or after."""
    return any(operation.guide in (BEFORE, AFTER) for operation in plan.operations)


def pair_told(board: Board, part: str) -> PairTold:
    """Return what the book tells of one part's two seats."""
    before, after = _measured(board, part, BEFORE), _measured(board, part, AFTER)
    told = PairTold(part)
    if isinstance(before, str):
        told = replace(told, lacking_before=before)
    else:
        told = _told_before(told, *before)
    if isinstance(after, str):
        told = replace(told, lacking_after=after)
    else:
        told = _told_after(told, *after)
    if isinstance(before, str) or isinstance(after, str) or not told.before or not told.after:
        return told
    if (after[0].done_id or 0) < (before[0].done_id or 0):
        return replace(told, lacking_after=OLDER)
    bound_mm, found = _value(before[1], "coaxiality_bound"), after[1]
    return replace(told, compared=_compared(bound_mm, found.size_mm, found.u_size_mm))


def _measured(board: Board, part: str, guide: str) -> tuple[Cell, Measured] | str:
    """Return the last finished place of a guide on a part with what it found, or what lacks."""
    cells = [cell for cell in board.on(part) if cell.operation.guide == guide]
    done = [cell for cell in cells if cell.done_id is not None]
    if not cells:
        return f"the plan holds no operation of the guide “{GUIDES[guide].title}”"
    if not done:
        return f"not measured yet: {cells[-1].operation.name}"
    last = done[-1]
    if not isinstance(last.last, Measured):
        return f"setup {last.done_id} ended without a number: {last.operation.name}"
    return last, last.last


def _told_before(told: PairTold, cell: Cell, found: Measured) -> PairTold:
    bound_mm = _value(found, "coaxiality_bound")
    if bound_mm is None:
        lacking = f"setup {cell.done_id} does not hold the zone that is to come"
        return replace(told, lacking_before=lacking)
    known_mm = _value(found, "coaxiality")
    heaviest = ", ".join(f"{name} {fine_length(u_mm)}" for name, u_mm in found.budget[:_HEAVIEST])
    known = "" if known_mm is None else f"{format_length(known_mm)} of it is known"
    return replace(
        told,
        before=f"{format_length(bound_mm)} (95 % of such)",
        known=known,
        weighs=f"what weighs most in the rest (k = 1): {heaviest}" if heaviest else "",
        before_verdict=cell.verdict,
    )


def _told_after(told: PairTold, cell: Cell, found: Measured) -> PairTold:
    if found.size_mm is None or found.u_size_mm is None:
        lacking = f"setup {cell.done_id} does not hold the zone with its uncertainty"
        return replace(told, lacking_after=lacking)
    bound_mm = _value(found, "bound")
    return replace(
        told,
        after=format_with_uncertainty(found.size_mm, found.u_size_mm),
        surely="" if bound_mm is None else f"surely within {format_length(bound_mm)} (95 %)",
        after_verdict=cell.verdict,
    )


def _value(found: Measured, key: str) -> float | None:
    return next((number.value for number in found.numbers if number.key == key), None)


def _compared(bound_mm: float | None, size_mm: float | None, u_mm: float | None) -> str:
    """Set what was measured (with two standard uncertainties) against what was told."""
    if bound_mm is None or size_mm is None or u_mm is None:
        return ""
    if size_mm + 2 * u_mm <= bound_mm:
        return "as told beforehand"
    if size_mm - 2 * u_mm > bound_mm:
        return "more than was told beforehand: look for what moved"
    return "cannot tell whether it is as told beforehand"
