"""Is the book whole? Database, text of the tables, chain of hashes, photos, scratch."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

import sqlalchemy as sa

from records import tables as t
from records.chain import GENESIS, record_hash
from records.check_server import odd_definitions
from records.database import SALVAGED, is_file
from records.migrate import upgrade_tables
from records.photos import photo_is_whole, photo_path, sha256_of
from records.place import Place, book_path

_CHUNK = 500
_UNREADABLE = (sa.exc.DBAPIError, ValueError, TypeError, OSError)
_HEADER: dict[int, bytes] = {
    20: b"\x00\x40\x20\x20",
    44: b"\x00\x00\x00\x04" + bytes(8) + b"\x00\x00\x00\x01" + bytes(8),
    68: t.APPLICATION_ID.to_bytes(4, "big") + bytes(20),
}
"""What stands fixed in the file's first 100 bytes (SQLite, "Database File Format", 1.3)."""

_JOURNALS = (b"\x01\x01", b"\x02\x02")
"""A rollback journal (backups) or a write-ahead log (the live book)."""

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Damage:
    """One thing that is not as it was written.

    `where` names it ("samples 12", "photo 9f3c…"), `sentence` is for a person.
    """

    kind: Literal["database", "record", "chain", "photo", "scratch"]
    where: str
    sentence: str


def check_open_book(connection: sa.Connection, place: Place) -> list[Damage]:
    """Return all that is damaged in the book at `place`; nothing found stops the rest."""
    steps: tuple[tuple[str, Callable[[], Iterator[Damage]]], ...] = (
        ("file header", lambda: _header(place)),
        ("database file", lambda: _database(connection)),
        ("tables", lambda: _schema(connection)),
        ("chain", lambda: _chain(connection)),
        ("unsealed records", lambda: _unsealed(connection)),
        ("photos", lambda: _photos(connection, place.home)),
        ("session state", lambda: _scratch(connection)),
    )
    found: list[Damage] = []
    for name, step in steps:
        try:
            found.extend(step())
        except _UNREADABLE as error:
            found.append(Damage("database", name, f"The {name} cannot be read: {_cause(error)}."))
    return found


def _cause(error: BaseException) -> str:
    return str(getattr(error, "orig", None) or error)


def _header(place: Place) -> Iterator[Damage]:
    if place.address is not None:
        return
    path = book_path(place.home)
    wal = path.with_name(path.name + "-wal")
    if wal.exists() and wal.stat().st_size:
        return  # the header in force may stand in the log, which carries checksums
    with path.open("rb") as file:
        head = file.read(100)
    if head[18:20] not in _JOURNALS:
        yield Damage("database", "file header", "The file's header names no journal of ours.")
    if head[60:64] == SALVAGED.to_bytes(4, "big"):
        yield Damage("database", "file header", "This is what was saved of a damaged book.")
        return
    for start, wanted in _HEADER.items():
        if head[start : start + len(wanted)] != wanted:
            yield Damage("database", "file header", f"The file's header differs at byte {start}.")


def _database(connection: sa.Connection) -> Iterator[Damage]:
    if not is_file(connection):
        return  # a server looks after its own files; the chain proves what it hands out
    for (line,) in connection.exec_driver_sql("PRAGMA integrity_check"):
        if line != "ok":
            yield Damage("database", "database file", f"SQLite finds: {line}.")
    for table_name, row_id, target, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        where = f"{table_name} {row_id}"
        yield Damage("record", where, f"Record {where} belongs to a {target} that is not there.")


def _schema(connection: sa.Connection) -> Iterator[Damage]:
    for name in _odd_definitions(connection):
        yield Damage("database", name, f"The definition of {name} is not this program's.")


def _odd_definitions(connection: sa.Connection) -> Iterator[str]:
    if not is_file(connection):
        yield from odd_definitions(connection)
        return
    wanted, found = _schema_of_present_format(), _schema_in(connection)
    for name in sorted(wanted.keys() | found.keys()):
        if wanted.get(name) != found.get(name):
            yield name


def _schema_in(connection: sa.Connection) -> dict[str, tuple[str, ...]]:
    query = "SELECT name, type, tbl_name, sql FROM sqlite_master"
    return {row[0]: tuple(row[1:]) for row in connection.exec_driver_sql(query)}


