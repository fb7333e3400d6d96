"""What begins a place of a job's plan, with everything filled in: one road for all who begin it."""

from typing import Any

import msgspec

from readings import BadInputError
from records import BookReader
from records.job_board import Board, Cell, job_board
from records.plain import Json
from records.plans import plan_of, require_plan
from setups.jobs import JobPlan


def board_of(reader: BookReader, job: str) -> Board:
    """Return how far a planned job has come.

    Raises
    ------
    BadInputError
        If the job has no plan.
    """
    with reader.reading() as connection:
        return job_board(connection, require_plan(connection, job))


def plan_args(plan: JobPlan, after: int | None) -> dict[str, Any]:
    """Return the arguments of a `plan` command."""
    return {**msgspec.to_builtins(plan), "after": after}


def cell_order(reader: BookReader, board: Board, cell: Cell) -> dict[str, Any]:
    """Return the order that begins a place of a plan.

    Sizes that the plan leaves open are those that a person gave last for the same operation.
    """
    operation = cell.operation
    before = board.last_of(operation.name, but=cell.part)
    sizes: dict[str, float] = {}
    if before is not None and before.done_id is not None:
        sizes = sizes_given(reader.show_setup(before.done_id, with_samples=False))
    order = {
        "guide": operation.guide,
        "job": board.kept.plan.job,
        "part": cell.part,
        "operation": operation.name,
        "tolerance_mm": operation.tolerance_mm,
        "tolerance_source": operation.tolerance_source or None,
        "machine": operation.machine or None,
        "datum": operation.datum or None,
        "diameter_mm": operation.diameter_mm,
        "sizes": {**sizes, **dict(operation.sizes)} or None,
        "again_of": None if before is None else before.done_id,
    }
    return {name: value for name, value in order.items() if value is not None}


def sizes_given(setup: Json) -> dict[str, float]:
    """Return the sizes of a kept setup, those that a person gave last before the usual ones."""
    return {
        **setup["settings"].get("sizes", {}),
        **{size["key"]: size["value"] for size in setup["sizes"]},
    }


def planned_again(reader: BookReader, setup: Json) -> dict[str, Any] | None:
    """Return the order of the same setup on the part that the plan says is next.

    None where the job has no plan that holds the setup's operation.

    Raises
    ------
    BadInputError
        If the plan says that another operation is next, or nothing is.
    """
    with reader.reading() as connection:
        kept = plan_of(connection, setup["job"])
        planned = None if kept is None else kept.plan.operation(setup["operation"])
        if kept is None or planned is None or planned.guide != setup["guide"]:
            return None
        board = job_board(connection, kept)
    following = board.next
    if following is None:
        msg = f"Every place of job {setup['job']!r} was begun: `sparehand job show` tells them all."
        raise BadInputError(msg)
    if following.operation.name != planned.name:
        msg = (
            f"By the plan of job {setup['job']!r} the next is {following.operation.name} on "
            f"{following.part}: begin it with `sparehand job next`, or name a part with --part."
        )
        raise BadInputError(msg)
    return {**cell_order(reader, board, following), "again_of": setup["id"]}
