"""An archive into the book: checked first, then all of it in one transaction, or nothing."""

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from readings import BadInputError
from records import tables as t
from records.archive import ArchiveReader
from records.archived import from_archived_line
from records.exporting import LEFT_OUT
from records.flat import photo_file
from records.photos import keep_photo, sha256_of_file
from records.plain import Cell
from records.writer import Writer

LATER = ("superseded_by", "tick")
"""What may be added to a setup after it was closed: a newer archive can bring more of it."""

_NAMED = ("job", "part", "operation")
"""Records that are found by their name, and made only where they are not there."""

Row = dict[str, Cell]


@dataclass(frozen=True, slots=True)
class Imported:
    """What came into the book."""

    job: str
    setups: int
    already_there: int
    photos: int
    photos_missing: tuple[str, ...]


def import_job(book: Writer, path: Path) -> Imported:
    """Take the archive of a job into the book.

    Setups that are there already are left as they are; only what is added to a closed setup
    (a later one that supersedes it, ticks of the list before power) is taken from a newer
    archive of it.

    Raises
    ------
    BadInputError
        If the file is no whole archive, or a setup of it stands in the book otherwise.
    BookError
        If the book cannot take it; then nothing of it is in the book.
    """
    with ArchiveReader(path) as archive:
        photos = _keep_photos(book, archive)
        with book.pen.transaction() as connection:
            taking = _Taking(book, connection)
            for number, line in enumerate(archive.records(), start=1):
                taking.take(*from_archived_line(line, number), number)
            taking.require_counts(archive.manifest.records)
            if taking.written:
                taking.note(archive)
    return Imported(
        archive.manifest.job,
        taking.setups_new,
        taking.setups_known,
        photos,
        tuple(archive.manifest.photos_missing),
    )


def _keep_photos(book: Writer, archive: ArchiveReader) -> int:
    """Put the photos on the disk before anything refers to them; return how many files."""
    kept: set[str] = set()
    for number, line in enumerate(archive.records(), start=1):
        table, row = from_archived_line(line, number)
        if table is not t.photo:
            continue
        sha256 = str(row["sha256"])
        if sha256 in kept:
            continue
        jpeg = archive.photo(photo_file(sha256))
        if jpeg is None:
            if sha256 not in archive.manifest.photos_missing:
                msg = f"The archive lacks the photo {sha256[:12]}…: export it anew."
                raise BadInputError(msg)
            continue
        if keep_photo(book.home, jpeg) != sha256:
            msg = f"A photo of the archive is not {sha256[:12]}… that its name says."
            raise BadInputError(msg)
        kept.add(sha256)
    return len(kept)


