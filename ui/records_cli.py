"""The commands under `records`: the book listed, shown, checked, copied, taken elsewhere."""

from pathlib import Path
from typing import Annotated, cast

import typer

from records import SetupState, Wanted, book_path
from ui.home import Home
from ui.output import tell

JsonFlag = Annotated[bool, typer.Option("--json", help="Machine-readable output.")]
OfDemo = Annotated[bool, typer.Option("--demo", help="The demo's own book.")]
SetupNumber = Annotated[int, typer.Argument(help="The setup's number (see: records list).")]
Job = Annotated[str, typer.Argument(help="The job's name.")]


def _folder(context: typer.Context, *, of_demo: bool) -> Path:
    home: Home = context.obj
    if of_demo:
        return home.demo.folder
    if not book_path(home.folder).is_file() and book_path(home.demo.folder).is_file():
        tell("The demo's book is kept apart from yours: --demo opens it.")
    return home.folder


def records_list(
    context: typer.Context,
    job: Annotated[str | None, typer.Option(help="Only of this job.")] = None,
    part: Annotated[str | None, typer.Option(help="Only of this part.")] = None,
    operation: Annotated[str | None, typer.Option(help="Only for this operation.")] = None,
    guide: Annotated[str | None, typer.Option(help="Only of this guide (see: setup list).")] = None,
    verdict: Annotated[
        str | None, typer.Option(help="Only: inside, outside, 'cannot tell'.")
    ] = None,
    state: Annotated[str | None, typer.Option(help="Only: open, finished, abandoned.")] = None,
    machine: Annotated[str | None, typer.Option(help="Only on this machine.")] = None,
    instrument: Annotated[
        str | None, typer.Option(help="Only where this dial, camera or other was used.")
    ] = None,
    since: Annotated[str | None, typer.Option(help="From this day on, as 2026-03-31.")] = None,
    until: Annotated[str | None, typer.Option(help="Up to this day, included.")] = None,
    limit: Annotated[int, typer.Option(min=1, help="At most so many.")] = 50,
    as_json: JsonFlag = False,
    of_demo: OfDemo = False,
) -> None:
    """List the setups in the book, newest first; each option narrows the list."""
    from ui.records_command import day, list_records, one_of

    wanted = Wanted(
        limit=limit,
        job=job,
        part=part,
        guide=guide,
        operation=operation,
        machine=machine,
        instrument=instrument,
        verdict=one_of("--verdict", verdict, ("inside", "outside", "cannot tell")),
        state=cast(SetupState | None, one_of("--state", state, ("open", "finished", "abandoned"))),
        since=day("--since", since),
        until=day("--until", until),
    )
    list_records(_folder(context, of_demo=of_demo), wanted, as_json=as_json)


def records_show(
    context: typer.Context, setup: SetupNumber, as_json: JsonFlag = False, of_demo: OfDemo = False
) -> None:
    """Show one setup: numbers, checklists, photos."""
    from ui.records_command import show_record

    show_record(_folder(context, of_demo=of_demo), setup, as_json=as_json)


def records_check(
    context: typer.Context, as_json: JsonFlag = False, of_demo: OfDemo = False
) -> None:
    """Prove the chain of hashes, the photos and the database; exit 2 where one is damaged."""
    from ui.records_command import check_record_book

    whole = check_record_book(_folder(context, of_demo=of_demo), as_json=as_json)
    raise typer.Exit(0 if whole else 2)


def records_backup(
    context: typer.Context,
    folder: Annotated[
        Path | None, typer.Argument(help="A new folder; without, one in the home's backups.")
    ] = None,
    as_json: JsonFlag = False,
    of_demo: OfDemo = False,
) -> None:
    """Copy the book with its photos, also while it is written, and check the copy."""
    from ui.records_transfer import back_up

    whole = back_up(_folder(context, of_demo=of_demo), folder, as_json=as_json)
    raise typer.Exit(0 if whole else 2)


