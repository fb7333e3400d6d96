"""A job out of the book: everything of it, numbered anew so that no book shows in it."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from readings import BadInputError
from records import queries, show
from records import tables as t
from records.archive import (
    AS_JSON_LINES,
    COLUMNS,
    KIND,
    RECORDS,
    VERSION,
    ArchiveWriter,
    Manifest,
    writing,
)
from records.archived import archived_line
from records.columns import DESCRIPTION, TABLES, described, names
from records.flat import Row, csv_lines, json_lines, photo_file, rows_of
from records.photos import photo_is_whole, photo_path
from records.plain import Json
from records.reader import BookReader

LEFT_OUT = ("book", "imported")
"""Tables that say something of the book and not of the job."""

_CHUNK = 500


@dataclass(frozen=True, slots=True)
class Exported:
    """What an archive holds, and what it could not."""

    job: str
    setups: int
    photos: int
    photos_missing: tuple[str, ...]
    left_out_open: int


@dataclass(slots=True)
class Numbers:
    """The numbers of a job's records within its archive, counted from 1 in the book's order."""

    by_table: dict[str, dict[int, int]] = field(default_factory=dict)

    def take(self, table: str, row_ids: Iterable[int]) -> None:
        """Give the records of a table their numbers."""
        self.by_table[table] = {row_id: n for n, row_id in enumerate(sorted(row_ids), start=1)}

    def of(self, table: str, row_id: int | None) -> int | None:
        """Return a record's number; None for None and for what is not of the job."""
        return None if row_id is None else self.by_table[table].get(row_id)

    def row(self, table: sa.Table, row: Json) -> Json | None:
        """Return a row with the archive's numbers, None where it refers out of the job."""
        numbered = {**row, "id": self.by_table[table.name][row["id"]]}
        for key in table.foreign_keys:
            name, target = key.parent.name, key.column.table.name
            if row[name] is None:
                continue
            numbered[name] = self.of(target, row[name])
            if numbered[name] is None:
                return None
        return numbered


def export_job(
    reader: BookReader, job: str, target: Path, *, exported_utc: str, program_version: str
) -> Exported:
    """Write a job's archive; setups that are still open are left out, and counted.

    Raises
    ------
    BadInputError
        If the book has no such job, or nothing of it is closed.
    BookError
        If the book cannot be read or the archive cannot be written.
    """
    with reader.reading() as connection:
        source = _Source(connection, reader.home, job)
        with writing(target) as archive:
            source.write(archive, exported_utc, program_version)
    return source.told()


