"""Records written row by row into a new book of SQLite, as they stand elsewhere."""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from records import tables as t
from records.migrate import upgrade_tables

_A_PIECE = 500
Row = Mapping[str, Any]


def write_rows(path: Path, rows: Iterable[tuple[sa.Table, Row]]) -> None:
    """Make a new book of the present format at `path` out of rows with their own numbers.

    Links of the chain are rows too; nothing is sealed anew. Columns that are not given are NULL.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    engine = sa.create_engine(f"sqlite:///{path}")
    try:
        with engine.begin() as connection:
            upgrade_tables(connection)
            for table, row in rows:
                values = {column.name: row.get(column.name) for column in table.c}
                connection.execute(table.insert().values(values))
    finally:
        engine.dispose()


def every_row(connection: sa.Connection) -> Iterator[tuple[sa.Table, Row]]:
    """Yield every record, then every link of the chain, of an open book."""
    for table in (*t.RECORDS.values(), t.chain):
        key = next(iter(table.primary_key))
        last = -1
        while rows := _piece(connection, table, key, last):
            for row in rows:
                yield table, row
            last = rows[-1][key.name]


def _piece(
    connection: sa.Connection, table: sa.Table, key: sa.Column[Any], after: int
) -> list[Row]:
    query = sa.select(table).where(key > after).order_by(key).limit(_A_PIECE)
    return [dict(row) for row in connection.execute(query).mappings()]
