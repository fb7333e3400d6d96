"""The commands under `job`: parts in a batch, operations in order, what is next."""

from pathlib import Path
from typing import Annotated

import typer

from readings import BadInputError
from setups import GUIDES
from setups.jobs import JobPlan, pair_operations, parts_by_count
from ui.home import Home
from ui.setup_cli import sizes_of

Name = Annotated[str, typer.Argument(help="The job's name.")]
JsonFlag = Annotated[bool, typer.Option("--json", help="Machine-readable output.")]
OfDemo = Annotated[bool, typer.Option("--demo", help="The demo's own book.")]
Parts = Annotated[list[str] | None, typer.Option("--part", help="A part's name; may come again.")]
Count = Annotated[int | None, typer.Option(min=1, max=100, help="How many parts.")]
Pattern = Annotated[str, typer.Option(help="Their names; {} holds the number.")]
DEFAULT_PATTERN = "Part {}"


def _folder(context: typer.Context, *, of_demo: bool) -> Path:
    home: Home = context.obj
    return (home.demo if of_demo else home).ensure().folder


def _named(parts: list[str] | None, count: int | None, pattern: str) -> tuple[str, ...]:
    counted = () if count is None else parts_by_count(pattern, count)
    return (*(parts or ()), *counted)


def job_new(
    context: typer.Context,
    job: Name,
    parts: Parts = None,
    count: Count = None,
    pattern: Pattern = DEFAULT_PATTERN,
    part_by_part: Annotated[
        bool, typer.Option("--part-by-part", help="Each part through all its operations.")
    ] = False,
    pair: Annotated[
        bool, typer.Option("--pair", help="Begin with the four operations of a pair of seats.")
    ] = False,
    of_demo: OfDemo = False,
) -> None:
    """Plan a job: its parts, by name or by count. Operations come by `job add`."""
    from ui.job_command import keep

    operations = pair_operations(GUIDES) if pair else ()
    plan = JobPlan(job, _named(parts, count, pattern), operations, part_by_part)
    keep(_folder(context, of_demo=of_demo), plan, None)


def job_add(
    context: typer.Context,
    job: Name,
    operation: Annotated[
        str | None, typer.Argument(help="The operation's name; one that is there is changed.")
    ] = None,
    guide: Annotated[str | None, typer.Option(help="Its guide (see: setup list).")] = None,
    datum: Annotated[
        str | None, typer.Option(help="What the part is held and measured from.")
    ] = None,
    tolerance_mm: Annotated[
        float | None, typer.Option("--tolerance-mm", help="Tolerance; the guide's own without.")
    ] = None,
    tolerance_source: Annotated[
        str | None, typer.Option("--tolerance-source", help="Where the tolerance comes from.")
    ] = None,
    diameter_mm: Annotated[
        float | None, typer.Option("--diameter-mm", help="Diameter of a bore or boss.")
    ] = None,
    machine: Annotated[str | None, typer.Option(help="The machine's name.")] = None,
    sizes: Annotated[
        list[str] | None, typer.Option("--size", help="A size of the guide, as KEY=MM.")
    ] = None,
    before: Annotated[
        str | None, typer.Option(help="The operation it comes before; the end without.")
    ] = None,
    parts: Parts = None,
    of_demo: OfDemo = False,
) -> None:
    """Add an operation to a job's plan, or change what is given of it; --part adds parts."""
    from dataclasses import replace

    from ui.job_command import changed_operation, keep, kept_plan, with_operation

    folder = _folder(context, of_demo=of_demo)
    kept = kept_plan(folder, job)
    plan = replace(kept.plan, parts=(*kept.plan.parts, *(parts or ())))
    if operation is not None:
        given = {
            "guide": guide,
            "datum": datum,
            "tolerance_mm": tolerance_mm,
            "tolerance_source": tolerance_source,
            "diameter_mm": diameter_mm,
            "machine": machine,
            "sizes": None if sizes is None else tuple(sizes_of(sizes).items()),
        }
        named = {name: value for name, value in given.items() if value is not None}
        added = changed_operation(kept.plan.operation(operation), operation, named)
        plan = with_operation(plan, added, before)
    elif not parts:
        msg = "Nothing was given to add: name an operation with its --guide, or parts with --part."
        raise BadInputError(msg)
    keep(folder, plan, kept.id)


def job_drop(
    context: typer.Context,
    job: Name,
    parts: Parts = None,
    operations: Annotated[
        list[str] | None, typer.Option("--operation", help="An operation; may come again.")
    ] = None,
    of_demo: OfDemo = False,
) -> None:
    """Take parts or operations out of a job's plan; setups of them stay in the book."""
    from ui.job_command import keep, kept_plan, without

    folder = _folder(context, of_demo=of_demo)
    kept = kept_plan(folder, job)
    keep(folder, without(kept.plan, parts or [], operations or []), kept.id)


def job_list(context: typer.Context, as_json: JsonFlag = False, of_demo: OfDemo = False) -> None:
    """List the planned jobs: how far each has come, and what is next."""
    from ui.job_command import put_plans

    put_plans(_folder(context, of_demo=of_demo), as_json=as_json)


def job_show(
    context: typer.Context, job: Name, as_json: JsonFlag = False, of_demo: OfDemo = False
) -> None:
    """Show a job: parts against operations, and how true each pair of seats is."""
    from ui.job_command import put_job

    put_job(_folder(context, of_demo=of_demo), job, as_json=as_json)


def job_next(
    context: typer.Context,
    job: Annotated[str | None, typer.Argument(help="The job; the last planned without.")] = None,
    as_json: JsonFlag = False,
    of_demo: OfDemo = False,
) -> None:
    """Begin what is next of a job, with everything filled in. The service must run."""
    from ui.job_command import begin_next

    begin_next(_folder(context, of_demo=of_demo), job, as_json=as_json)


def add_to(app: typer.Typer) -> None:
    """Hang the commands under `job`."""
    for name, command in (
        ("new", job_new),
        ("add", job_add),
        ("drop", job_drop),
        ("list", job_list),
        ("show", job_show),
        ("next", job_next),
    ):
        app.command(name)(command)
