"""What the book says when it cannot go on: foreign errors are translated here, cause kept."""

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from readings import BookError
from records.place import Place


class BookLockedError(BookError):
    """Another process writes this book."""


class BookMissingError(BookError):
    """There is no book, or its folder is gone."""


class BookNewerError(BookError):
    """The book was written by a newer Sparehand."""


class BookOlderError(BookError):
    """The book must be brought to the present format by a writer before it is read."""


class BookDamagedError(BookError):
    """The database file or what stands in it is damaged."""


class BookFullError(BookError):
    """There is no room on the disk."""


class BookFinishedError(BookError):
    """Something was to be added to a record that is closed."""


_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT}
_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


@contextmanager
def told(where: Path | Place) -> Iterator[None]:
    """Turn what the database and the file system raise into a `BookError` about `where`."""
    try:
        yield
    except sa.exc.DBAPIError as error:
        raise from_database(where, error.orig) from error
    except sqlite3.Error as error:
        raise from_database(where, error) from error
    except UnicodeDecodeError as error:
        raise damaged(where, str(error)) from error
    except OSError as error:
        raise from_system(where, error) from error


def from_database(path: object, error: BaseException | None) -> BookError:
    """Return the sentence for an error of SQLite, or of a server's driver."""
    if error is not None and not isinstance(error, sqlite3.Error):
        from records.server import from_server  # late: it needs the errors above

        return from_server(path, error)
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
    if code in _DAMAGED or "decode to UTF-8" in str(error):
        return damaged(path, str(error))
    if code == sqlite3.SQLITE_FULL:
        return no_room(path)
    if code in _BUSY:
        return BookLockedError(
            f"Another program holds the record book {path}: close it there and try again; "
            "nothing was written."
        )
    if code == sqlite3.SQLITE_READONLY:
        return BookError(
            f"The record book {path} cannot be written: allow writing to it and its folder, "
            "or choose another folder with --home."
        )
    if code == sqlite3.SQLITE_CANTOPEN:
        return BookMissingError(
            f"The record book {path} cannot be opened: check that its folder is there and may be "
            "read, or choose another with --home."
        )
    return BookError(
        f"The record book {path} did not take this ({error}): nothing of it was written; "
        "run `sparehand records check`."
    )


def from_system(path: object, error: OSError) -> BookError:
    """Return the sentence for an error of the file system."""
    if error.errno in _NO_ROOM:
        return no_room(path)
    return BookError(
        f"The record book's file {error.filename or path} cannot be used "
        f"({error.strerror or error}): check the folder, or choose another with --home."
    )


def no_room(path: object) -> BookFullError:
    """Return the sentence for a full disk."""
    return BookFullError(
        f"The disk with the record book {path} is full: everything acknowledged so far is kept, "
        "this last piece is not; make room and do it again."
    )


def damaged(path: object, what: str) -> BookDamagedError:
    """Return the sentence for a damaged book."""
    return BookDamagedError(
        f"The record book {path} is damaged ({what}): do not write to it; copy its folder away, "
        "then go back to a copy from its backups folder, or save what can be saved with "
        "`sparehand records salvage`."
    )
