"""Checks of a job's plan as a command carries it: what was got, what is allowed, what to do."""

from collections.abc import Mapping
from typing import Any

from readings import BadInputError
from setups.jobs import JobPlan, PlannedOperation
from stream.desk import (
    guide_named,
    length_of,
    name_of,
    name_or_none,
    number_or_none,
    short,
    sizes_of,
)

MOST_PARTS, MOST_OPERATIONS = 100, 20


def plan_order(args: Mapping[str, Any]) -> tuple[JobPlan, int | None]:
    """Return the plan that a `plan` asks to keep, and the number of the plan it changes.

    Raises
    ------
    BadInputError
        If a name is missing or stands twice, a guide is unknown, or a length is none.
    """
    given = args.get("operations", ())
    operations = [_operation(one) for one in _listed("operations", given, MOST_OPERATIONS)]
    parts = [
        name_of({"part": one}, "part") for one in _listed("parts", args.get("parts"), MOST_PARTS)
    ]
    if not parts:
        msg = "A job needs one part or more: name them, or give how many there are."
        raise BadInputError(msg)
    _once("part", parts)
    _once("operation", [operation.name for operation in operations])
    plan = JobPlan(
        job=name_of(args, "job"),
        parts=tuple(parts),
        operations=tuple(operations),
        part_by_part=bool(args.get("part_by_part", False)),
    )
    return plan, number_or_none(args, "after")


def _listed(what: str, given: object, most: int) -> list[Any]:
    if isinstance(given, list | tuple) and len(given) <= most:
        return list(given)
    msg = f"{what} is {short(given)}: give a list of up to {most}."
    raise BadInputError(msg)


def _once(what: str, names: list[str]) -> None:
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        msg = f"The {what} {twice!r} stands twice: give each a name of its own."
        raise BadInputError(msg)


def _operation(given: object) -> PlannedOperation:
    if not isinstance(given, Mapping):
        msg = f"An operation is {short(given)}: give its name, guide and tolerance_mm."
        raise BadInputError(msg)
    guide = guide_named(given.get("guide"))
    sizes = dict(given.get("sizes") or {}) if _pairs(given.get("sizes")) else given.get("sizes")
    sizes_of(guide, sizes)
    diameter = given.get("diameter_mm")
    return PlannedOperation(
        name=name_of({"operation": given.get("name")}, "operation"),
        guide=guide.key,
        tolerance_mm=length_of(
            "tolerance_mm", given.get("tolerance_mm", guide.default_tolerance_mm)
        ),
        datum=name_or_none(given, "datum") or "",
        tolerance_source=name_or_none(given, "tolerance_source") or "",
        diameter_mm=None if diameter is None else length_of("diameter_mm", diameter),
        machine=name_or_none(given, "machine") or "",
        sizes=tuple((key, float(value)) for key, value in (sizes or {}).items()),
    )


def _pairs(given: object) -> bool:
    """Whether sizes are (key, value) pairs, as a plan in the book holds them."""
    return isinstance(given, list | tuple) and all(
        isinstance(one, list | tuple) and len(one) == 2 and isinstance(one[0], str) for one in given
    )


def planned_words(plan: JobPlan) -> str:
    """Say what was planned.

    >>> planned_words(JobPlan("Gear", ("End 1", "End 2"), ()))
    'Gear: planned with 2 parts and 0 operations.'
    """
    parts, operations = len(plan.parts), len(plan.operations)
    return (
        f"{plan.job}: planned with {parts} part{'s' * (parts != 1)} and "
        f"{operations} operation{'s' * (operations != 1)}."
    )
