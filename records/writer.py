"""Opening, closing and the common strokes of the single writer."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from uuid import uuid4

import sqlalchemy as sa

from records import rules
from records import tables as t
from records.errors import told
from records.lock import WriterLock
from records.migrate import bring_up_to_date
from records.pen import Pen
from records.place import place_of
from records.plain import Cell, to_json_text, to_object_text, utc_text


def _new_uid() -> str:
    return uuid4().hex


class Writer:
    """Holds the lock and the pen of one home folder."""

    def __init__(
        self,
        pen: Pen,
        home: Path,
        lock: WriterLock,
        program_version: str,
        now: Callable[[], datetime],
        new_uid: Callable[[], str],
    ) -> None:
        self.home = home
        self._pen = pen
        self._lock = lock
        self._program_version = program_version
        self._now = now
        self._new_uid = new_uid

    @classmethod
    def open(
        cls,
        home: Path,
        *,
        program_version: str,
        now: Callable[[], datetime],
        new_uid: Callable[[], str] = _new_uid,
    ) -> Self:
        """Make or open the book in `home`, take its lock, bring it to the present format.

        Parameters
        ----------
        home
            The folder of the book; made where it is not there.
        now
            The clock: returns the present moment with its time zone.
        new_uid
            Makes the names that tell books and setups apart world-wide.

        Raises
        ------
        BookLockedError
            If another process writes this book.
        BookNewerError, BookDamagedError, BookError
            If the book is of a newer format, damaged, or its folder cannot be used.
        """
        place = place_of(home)
        with told(place):
            home.mkdir(parents=True, exist_ok=True)
            lock = WriterLock.take(home, program_version=program_version, now=now())
            try:
                place.photos.mkdir(exist_ok=True)
                book = cls(Pen(place), home, lock, program_version, now, new_uid)
            except BaseException:
                lock.release()
                raise
            try:
                book._make_ready()
            except BaseException:
                book.close()
                raise
        return book

    @property
    def pen(self) -> Pen:
        """What writes the records, for the other modules of this package."""
        return self._pen

    @property
    def station(self) -> str | None:
        """What names this home among those that share the book; None where none do."""
        return self._pen.place.station

    @property
    def program_version(self) -> str:
        """The version that writes."""
        return self._program_version

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the database and let the lock go; may be called twice."""
        self._pen.close()
        self._lock.release()

    def _make_ready(self) -> None:
        bring_up_to_date(self._pen.connection, self.home)
        with self._pen.transaction():
            if self._pen.last_link() is None:
                self._pen.insert(
                    t.book,
                    uid=self._new_uid(),
                    program_version=self._program_version,
                    at_utc=self.stamp(),
                )

    def stamp(self) -> str:
        """Return the present moment as the book keeps it."""
        return utc_text(self._now())

    def _ensure(
        self, table: sa.Table, parent: sa.Table | None = None, **identity: int | str
    ) -> int:
        with self._pen.transaction() as connection:
            if parent is not None:
                rules.require_record(connection, parent, int(identity[f"{parent.name}_id"]))
            found: int | None = connection.scalar(sa.select(table.c.id).filter_by(**identity))
            return found or self._pen.insert(table, **identity, at_utc=self.stamp())

    def _add(
        self, table: sa.Table, setup_id: int, *, sweep_id: int | None = None, **values: Cell
    ) -> int:
        with self._pen.transaction() as connection:
            rules.require_open_setup(connection, setup_id)
            rules.require_own_sweep(connection, setup_id, sweep_id)
            if sweep_id is not None:
                values["sweep_id"] = sweep_id
            return self._pen.insert(table, setup_id=setup_id, **values, at_utc=self.stamp())

    def _event(self, setup_id: int, state: str, body: Mapping[str, Any]) -> None:
        self._pen.insert(
            t.setup_event,
            setup_id=setup_id,
            state=state,
            verdict=body.get("verdict"),
            body=to_object_text(body),
            at_utc=self.stamp(),
        )

    def _end(self, sweep_id: int, state: str, refused: int, flags: Sequence[str]) -> None:
        self._pen.insert(
            t.sweep_end,
            sweep_id=sweep_id,
            state=state,
            refused=refused,
            flags=to_json_text(list(flags)),
            at_utc=self.stamp(),
        )
