"""How far a job has come: what the book says of every operation on every part."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import sqlalchemy as sa

from records import queries
from records import tables as t
from records.plain import Json, from_json_text
from records.plans import KeptPlan
from records.quantities import found_of, measured_of
from records.queries import SetupLine, Wanted
from records.report.verdict import Verdict, verdict_shown
from setups import Found, Measured
from setups.jobs import CellState, Place, PlannedOperation, next_place

_MANY = 1_000_000


@dataclass(frozen=True, slots=True)
class Cell:
    """One operation on one part.

    `setup_id` is the setup in hand, else the last one finished, which is `done_id`. `verdict`
    and `last` are of that one; `looser_mm` is the tolerance it was held to, where the plan asks
    for a closer one.
    """

    part: str
    operation: PlannedOperation
    state: CellState = "not yet"
    setup_id: int | None = None
    done_id: int | None = None
    verdict: Verdict | None = None
    last: Found | Measured | None = None
    looser_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Board:
    """A job's plan with what was done of it."""

    kept: KeptPlan
    cells: Mapping[Place, Cell]
    outside: int
    """Setups of the job in the book that no place of the plan holds."""

    @property
    def next(self) -> Cell | None:
        """Return the cell that comes next, None where everything was begun."""
        at = next_place(self.kept.plan, {place: cell.state for place, cell in self.cells.items()})
        return None if at is None else self.cells[at]

    @property
    def done(self) -> int:
        """Return how many cells are finished."""
        return sum(cell.state == "done" for cell in self.cells.values())

    @property
    def not_inside(self) -> tuple[Cell, ...]:
        """Return what is finished and not proven inside."""
        return tuple(
            cell
            for cell in self.cells.values()
            if cell.state == "done" and (cell.verdict is None or cell.verdict.word != "inside")
        )

    @property
    def in_hand(self) -> Cell | None:
        """Return what is under way, None where nothing is."""
        return next((cell for cell in self.cells.values() if cell.state == "in hand"), None)

    def on(self, part: str) -> Iterator[Cell]:
        """Yield the cells of one part, in the order of the operations."""
        yield from (self.cells[part, one.name] for one in self.kept.plan.operations)

    def last_of(self, operation: str, *, but: str = "") -> Cell | None:
        """Return the cell of an operation that was finished last, on another part than `but`."""
        of_it = [c for (part, name), c in self.cells.items() if name == operation and part != but]
        done = [cell for cell in of_it if cell.done_id is not None]
        return max(done, key=lambda cell: cell.done_id or 0, default=None)


def job_board(connection: sa.Connection, kept: KeptPlan) -> Board:
    """Return what the book says of a plan.

    A setup counts for a place where part, operation and guide are the place's own; what was
    given up or superseded counts for none.
    """
    plan = kept.plan
    lines = queries.setup_lines(connection, Wanted(limit=_MANY, job=plan.job))
    counting = [one for one in lines if one.state != "abandoned" and one.superseded_by is None]
    by_place: dict[Place, list[SetupLine]] = {}
    outside = 0
    for line in counting:
        planned = plan.operation(line.operation)
        if planned is None or planned.guide != line.guide or line.part not in plan.parts:
            outside += 1
        else:
            by_place.setdefault((line.part, planned.name), []).append(line)
    cells = {
        (part, one.name): _cell(connection, part, one, by_place.get((part, one.name), []))
        for part in plan.parts
        for one in plan.operations
    }
    return Board(kept, cells, outside)


def _cell(
    connection: sa.Connection, part: str, operation: PlannedOperation, lines: list[SetupLine]
) -> Cell:
    """Return one place; its `lines` are those that count, the newest first."""
    finished = next((line for line in lines if line.state == "finished"), None)
    in_hand = next((line for line in lines if line.state == "open"), None)
    if finished is None:
        state: CellState = "not yet" if in_hand is None else "in hand"
        return Cell(part, operation, state, None if in_hand is None else in_hand.id)
    last = last_measure_of(connection, finished.id)
    held_mm = finished.tolerance_mm
    return Cell(
        part,
        operation,
        "done" if in_hand is None else "in hand",
        finished.id if in_hand is None else in_hand.id,
        finished.id,
        verdict_of_line(finished, last),
        last,
        held_mm if held_mm is not None and held_mm > operation.tolerance_mm + 1e-9 else None,
    )


def verdict_of_line(line: SetupLine, last: Found | Measured | None) -> Verdict:
    """Return the verdict of a setup's line, as a report tells it."""
    told = {
        "guide": line.guide,
        "state": line.state,
        "verdict": line.verdict,
        "tolerance_mm": line.tolerance_mm,
        "tolerance_source": None,
    }
    return verdict_shown(told, last)


def last_measure_of(connection: sa.Connection, setup_id: int) -> Found | Measured | None:
    """Return the last numbers of a setup, None where it has none of a known form."""
    query = sa.select(t.result.c.body).where(t.result.c.setup_id == setup_id)
    for text in connection.scalars(query.order_by(t.result.c.id.desc())):
        result: Json = {"body": from_json_text(text)}
        told = found_of(result) or measured_of(result)
        if told is not None:
            return told
    return None


def part_before(connection: sa.Connection, setup_id: int) -> SetupLine | None:
    """Return the same setup of the part before, None where there is none.

    It is the last one finished of the same job, operation and guide on another part, begun
    before `setup_id`.
    """
    line = queries.setup_line(connection, setup_id)
    if line is None:
        return None
    wanted = Wanted(
        limit=_MANY,
        before_id=setup_id,
        job=line.job,
        operation=line.operation,
        guide=line.guide,
        state="finished",
    )
    same = queries.setup_lines(connection, wanted)
    return next(
        (
            one
            for one in same
            if one.part != line.part
            and one.operation == line.operation
            and one.superseded_by is None
        ),
        None,
    )