def records_report(
    context: typer.Context,
    setup: Annotated[
        int | None, typer.Argument(help="A setup's number; or give an option.")
    ] = None,
    job: Annotated[str | None, typer.Option(help="A batch: every part of this job.")] = None,
    part: Annotated[str | None, typer.Option(help="One part, with all its setups.")] = None,
    to: Annotated[
        Path | None, typer.Option("--to", help="The files' name, without .pdf and .html.")
    ] = None,
    as_json: JsonFlag = False,
    of_demo: OfDemo = False,
) -> None:
    """Write a report for the part's owner: a PDF, and one HTML page that needs nothing else."""
    from ui.records_report import write_report

    write_report(_folder(context, of_demo=of_demo), setup, job, part, to, as_json=as_json)


def records_salvage(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(help="A new folder for what can be saved.")],
    as_json: JsonFlag = False,
    of_demo: OfDemo = False,
) -> None:
    """Save every record that can be proven out of a damaged book, to be read with --home."""
    from ui.records_transfer import salvage

    salvage(_folder(context, of_demo=of_demo), folder, as_json=as_json)


def records_export(
    context: typer.Context,
    job: Job,
    to: Annotated[Path | None, typer.Option("--to", help="The archive; JOB.zip without.")] = None,
    as_json: JsonFlag = False,
    of_demo: OfDemo = False,
) -> None:
    """Write one ZIP of a job: every record, photos, tables as CSV and JSON Lines, checksums."""
    from ui.records_transfer import export

    export(_folder(context, of_demo=of_demo), job, to, as_json=as_json)


def records_import(
    context: typer.Context,
    archive: Annotated[Path, typer.Argument(help="What `records export` wrote.")],
    as_json: JsonFlag = False,
    of_demo: OfDemo = False,
) -> None:
    """Take a job's archive into this book, all of it or nothing."""
    from ui.records_transfer import bring_in

    bring_in(_folder(context, of_demo=of_demo), archive, as_json=as_json)


def records_supersede(
    context: typer.Context,
    setup: SetupNumber,
    by: Annotated[int, typer.Option(help="The later setup that counts in its place.")],
    reason: Annotated[str, typer.Option(help="Why, in a few words.")],
    of_demo: OfDemo = False,
) -> None:
    """Say that a closed setup no longer counts: a later one does. Nothing is taken out."""
    from ui.records_again import supersede

    tell(supersede(_folder(context, of_demo=of_demo), setup, by, reason))


def records_share(
    context: typer.Context,
    address: Annotated[str, typer.Argument(help="Like postgresql://sparehand@shop-server/book.")],
    station: Annotated[str, typer.Option(help="What names this machine in the shared book.")],
    photos: Annotated[
        Path | None, typer.Option(help="A folder that all machines reach; else this home's own.")
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Keep this home's records in a book on a PostgreSQL server that several machines share."""
    from ui.records_transfer import share

    share(_folder(context, of_demo=False), address, station, photos, as_json=as_json)


def records_trends(
    context: typer.Context,
    machine: Annotated[str | None, typer.Option(help="One machine; all without.")] = None,
    as_json: JsonFlag = False,
    of_demo: OfDemo = False,
) -> None:
    """Show how tram, spindle runout and the slides' shift on locking went over months."""
    from ui.records_trends import put_trends

    put_trends(_folder(context, of_demo=of_demo), machine, as_json=as_json)


def records_again(
    context: typer.Context,
    setup: SetupNumber,
    part: Annotated[
        str | None, typer.Option(help="The next part; without, its number counted on.")
    ] = None,
    as_json: JsonFlag = False,
    of_demo: OfDemo = False,
) -> None:
    """Start the same setup for the next part: steps, tolerance, sizes. The service must run."""
    from ui.records_again import begin_again

    number, name = begin_again(_folder(context, of_demo=of_demo), setup, part, as_json=as_json)
    tell(f"Setup {number} begins on {name}: go on at the dashboard, or `setup play --resume`.")


def add_to(app: typer.Typer) -> None:
    """Hang the commands under `records`."""
    for name, command in (
        ("list", records_list),
        ("show", records_show),
        ("check", records_check),
        ("report", records_report),
        ("backup", records_backup),
        ("salvage", records_salvage),
        ("export", records_export),
        ("import", records_import),
        ("supersede", records_supersede),
        ("share", records_share),
        ("trends", records_trends),
        ("again", records_again),
    ):
        app.command(name)(command)
