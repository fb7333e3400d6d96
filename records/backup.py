"""A verified copy of the live database."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from readings import BookError
from records.database import connect_reader
from records.errors import told

_HEAD = "SELECT seq, hash FROM chain ORDER BY seq DESC LIMIT 1"


def copy_verified(source: Path, target: Path) -> None:
    """Copy the database `source`, live or not, to the new file `target`, and read the copy back.

    The copy appears under its name only when `PRAGMA integrity_check` has passed
    on it and its chain ends where the original's did.

    Raises
    ------
    BookError
        If the copy cannot be written or does not check.
    """
    part = target.with_name(target.name + ".part")
    with told(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        with closing(connect_reader(source)) as origin, closing(sqlite3.connect(part)) as copy:
            origin.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
            wanted = origin.execute(_HEAD).fetchone()
            _verify(target, copy, wanted)
        _settle(part, target)


def _verify(target: Path, copy: sqlite3.Connection, wanted: tuple[int, str] | None) -> None:
    found = [row[0] for row in copy.execute("PRAGMA integrity_check")]
    if found != ["ok"] or copy.execute(_HEAD).fetchone() != wanted:
        msg = (
            f"The backup {target} does not check ({found[0]}): nothing was changed; "
            "run `sparehand records check` and look at the disk."
        )
        raise BookError(msg)


def _settle(part: Path, target: Path) -> None:
    with part.open("rb+") as file:
        os.fsync(file.fileno())
    part.replace(target)
