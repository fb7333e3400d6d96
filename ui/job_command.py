"""The commands under `job`: a plan made and changed, told as a table or JSON, its next begun."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from readings import BadInputError, ServiceError, format_length
from records import Book, BookReader
from records.job_board import Board, Cell
from records.pair_told import pair_told, proves_a_pair
from records.plans import KeptPlan, newest_plans, require_plan
from setups import GUIDES
from setups.jobs import JobPlan, PlannedOperation
from stream.client import Client
from stream.job_desk import plan_order, planned_words
from ui.job_orders import board_of, cell_order, plan_args
from ui.output import put_json, put_table, tell


def keep(home: Path, plan: JobPlan, after: int | None) -> None:
    """Have a plan kept: by the running service, or by this process where none runs.

    Raises
    ------
    BadInputError
        If the plan cannot be, or another one was kept meanwhile.
    BookError
        If the book cannot be written.
    """
    checked, _ = plan_order(plan_args(plan, after))
    try:
        with Client(home) as client:
            answer = client.command("plan", **plan_args(checked, after))
    except ServiceError:
        _keep_here(home, checked, after)
        tell(planned_words(checked))
        return
    if not answer.ok:
        raise BadInputError(answer.said)
    tell(answer.said)


def _keep_here(home: Path, plan: JobPlan, after: int | None) -> None:
    from ui.service_process import program_version  # late: the dashboard needs no service

    with Book.open(home, program_version=program_version(), now=lambda: datetime.now(UTC)) as book:
        book.keep_plan(plan, after)


def kept_plan(home: Path, job: str) -> KeptPlan:
    """Return the plan of a job that counts.

    Raises
    ------
    BadInputError
        If there is none.
    """
    with BookReader.open(home) as reader, reader.reading() as connection:
        return require_plan(connection, job)


def changed_operation(
    known: PlannedOperation | None, name: str, given: Mapping[str, Any]
) -> PlannedOperation:
    """Return a planned operation with what was given of it, the rest as it was or as is usual.

    Raises
    ------
    BadInputError
        If its guide is not told or there is none of that name.
    """
    key = given.get("guide", known.guide if known is not None else None)
    if key not in GUIDES:
        got = "missing" if key is None else repr(key)
        msg = f"The guide of {name!r} is {got}: give one of {', '.join(GUIDES)} (--guide)."
        raise BadInputError(msg)
    if known is None or known.guide != key:
        usual = {"tolerance_mm": GUIDES[key].default_tolerance_mm}
        return PlannedOperation(**{"name": name, **usual, **given})
    return replace(known, **given)


def with_operation(
    plan: JobPlan, operation: PlannedOperation, before: str | None = None
) -> JobPlan:
    """Return the plan with an operation: in the place of the one of its name, else at the end.

    Raises
    ------
    BadInputError
        If it is to stand before one that is not there.
    """
    known = [one.name for one in plan.operations]
    if before is not None and (before not in known or before == operation.name):
        msg = f"There is no other operation {before!r} in the plan; there are: {_listed(known)}."
        raise BadInputError(msg)
    if operation.name in known and before is None:
        return replace(
            plan,
            operations=tuple(
                operation if one.name == operation.name else one for one in plan.operations
            ),
        )
    others = [one for one in plan.operations if one.name != operation.name]
    names = [one.name for one in others]
    others.insert(len(others) if before is None else names.index(before), operation)
    return replace(plan, operations=tuple(others))


def without(plan: JobPlan, parts: Sequence[str], operations: Sequence[str]) -> JobPlan:
    """Return the plan without these parts and operations; what is in the book of them stays.

    Raises
    ------
    BadInputError
        If one is not in the plan.
    """
    known = [one.name for one in plan.operations]
    for what, names, there in (("part", parts, plan.parts), ("operation", operations, known)):
        odd = next((name for name in names if name not in there), None)
        if odd is not None:
            msg = f"There is no {what} {odd!r} in the plan; there are: {_listed(there)}."
            raise BadInputError(msg)
    return replace(
        plan,
        parts=tuple(part for part in plan.parts if part not in parts),
        operations=tuple(one for one in plan.operations if one.name not in operations),
    )


def _listed(names: Sequence[str]) -> str:
    return ", ".join(map(repr, names)) or "none"


def put_plans(home: Path, *, as_json: bool) -> None:
    """Write every planned job, the last changed first."""
    with BookReader.open(home) as reader:
        with reader.reading() as connection:
            names = [kept.plan.job for kept in newest_plans(connection)]
        boards = [board_of(reader, name) for name in names]
    if as_json:
        put_json([_in_short(board) for board in boards])
        return
    put_table(
        "Jobs, the last planned first",
        ("job", "parts", "operations", "done", "next"),
        (
            (
                board.kept.plan.job,
                str(len(board.kept.plan.parts)),
                str(len(board.kept.plan.operations)),
                done_words(board),
                next_words(board),
            )
            for board in boards
        ),
    )


def _in_short(board: Board) -> dict[str, Any]:
    plan = board.kept.plan
    return {
        "job": plan.job,
        "plan": board.kept.id,
        "parts": list(plan.parts),
        "operations": [one.name for one in plan.operations],
        "part_by_part": plan.part_by_part,
        "done": board.done,
        "places": len(board.cells),
        "not_inside": [place_fields(cell) for cell in board.not_inside],
        "in_hand": None if board.in_hand is None else place_fields(board.in_hand),
        "next": None if board.next is None else place_fields(board.next),
    }


def place_fields(cell: Cell) -> dict[str, str]:
    """Return the names of a place."""
    return {"part": cell.part, "operation": cell.operation.name}


def done_words(board: Board) -> str:
    """Say how far a job has come.

    Every place that is finished counts; those that are not inside are told beside.
    """
    words = f"{board.done} of {len(board.cells)} done"
    return f"{words}, {len(board.not_inside)} of them not inside" if board.not_inside else words


def next_words(board: Board) -> str:
    """Say what comes next."""
    if board.next is not None:
        return f"{board.next.operation.name} on {board.next.part}"
    return "nothing: every place was begun" if board.cells else "nothing: no operation is planned"


def put_job(home: Path, job: str, *, as_json: bool) -> None:
    """Write one job: what is planned, what the book says of it, how true the pairs are."""
    with BookReader.open(home) as reader:
        board = board_of(reader, job)
    plan = board.kept.plan
    pairs = [pair_told(board, part) for part in plan.parts] if proves_a_pair(plan) else []
    if as_json:
        put_json(
            {
                **_in_short(board),
                "planned": list(plan.operations),
                "cells": [_cell_fields(cell) for cell in board.cells.values()],
                "pairs": pairs,
            }
        )
        return
    put_table(
        f"{plan.job}: {done_words(board)}; next {next_words(board)}",
        ("part", *(_heading(one) for one in plan.operations)),
        ([part, *(_words(cell, board) for cell in board.on(part))] for part in plan.parts),
    )
    if pairs:
        columns = ("part", "told before boring", "proven", "", "missing")
        put_table(
            "The second seat to the first, coaxial within (zone diameter)",
            columns,
            (
                (one.part, one.before, one.after, one.compared, "; ".join(one.missing))
                for one in pairs
            ),
        )


def _heading(operation: PlannedOperation) -> str:
    datum = f", from {operation.datum}" if operation.datum else ""
    words = GUIDES[operation.guide].tolerance_words if operation.guide in GUIDES else "within"
    return f"{operation.name}{datum}: {words} {format_length(operation.tolerance_mm)}"


def _words(cell: Cell, board: Board) -> str:
    if cell.state == "done" and cell.verdict is not None:
        return f"{cell.verdict.short}: {cell.verdict.value} (setup {cell.done_id})"
    is_next = board.next is not None and place_fields(board.next) == place_fields(cell)
    return "next" if is_next else cell.state


def _cell_fields(cell: Cell) -> dict[str, Any]:
    verdict = cell.verdict
    return {
        **place_fields(cell),
        "state": cell.state,
        "setup": cell.setup_id,
        "verdict": None if verdict is None else verdict.word,
        "dial_left_out": None if verdict is None else verdict.dial_left_out,
        "value": None if verdict is None else verdict.value,
        "held_to_mm": cell.looser_mm,
    }


def begin_next(home: Path, job: str | None, *, as_json: bool) -> None:
    """Have the running service begin what comes next of a job; None: the last one planned.

    Raises
    ------
    BadInputError
        If there is no such plan, nothing is next, or the service refuses.
    ServiceError
        If no service runs.
    """
    with BookReader.open(home) as reader:
        with reader.reading() as connection:
            plans = newest_plans(connection)
        if job is None and not plans:
            msg = "No job is planned yet: `sparehand job new` makes a plan."
            raise BadInputError(msg)
        board = board_of(reader, plans[0].plan.job if job is None else job)
        if board.next is None:
            msg = f"Job {board.kept.plan.job!r} has {next_words(board)}."
            raise BadInputError(msg)
        order = cell_order(reader, board, board.next)
    with Client(home) as client:
        answer = client.command("begin", **order)
    if not answer.ok:
        raise BadInputError(answer.said)
    if as_json:
        put_json({"setup": answer.body, "part": order["part"], "operation": order["operation"]})
    tell(f"Setup {answer.body} begins: {order['operation']} on {order['part']}.")
