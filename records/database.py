"""The connections to a book: to SQLite here, to a server by `records.server`."""

import sqlite3
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.pool import StaticPool

from records.place import Place, book_path
from records.server import engine_for
from records.tables import APPLICATION_ID

BACKUPS_NAME = "backups"
SALVAGED = 1
"""SQLite's user_version of a book that was saved from a damaged one; else it is 0."""

_BUSY_TIMEOUT_S = 5.0
_NO_FILE_BESIDE = (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)
_WRITER_BUSY_S = 0.4
"""The writer is the service's main loop: it says that the book is held, and tries again."""


def _set(raw: sqlite3.Connection, **pragmas: str) -> sqlite3.Connection:
    try:
        for name, value in pragmas.items():
            raw.execute(f"PRAGMA {name} = {value}")
    except sqlite3.Error:
        raw.close()
        raise
    return raw


def connect_reader(path: Path) -> sqlite3.Connection:
    """Return a plain connection that cannot write.

    Beside a book that nobody writes, SQLite still wants to lay a small file; where there is no
    room for it, or no leave, the book is read as a file that cannot change.
    """
    raw = _connect_to_read(path, "mode=ro")
    if _log_is_empty(path) and not _can_be_read(raw):
        raw.close()
        raw = _connect_to_read(path, "mode=ro&immutable=1")
    return _set(raw, foreign_keys="ON")


def _connect_to_read(path: Path, how: str) -> sqlite3.Connection:
    return sqlite3.connect(
        f"{path.absolute().as_uri()}?{how}",
        uri=True,
        timeout=_BUSY_TIMEOUT_S,
        isolation_level=None,
        check_same_thread=False,
    )


def _log_is_empty(path: Path) -> bool:
    """Whether no writer has the book open, or left anything beside it."""
    log = path.with_name(path.name + "-wal")
    return path.is_file() and not (log.exists() and log.stat().st_size)


def _can_be_read(raw: sqlite3.Connection) -> bool:
    try:
        raw.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError as error:
        return error.sqlite_errorcode & 0xFF not in _NO_FILE_BESIDE
    except sqlite3.Error:
        pass  # damage is told by who asks for what is damaged
    return True


def connect_writer(path: Path) -> sqlite3.Connection:
    """Return the plain writing connection: WAL, every commit on the disk before it returns.

    It belongs to the thread that made it.
    """
    raw = sqlite3.connect(path, timeout=_WRITER_BUSY_S, isolation_level=None)
    return _set(
        raw,
        journal_mode="WAL",
        synchronous="FULL",
        recursive_triggers="ON",
        foreign_keys="ON",
    )


def reader_engine(path: Path) -> sa.Engine:
    """Return an engine whose transactions see one state of the book and cannot change it."""
    engine = sa.create_engine(
        "sqlite://", creator=lambda: connect_reader(path), poolclass=StaticPool
    )
    _begin_with(engine, "BEGIN")
    return engine


def writer_engine(path: Path) -> sa.Engine:
    """Return the writer's engine: one connection, transactions that lock at once."""
    engine = sa.create_engine(
        "sqlite://", creator=lambda: connect_writer(path), poolclass=StaticPool
    )
    _begin_with(engine, "BEGIN IMMEDIATE")
    return engine


def engine_to_read(place: Place) -> sa.Engine:
    """Return the engine of a reader, wherever the book stands."""
    if place.address is not None:
        return engine_for(place.address, writing=False)
    return reader_engine(book_path(place.home))


def engine_to_write(place: Place) -> sa.Engine:
    """Return the engine of the writer, wherever the book stands."""
    if place.address is not None:
        return engine_for(place.address, writing=True)
    return writer_engine(book_path(place.home))


def _begin_with(engine: sa.Engine, statement: str) -> None:
    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        connection.exec_driver_sql(statement)


def is_file(connection: sa.Connection) -> bool:
    """Whether the open book is a file of SQLite, and not on a server."""
    return connection.dialect.name == "sqlite"


def is_book(connection: sa.Connection) -> bool:
    """Whether the open database carries a book's application_id; on a server, its tables."""
    if not is_file(connection):
        return sa.inspect(connection).has_table("chain")
    return connection.exec_driver_sql("PRAGMA application_id").scalar() == APPLICATION_ID


def mark_as_salvaged(path: Path) -> None:
    """Mark a book as saved from a damaged one: readers take it, writers do not."""
    with closing(sqlite3.connect(path)) as raw:
        raw.execute(f"PRAGMA user_version = {SALVAGED}")


def is_salvaged(connection: sa.Connection) -> bool:
    """Whether the open book was saved from a damaged one."""
    if not is_file(connection):
        return False
    return connection.exec_driver_sql("PRAGMA user_version").scalar() == SALVAGED


def format_of(connection: sa.Connection) -> str | None:
    """Return the revision of the open database, None where it has no tables of a book."""
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.exec_driver_sql(
        "SELECT version_num FROM alembic_version"
    ).scalar()
    return found