class _Source:
    """A job as it stands in one state of the book."""

    def __init__(self, connection: sa.Connection, home: Path, job: str) -> None:
        self._connection = connection
        self._home = home
        self.job = job
        job_id = connection.scalar(sa.select(t.job.c.id).where(t.job.c.name == job))
        if job_id is None:
            raise _no_job(connection, job)
        self._part_ids = list(
            connection.scalars(sa.select(t.part.c.id).where(t.part.c.job_id == job_id))
        )
        every = list(
            connection.scalars(
                sa.select(t.setup.c.id)
                .where(t.setup.c.part_id.in_(self._part_ids))
                .order_by(t.setup.c.id)
            )
        )
        self.setup_ids = [i for i in every if queries.setup_state(connection, i) != "open"]
        self.left_out_open = len(every) - len(self.setup_ids)
        if not self.setup_ids:
            msg = f"Job {job!r} has no closed setup: finish one or give it up, then export."
            raise BadInputError(msg)
        self._ids = self._all_ids(job_id)
        self.numbers = Numbers()
        for table, ids in self._ids.items():
            self.numbers.take(table, ids)

    def _all_ids(self, job_id: int) -> dict[str, list[int]]:
        """Return the numbers, in the book, of the job's records by table."""
        ids: dict[str, list[int]] = {"job": [job_id], "part": self._part_ids}
        ids["plan"] = self._where(t.plan.c.job_id, [job_id])
        ids["operation"] = self._where(t.operation.c.part_id, self._part_ids)
        ids["setup"] = self.setup_ids
        for name, table in t.RECORDS.items():
            if "setup_id" in table.c:
                ids[name] = self._where(table.c.setup_id, self.setup_ids)
        for table in (t.samples, t.sweep_end):
            ids[table.name] = self._where(table.c.sweep_id, ids["sweep"])
        return ids

    def _where(self, column: sa.Column[Any], keys: Sequence[int]) -> list[int]:
        found: list[int] = []
        for some in _chunks(keys):
            query = sa.select(column.table.c.id).where(column.in_(some))
            found += self._connection.scalars(query)
        return found

    def write(self, archive: ArchiveWriter, exported_utc: str, program_version: str) -> None:
        """Write every file."""
        self._counted: Counter[str] = Counter()
        self._elsewhere: list[tuple[str, str]] = []
        archive.add_text(RECORDS, self._records())
        archive.add_text(COLUMNS, csv_lines(DESCRIPTION, described()))
        self._tables(archive)
        self._photos(archive)
        uid = self._connection.scalar(sa.select(t.book.c.uid).order_by(t.book.c.id).limit(1))
        archive.seal(
            Manifest(
                kind=KIND,
                version=VERSION,
                job=self.job,
                setups=len(self.setup_ids),
                records=dict(sorted(self._counted.items())),
                photos=self._photos_written,
                photos_missing=self._missing,
                left_out_open=self.left_out_open,
                superseded_elsewhere=self._elsewhere,
                book_uid=uid or "",
                exported_utc=exported_utc,
                program_version=program_version,
            )
        )

    def told(self) -> Exported:
        """Return what was written."""
        return Exported(
            self.job,
            len(self.setup_ids),
            self._photos_written,
            tuple(self._missing),
            self.left_out_open,
        )

    def _records(self) -> Iterator[str]:
        """Yield every record, a table after the other, each in the book's own order."""
        for name, table in t.RECORDS.items():
            if name in LEFT_OUT:
                continue
            for some in _chunks(sorted(self._ids[name])):
                query = sa.select(table).where(table.c.id.in_(some)).order_by(table.c.id)
                for row in self._connection.execute(query).mappings():
                    numbered = self.numbers.row(table, dict(row))
                    if numbered is None:
                        self._note_elsewhere(dict(row))
                        continue
                    self._counted[name] += 1
                    yield archived_line(name, numbered)

    def _note_elsewhere(self, row: Json) -> None:
        """Keep which setup was superseded by one of another job."""
        pair = tuple(
            self._connection.scalar(sa.select(t.setup.c.uid).where(t.setup.c.id == row[name]))
            for name in ("setup_id", "by_setup_id")
        )
        self._elsewhere.append((str(pair[0]), str(pair[1])))

    def _shown(self, *, with_samples: bool) -> Iterator[Json]:
        for setup_id in self.setup_ids:
            setup = show.setup_in_full(
                self._connection, self._home, setup_id, with_samples=with_samples
            )
            yield self._renumbered(setup)

    def _renumbered(self, setup: Json) -> Json:
        number = self.numbers.of
        setup = {**setup, "id": number("setup", setup["id"])}
        setup["superseded_by"] = number("setup", setup["superseded_by"])
        for sweep in setup["sweeps"]:
            sweep["id"] = number("sweep", sweep["id"])
        for one in (*setup["results"], *setup["photos"]):
            one["sweep_id"] = number("sweep", one["sweep_id"])
        for result in setup["results"]:
            result["id"] = number("result", result["id"])
        return setup

    def _tables(self, archive: ArchiveWriter) -> None:
        small = [name for name in TABLES if name != "samples"]
        rows: dict[str, list[Row]] = {name: [] for name in small}
        for setup in self._shown(with_samples=False):
            for name in small:
                rows[name] += rows_of(setup, name)
        for name in TABLES:
            archive.add_text(f"{name}.csv", csv_lines(names(name), self._of(name, rows)))
        for name in AS_JSON_LINES:
            archive.add_text(f"{name}.jsonl", json_lines(name, self._of(name, rows)))

    def _of(self, name: str, rows: dict[str, list[Row]]) -> Iterator[Row]:
        if name != "samples":
            yield from rows[name]
            return
        for setup in self._shown(with_samples=True):
            yield from rows_of(setup, "samples")

    def _photos(self, archive: ArchiveWriter) -> None:
        self._missing: list[str] = []
        self._photos_written = 0
        names: set[str] = set()
        for some in _chunks(self._ids["photo"]):
            names.update(
                self._connection.scalars(sa.select(t.photo.c.sha256).where(t.photo.c.id.in_(some)))
            )
        for sha256 in sorted(names):
            path = photo_path(self._home, sha256)
            if photo_is_whole(path, sha256):
                archive.add(photo_file(sha256), [path.read_bytes()], packed=False)
                self._photos_written += 1
            else:
                self._missing.append(sha256)


def _chunks(keys: Sequence[int]) -> Iterator[Sequence[int]]:
    for start in range(0, len(keys), _CHUNK):
        yield keys[start : start + _CHUNK]


def _no_job(connection: sa.Connection, job: str) -> BadInputError:
    known = list(connection.scalars(sa.select(t.job.c.name).order_by(t.job.c.name)))
    listed = ", ".join(repr(name) for name in known[:20]) or "none yet"
    return BadInputError(f"There is no job {job!r} in the book; there are: {listed}.")
