"""The writing hand of the book: transactions that are all or nothing, records that are sealed."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager

import sqlalchemy as sa

from records import tables as t
from records.chain import Link, seal
from records.database import engine_to_write
from records.errors import told
from records.place import Place
from records.plain import Cell, cell


class Pen:
    """The writer's one connection. It belongs to the thread that made it."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self._engine = engine_to_write(place)
        self.connection = self._engine.connect()
        self._head: Link | None = None
        self._thread = threading.get_ident()

    def close(self) -> None:
        """Close the database; may be called twice."""
        self.connection.close()
        self._engine.dispose()

    @contextmanager
    def transaction(self) -> Iterator[sa.Connection]:
        """Hold a transaction that is on the disk when the block ends, or never was.

        Raises
        ------
        BookError
            In place of any error of the database.
        RuntimeError
            If called from another thread than the one that opened the book.
        """
        if threading.get_ident() != self._thread:
            msg = "the book has one writing thread: the one that opened it"
            raise RuntimeError(msg)
        with told(self.place):
            try:
                with self.connection.begin():
                    if self.place.address is not None:
                        self._head = None  # others may have written since
                    yield self.connection
            except BaseException:
                self._head = None  # what was sealed is taken back: read the end again
                raise

    def insert(self, table: sa.Table, **values: object) -> int:
        """Insert a record with its seal inside `transaction`, and return its number.

        Raises
        ------
        BadInputError
            If a value cannot stand in the book.
        """
        row: dict[str, Cell] = {name: cell(name, value) for name, value in values.items()}
        key = self.connection.execute(table.insert().values(row)).inserted_primary_key
        assert key is not None
        row_id = int(key[0])
        self._seal(table, {**row, "id": row_id})
        return row_id

    def _seal(self, table: sa.Table, row: dict[str, Cell]) -> None:
        link = seal(self.last_link(), table.name, row)
        self.connection.execute(
            t.chain.insert().values(
                seq=link.seq,
                table_name=link.table_name,
                row_id=link.row_id,
                previous_hash=link.previous_hash,
                hash=link.hash,
            )
        )
        self._head = link

    def last_link(self) -> Link | None:
        """Return the end of the chain, None in an empty book."""
        if self._head is None:
            query = sa.select(t.chain).order_by(t.chain.c.seq.desc()).limit(1)
            row = self.connection.execute(query).mappings().first()
            self._head = None if row is None else Link(**row)
        return self._head
