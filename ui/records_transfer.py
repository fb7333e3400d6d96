"""`records backup`, `salvage`, `export`, `import`, `share`: the book and jobs taken elsewhere."""

from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from readings import BadInputError, ServiceError
from records import BookReader
from records.backup_home import backup_home
from records.importing import Imported, import_job
from records.place import book_path, place_of, put_place, restore_place, shared_place
from records.plain import utc_text
from records.salvage import salvage_home
from stream.client import Client
from ui.output import put_json, put_table, tell
from ui.records_command import damage_rows
from ui.records_report import file_name
from ui.service_process import program_version


def _now() -> datetime:
    return datetime.now(UTC)


def back_up(home: Path, target: Path | None, *, as_json: bool) -> bool:
    """Copy the book of `home` and say what the copy holds; return whether it is whole.

    Raises
    ------
    BadInputError
        If something is in `target`.
    BookError
        If there is no book, or no copy can be made.
    """
    made = backup_home(home, target, now=_now())
    if as_json:
        put_json(
            {
                "folder": str(made.folder),
                "setups": made.setups,
                "photos": made.photos,
                "damages": made.damages,
            }
        )
    else:
        if made.damages:
            put_table("Damage in the copy", ("what", "where", ""), damage_rows(made.damages))
        how = "with the damage listed" if made.damages else "read back whole"
        tell(f"Copied to {made.folder}: {made.setups} setups, {made.photos} photos, {how}.")
    return not made.damages


def salvage(home: Path, target: Path, *, as_json: bool) -> None:
    """Save what can be proven of the damaged book of `home`.

    Raises
    ------
    BadInputError
        If something is in `target`, or nothing can be saved.
    BookError
        If there is no book, or the copy cannot be written.
    """
    saved = salvage_home(home, target)
    if as_json:
        put_json({**asdict(saved), "folder": str(saved.folder)})
        return
    tell(
        f"Saved {saved.setups} setups ({saved.records} records, {saved.photos} photos) to "
        f"{saved.folder}: read it with --home. Lost: {saved.records_lost} records, "
        f"{saved.photos_lost} photos."
    )


def export(home: Path, job: str, target: Path | None, *, as_json: bool) -> None:
    """Write the archive of a job.

    Raises
    ------
    BadInputError
        If there is no such job, nothing of it is closed, or the file is there already.
    BookError
        If the book cannot be read or the archive cannot be written.
    """
    from records.exporting import export_job

    archive = target or Path(f"{file_name(job)}.zip")
    if archive.exists():
        msg = f"{archive} is there already: name another file with --to; nothing was written."
        raise BadInputError(msg)
    with BookReader.open(home) as reader:
        told = export_job(
            reader, job, archive, exported_utc=utc_text(_now()), program_version=program_version()
        )
    if as_json:
        put_json({"archive": str(archive), **msgspec.to_builtins(told)})
        return
    left = f"; {told.left_out_open} still open left out" if told.left_out_open else ""
    tell(f"Wrote {archive}: {told.setups} setups, {told.photos} photos{left}.")
    _tell_missing(told.photos_missing, "in the book's folder")


def bring_in(home: Path, archive: Path, *, as_json: bool) -> None:
    """Take a job's archive into the book of `home`, which is made where there is none.

    Raises
    ------
    BadInputError
        If the file is no whole archive, or does not go with what is in the book.
    BookError
        If another process writes the book, or it cannot be written.
    """
    told = _through_service(home, archive) or _import_here(home, archive)
    if as_json:
        put_json(told)
        return
    known = f"; {told.already_there} were here already" if told.already_there else ""
    tell(f"{told.job}: {told.setups} setups and {told.photos} photos came in{known}.")
    _tell_missing(told.photos_missing, "in the archive")


def _through_service(home: Path, archive: Path) -> Imported | None:
    """Have the running service take the archive; None where none runs."""
    try:
        with Client(home) as client:
            answer = client.command("import", path=str(archive.resolve()))
    except ServiceError:
        return None
    if not answer.ok:
        raise BadInputError(answer.said)
    return msgspec.convert(answer.body, Imported)


def _import_here(home: Path, archive: Path) -> Imported:
    from records import Book

    with Book.open(home, program_version=program_version(), now=_now) as book:
        return import_job(book, archive)


def _tell_missing(missing: tuple[str, ...], where: str) -> None:
    if missing:
        tell(f"{len(missing)} photos are missing or damaged {where}: {missing[0][:12]}… first.")


def share(home: Path, address: str, station: str, photos: Path | None, *, as_json: bool) -> None:
    """Have the book of `home` stand on a server from now on, where its tables are made.

    Raises
    ------
    BadInputError
        If the address or the name cannot be one, or the home has a book of its own.
    BookError
        If the server cannot be reached, or holds something else.
    """
    from records import Book

    if book_path(home).exists():
        msg = (
            f"{home} has a book of its own: export its jobs, name another home with --home, and "
            "import them there."
        )
        raise BadInputError(msg)
    place = shared_place(home, address, station, photos)
    home.mkdir(parents=True, exist_ok=True)
    before = place_of(home)
    put_place(place)
    try:
        with Book.open(home, program_version=program_version(), now=_now):
            pass
    except BaseException:
        restore_place(before)
        raise
    if as_json:
        put_json({"book": str(place), "station": station, "photos": str(place.photos)})
    else:
        tell(f"{station} shares the book at {place}; its photos go to {place.photos}.")
