"""Bring a book to the present format, under the writer's lock, after a verified backup."""

from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from readings import BookError
from records.backup import copy_verified
from records.database import BACKUPS_NAME, format_of, is_book, is_file, is_salvaged
from records.errors import BookDamagedError, BookNewerError, BookOlderError, damaged
from records.place import Place, book_path, place_of
from records.tables import APPLICATION_ID, FORMAT

if TYPE_CHECKING:
    from alembic.config import Config

SCRIPTS = Path(__file__).parent / "migrations"


def bring_up_to_date(connection: sa.Connection, home: Path, *, scripts: Path = SCRIPTS) -> None:
    """Make or migrate the tables of the writer's `connection`, all or nothing.

    An existing book of an older format is first copied to
    ``backups/before-format-NEW-from-OLD.sqlite3``.

    Raises
    ------
    BookNewerError
        If the book's format is one this program does not know.
    BookError
        If the file is no book, the backup fails or a migration fails; the book is as before.
    """
    with connection.begin():
        found = _checked_format(connection, place_of(home))
        if is_salvaged(connection):
            raise _read_only(book_path(home))
    newest = newest_format(scripts)
    if found == newest:
        return
    if found is not None:
        _require_known(found, scripts)
        if is_file(connection):  # a server migrates in one transaction; its backups are its own
            copy_verified(book_path(home), _backup_path(home, found, newest))
    _upgrade(connection, home, scripts)


def _read_only(path: Path) -> BookDamagedError:
    return BookDamagedError(
        f"{path} is what was saved of a damaged book, and is only read: give a new book another "
        "folder with --home, and bring jobs into it with `records export` and `records import`."
    )


def newest_format(scripts: Path = SCRIPTS) -> str:
    """Return the newest revision in `scripts`, without loading Alembic for our own."""
    if scripts == SCRIPTS:
        return FORMAT
    return known_formats(scripts)[0]


def known_formats(scripts: Path = SCRIPTS) -> list[str]:
    """Return every revision in `scripts`, the newest first."""
    from alembic.script import ScriptDirectory

    directory = ScriptDirectory.from_config(_config(scripts))
    return [script.revision for script in directory.walk_revisions()]


def require_present_format(connection: sa.Connection, place: Place) -> None:
    """Refuse to read a book of another format than this program's.

    Raises
    ------
    BookNewerError, BookOlderError, BookDamagedError
        As their names say; the last also where the file is no book.
    """
    found = _checked_format(connection, place)
    if found is None:
        raise damaged(place, "it holds no tables")
    if found == FORMAT:
        return
    _require_known(found, SCRIPTS)
    msg = (
        f"The record book {place} has the older format {found}: start `sparehand run` once, "
        f"which keeps a copy and brings it to {FORMAT}."
    )
    raise BookOlderError(msg)


def _checked_format(connection: sa.Connection, place: Place) -> str | None:
    found = format_of(connection)
    if found is not None and is_book(connection):
        return found
    if found is None and not sa.inspect(connection).get_table_names():
        return None
    msg = (
        f"{place} is a database, but not a record book of Sparehand: move it away, or choose "
        "another folder with --home."
    )
    raise BookDamagedError(msg)


def _require_known(found: str, scripts: Path) -> None:
    known = known_formats(scripts)
    if found in known:
        return
    msg = (
        f"This record book has format {found}, and this program knows formats up to {known[0]}: "
        "install a newer Sparehand; the book was not touched."
    )
    raise BookNewerError(msg)


def _backup_path(home: Path, found: str, newest: str) -> Path:
    folder = home / BACKUPS_NAME
    name = f"before-format-{newest}-from-{found}"
    taken = len(list(folder.glob(f"{name}*.sqlite3"))) if folder.is_dir() else 0
    return folder / (f"{name}.sqlite3" if not taken else f"{name}-{taken + 1}.sqlite3")


def _upgrade(connection: sa.Connection, home: Path, scripts: Path) -> None:
    try:
        with connection.begin():
            upgrade_tables(connection, scripts)
    except (sa.exc.SQLAlchemyError, BookError) as error:
        msg = (
            f"The record book {place_of(home)} could not be brought to the new format ({error}): "
            f"it is as it was, and a copy is in {home / BACKUPS_NAME}."
        )
        raise BookError(msg) from error


def upgrade_tables(connection: sa.Connection, scripts: Path = SCRIPTS) -> None:
    """Run the missing migrations inside the transaction that `connection` is in.

    Raises
    ------
    BookError
        If the new tables hold references to nothing.
    """
    from alembic import command

    config = _config(scripts)
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
    if not is_file(connection):
        return
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
    if broken := connection.exec_driver_sql("PRAGMA foreign_key_check").all():
        msg = f"records of {broken[0][0]} refer to nothing"
        raise BookError(msg)


def _config(scripts: Path) -> "Config":
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    return config