class _Taking:
    """The records of one archive on their way into the book."""

    def __init__(self, book: Writer, connection: sa.Connection) -> None:
        self._book = book
        self._connection = connection
        self._there: dict[tuple[str, int], int] = {}
        """Where a record of the archive stands in the book."""
        self._known_setups: set[int] = set()
        self._used: set[tuple[str, int]] = set()
        self._counted: Counter[str] = Counter()
        self._job_id = 0
        self.setups_new = 0
        self.setups_known = 0
        self.written = 0

    def take(self, table: sa.Table, row: Row, line: int) -> None:
        """Take one record: insert it, or find where it stands already."""
        if table.name in LEFT_OUT:
            raise _odd(line, f"{table.name} is no record of a job")
        self._counted[table.name] += 1
        number = row.pop("id")
        if not isinstance(number, int) or number != self._counted[table.name]:
            raise _odd(line, f"{table.name} {number!r} is out of order")
        row = self._referred(table, row, line)
        self._there[table.name, number] = self._place(table, row)

    def _referred(self, table: sa.Table, row: Row, line: int) -> Row:
        """Return the row with the book's numbers in place of the archive's."""
        for key in table.foreign_keys:
            name, target = key.parent.name, key.column.table.name
            if (value := row[name]) is None:
                continue
            there = self._there.get((target, int(value)))
            if there is None:
                raise _odd(line, f"{table.name} refers to {target} {value!r}, which is not there")
            row[name] = there
        return row

    def _place(self, table: sa.Table, row: Row) -> int:
        if table.name in _NAMED:
            return self._named(table, row)
        if table is t.setup:
            return self._setup(row)
        if table is t.plan:
            return self._plan(row)
        owner = self._owner(table, row)
        if owner not in self._known_setups:
            return self._insert(table, row)
        same = self._same(table, row)
        if same is not None:
            return same
        if table.name in LATER:
            return self._insert(table, row)
        raise _otherwise(owner)

    def _named(self, table: sa.Table, row: Row) -> int:
        identity = {name: value for name, value in row.items() if name != "at_utc"}
        found = self._connection.scalar(sa.select(table.c.id).filter_by(**identity))
        row_id = int(found) if found is not None else self._insert(table, row)
        if table is t.job:
            self._job_id = row_id
        return row_id

    def _plan(self, row: Row) -> int:
        """Take a plan that is later than the one that counts here; leave others out."""
        newest = sa.select(t.plan.c.id, t.plan.c.at_utc).filter_by(job_id=row["job_id"])
        known = self._connection.execute(newest.order_by(t.plan.c.id.desc())).first()
        if known is not None and str(known.at_utc) >= str(row["at_utc"]):
            return int(known.id)
        return self._insert(t.plan, row)

    def _setup(self, row: Row) -> int:
        uid = self._connection.execute(sa.select(t.setup).filter_by(uid=row["uid"])).mappings()
        known = uid.first()
        if known is None:
            self.setups_new += 1
            return self._insert(t.setup, row)
        if {**row, "id": known["id"]} != dict(known):
            raise _otherwise(known["id"])
        self.setups_known += 1
        self._known_setups.add(known["id"])
        return int(known["id"])

    def _owner(self, table: sa.Table, row: Row) -> int:
        """Return the setup that a record belongs to."""
        if "setup_id" in row:
            return int(row["setup_id"] or 0)
        query = sa.select(t.sweep.c.setup_id).where(t.sweep.c.id == row["sweep_id"])
        return int(self._connection.scalar(query) or 0)

    def _same(self, table: sa.Table, row: Row) -> int | None:
        """Return the first record in the book that says the same and stands for no other yet."""
        given = {name: value for name, value in row.items() if value is not None}
        empty = [table.c[name].is_(None) for name, value in row.items() if value is None]
        query = sa.select(table.c.id).filter_by(**given).where(*empty).order_by(table.c.id)
        for row_id in self._connection.scalars(query):
            if (table.name, row_id) not in self._used:
                self._used.add((table.name, row_id))
                return int(row_id)
        return None

    def _insert(self, table: sa.Table, row: Row) -> int:
        self.written += 1
        return self._book.pen.insert(table, **row)

    def require_counts(self, wanted: dict[str, int]) -> None:
        """Refuse an archive whose records are not those that its manifest counts."""
        if dict(self._counted) != wanted:
            msg = (
                "The archive's records are not as many as its manifest says: export it anew; "
                "nothing was imported."
            )
            raise BadInputError(msg)

    def note(self, archive: ArchiveReader) -> None:
        """Put on record where these setups came from."""
        self._book.pen.insert(
            t.imported,
            job_id=self._job_id,
            book_uid=archive.manifest.book_uid,
            archive_sha256=sha256_of_file(archive.path),
            setups=self.setups_new,
            program_version=self._book.program_version,
            at_utc=self._book.stamp(),
        )


def _odd(line: int, why: str) -> BadInputError:
    return BadInputError(
        f"Line {line} of the archive's records does not fit ({why}): export it anew; "
        "nothing was imported."
    )


def _otherwise(setup_id: int) -> BadInputError:
    return BadInputError(
        f"Setup {setup_id} is in this book already, but not as in the archive: "
        "check both books with `sparehand records check`; nothing was imported."
    )
