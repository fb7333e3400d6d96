"""What can be saved of a damaged book: the records that their seals prove, to be read only."""

import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import sqlite

from readings import BadInputError
from records import tables as t
from records.chain import record_hash
from records.copying import write_rows
from records.database import mark_as_salvaged
from records.errors import told
from records.photos import photo_is_whole, photo_path
from records.place import PHOTOS_NAME, book_path
from records.reader import require_book

LOST = "(lost)"
"""Stands for the name of a job or part whose record was not saved."""

_BROKEN = (sqlite3.Error, UnicodeDecodeError, ValueError)
_DIALECT = sqlite.dialect(paramstyle="qmark")
_MAGIC = b"SQLite format 3\x00"
Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Salvaged:
    """What was saved: records and photos, and how many the damaged book named beside them."""

    folder: Path
    records: int
    records_lost: int
    setups: int
    photos: int
    photos_lost: int


def salvage_home(home: Path, target: Path) -> Salvaged:
    """Copy all that is proven out of the book of `home` into the new folder `target`.

    The damaged book is only read. A record counts as proven when its hash is the one in the
    chain; of a photo, when it is the one in its name. The copy can be read and exported, and
    is never written to again.

    Raises
    ------
    BadInputError
        If something is in `target`, or not one record can be read.
    BookError
        If there is no book, or the copy cannot be written.
    """
    source = _file_of(home)
    with told(target):
        if target.exists() and (target.is_file() or any(target.iterdir())):
            msg = f"{target} is not empty: name a folder that is not there yet."
            raise BadInputError(msg)
        with tempfile.TemporaryDirectory() as room:
            rows, named = _proven(_copied(source, Path(room)))
        if not rows:
            msg = (
                f"Not one record of {source} can be proven: go back to a copy from the backups "
                "folder; nothing was written."
            )
            raise BadInputError(msg)
        _write(target, rows)
        photos = {row["sha256"] for (name, _), (_, row) in rows.items() if name == t.photo.name}
        saved = [sha256 for sha256 in sorted(photos) if _keep_photo(home, target, sha256)]
    setups = sum(name == t.setup.name for name, _ in rows)
    lost = max(0, named - len(rows))
    return Salvaged(target, len(rows), lost, setups, len(saved), len(photos) - len(saved))


def _file_of(home: Path) -> Path:
    place = require_book(home)
    if place.address is not None:
        msg = f"The book at {place} is on a server: save it there, or take a copy from a backup."
        raise BadInputError(msg)
    return book_path(home)


Proven = dict[tuple[str, int], tuple[Row, Row]]
"""By table and number: the link of the chain, and the record."""


def _copied(source: Path, room: Path) -> Path:
    """Copy the files of the database, and put its first words right where they are damaged."""
    for ending in ("", "-wal"):
        path = source.with_name(source.name + ending)
        if path.is_file():
            shutil.copyfile(path, room / path.name)
    copy = room / source.name
    with copy.open("r+b") as file:
        file.write(_MAGIC)
    return copy


def _proven(path: Path) -> tuple[Proven, int]:
    """Return the records whose seals are right, and how many the chain names."""
    with closing(sqlite3.connect(path)) as raw:
        raw.row_factory = sqlite3.Row
        links = _links(raw)
        rows: Proven = {}
        for seq, link in links.items():
            name, row_id = link["table_name"], link["row_id"]
            if name not in t.RECORDS or not isinstance(row_id, int):
                continue
            row = _row(raw, t.RECORDS[name], "id", row_id)
            if row is not None and _is_sealed(links, seq, row):
                rows[name, row_id] = (link, row)
    return rows, max(links, default=0)


def _links(raw: sqlite3.Connection) -> dict[int, Row]:
    """Return every link of the chain that can be read, by its number."""
    found = {}
    for seq in _numbers(raw):
        link = _row(raw, t.chain, "seq", seq)
        if link is not None:
            found[seq] = link
    return dict(sorted(found.items()))


def _numbers(raw: sqlite3.Connection) -> range:
    """Return the numbers from the first to the last link, come from both ends.

    A page in the middle that cannot be read hides its neighbours from neither end.
    """
    found: set[int] = set()
    for order in (t.chain.c.seq.asc(), t.chain.c.seq.desc()):
        try:
            for (number,) in raw.execute(str(sa.select(t.chain.c.seq).order_by(order))):
                found.add(number)
        except _BROKEN:
            continue
    return range(min(found, default=1), max(found, default=0) + 1)


def _row(raw: sqlite3.Connection, table: sa.Table, key: str, number: int) -> Row | None:
    try:
        row = raw.execute(_query(table, key), (number,)).fetchone()
    except _BROKEN:
        return None
    return None if row is None else dict(row)


@cache
def _query(table: sa.Table, key: str) -> str:
    """Return the query for one row with the columns that the file has, whatever its format."""
    everything: sa.Select[Any] = sa.select(sa.literal_column("*")).select_from(table)
    return str(everything.where(table.c[key] == sa.bindparam("number")).compile(dialect=_DIALECT))


def _is_sealed(links: Mapping[int, Row], seq: int, row: Row) -> bool:
    """Whether a record is as it was written: one of a hash's two places may be damaged."""
    link, before, after = links[seq], links.get(seq - 1), links.get(seq + 1)
    previous = {link["previous_hash"], *_hashes(before, "hash")}
    wanted = {link["hash"], *_hashes(after, "previous_hash")}
    for hash_before in previous:
        try:
            if record_hash(seq, link["table_name"], row, hash_before) in wanted:
                return True
        except (ValueError, TypeError):
            continue
    return False


def _hashes(link: Row | None, key: str) -> Iterator[str]:
    if link is not None:
        yield link[key]


def _write(target: Path, rows: Proven) -> None:
    """Write the records under their old numbers, with stand-ins for lost jobs and parts."""
    (target / PHOTOS_NAME).mkdir(parents=True)
    sealed = [
        pair
        for (name, _), (link, row) in rows.items()
        for pair in ((t.RECORDS[name], row), (t.chain, link))
    ]
    write_rows(book_path(target), [*sealed, *_stand_ins(rows)])
    mark_as_salvaged(book_path(target))


def _stand_ins(rows: Proven) -> Iterator[tuple[sa.Table, Row]]:
    """Yield a job or part in the place of each that a saved record wants and that was lost."""
    setups = [row for (name, _), (_, row) in rows.items() if name == t.setup.name]
    parts = {row_id: row for (name, row_id), (_, row) in rows.items() if name == t.part.name}
    lost = {row["part_id"] for row in setups} - set(parts)
    for part_id in sorted(lost):
        at_utc = next(row["at_utc"] for row in setups if row["part_id"] == part_id)
        yield t.part, {"id": part_id, "job_id": 0, "name": f"{LOST} {part_id}", "at_utc": at_utc}
    jobs = {row_id for name, row_id in rows if name == t.job.name}
    wanted = {row["job_id"] for row in parts.values()} | ({0} if lost else set())
    for job_id in sorted(wanted - jobs):
        yield t.job, {"id": job_id, "name": f"{LOST} {job_id}", "at_utc": ""}


def _keep_photo(home: Path, target: Path, sha256: str) -> bool:
    source = photo_path(home, sha256)
    if not photo_is_whole(source, sha256):
        return False
    shutil.copyfile(source, photo_path(target, sha256))
    return True
