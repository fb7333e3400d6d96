"""Is a book on a server made as this program makes it? Columns, and what forbids changes."""

from collections.abc import Iterator

import sqlalchemy as sa

from records import tables as t

_TRIGGERS = """
SELECT tgname FROM pg_trigger WHERE tgrelid = CAST(:name AS regclass)
AND NOT tgisinternal AND tgenabled IN ('O', 'A')
"""
_VERBS = ("update", "delete", "truncate")


def odd_definitions(connection: sa.Connection) -> Iterator[str]:
    """Yield the name of each table or trigger that is not as this program makes it."""
    look = sa.inspect(connection)
    for name, table in t.metadata.tables.items():
        if not look.has_table(name):
            yield name
            continue
        if {column["name"] for column in look.get_columns(name)} != set(table.c.keys()):
            yield name
        if table is not t.session_state:
            found = set(connection.scalars(sa.text(_TRIGGERS), {"name": name}))
            yield from sorted({f"{name}_no_{verb}" for verb in _VERBS} - found)