@cache
def _schema_of_present_format() -> dict[str, tuple[str, ...]]:
    engine = sa.create_engine("sqlite://")
    try:
        with engine.begin() as connection:
            upgrade_tables(connection)
            return _schema_in(connection)
    finally:
        engine.dispose()


def _chain(connection: sa.Connection) -> Iterator[Damage]:
    before: Row = {"seq": 0, "hash": GENESIS}
    while links := _links_after(connection, before["seq"]):
        rows = _sealed_rows(connection, links)
        for link in links:
            yield from _link_damage(before, link)
            yield from _record_damage(link, rows.get((link["table_name"], link["row_id"])))
            before = link
    if before["seq"] == 0:
        yield Damage("chain", "chain", "The chain of hashes is empty.")


def _links_after(connection: sa.Connection, seq: int) -> list[Row]:
    query = sa.select(t.chain).where(t.chain.c.seq > seq).order_by(t.chain.c.seq).limit(_CHUNK)
    return [dict(row) for row in connection.execute(query).mappings()]


def _link_damage(before: Row, link: Row) -> Iterator[Damage]:
    where = f"link {link['seq']}"
    if link["seq"] != before["seq"] + 1:
        gap = f"Links {before['seq'] + 1} to {link['seq'] - 1} of the chain are missing."
        yield Damage("chain", where, gap)
    elif link["previous_hash"] != before["hash"]:
        yield Damage("chain", where, f"Link {link['seq']} does not follow from the one before.")


def _record_damage(link: Row, row: Row | None) -> Iterator[Damage]:
    where = f"{link['table_name']} {link['row_id']}"
    if row is None:
        yield Damage("record", where, f"Record {where} is missing or cannot be read.")
    elif _hash_of(link, row) != link["hash"]:
        yield Damage("record", where, f"Record {where} is not as it was written.")


def _hash_of(link: Row, row: Row) -> str | None:
    try:
        return record_hash(link["seq"], link["table_name"], row, link["previous_hash"])
    except (ValueError, TypeError):
        return None


def _sealed_rows(connection: sa.Connection, links: Sequence[Row]) -> dict[tuple[str, int], Row]:
    wanted: dict[str, list[int]] = defaultdict(list)
    for link in links:
        if link["table_name"] in t.RECORDS:
            wanted[link["table_name"]].append(link["row_id"])
    return {
        (name, row["id"]): row
        for name, ids in wanted.items()
        for row in _readable_rows(connection, t.RECORDS[name], ids)
    }


def _readable_rows(connection: sa.Connection, table: sa.Table, ids: list[int]) -> list[Row]:
    """Return the rows as they stand in the file, without those that cannot be read."""
    everything: sa.Select[Any] = sa.select(sa.literal_column("*"))
    query = everything.select_from(table).where(table.c.id.in_(ids))
    try:
        return [dict(row) for row in connection.execute(query).mappings()]
    except (sa.exc.DBAPIError, UnicodeDecodeError):
        if len(ids) == 1:
            return []
    return [row for one in ids for row in _readable_rows(connection, table, [one])]


def _unsealed(connection: sa.Connection) -> Iterator[Damage]:
    for name, table in t.RECORDS.items():
        seal = (t.chain.c.row_id == table.c.id) & (t.chain.c.table_name == name)
        query: sa.Select[tuple[int]] = sa.select(table.c.id).select_from(
            table.outerjoin(t.chain, seal)
        )
        for row_id in connection.scalars(query.where(t.chain.c.seq.is_(None))):
            where = f"{name} {row_id}"
            yield Damage("record", where, f"Record {where} was not written by Sparehand.")


def _photos(connection: sa.Connection, home: Path) -> Iterator[Damage]:
    for sha256 in connection.scalars(sa.select(t.photo.c.sha256).distinct()):
        path = photo_path(home, sha256)
        where = f"photo {sha256[:12]}"
        if not path.is_file():
            yield Damage("photo", where, f"The photo {path} is missing.")
        elif not photo_is_whole(path, sha256):
            yield Damage("photo", where, f"The photo {path} is not as it was taken.")


def _scratch(connection: sa.Connection) -> Iterator[Damage]:
    for row in connection.execute(sa.select(t.session_state)).mappings():
        if sha256_of(row["state"]) != row["sha256"]:
            where = f"session {row['key']}"
            yield Damage("scratch", where, "What a running session left is not as it was left.")
