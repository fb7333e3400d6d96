"""Triggers that keep records from being changed or removed (SQLite)."""

from alembic import op


def forbid_changes(table_name: str) -> None:
    """Make UPDATE and DELETE on `table_name` fail.

    With `PRAGMA recursive_triggers` on, as the writer sets it, INSERT OR REPLACE
    fails as well.
    """
    for verb in ("update", "delete"):
        op.execute(
            f"CREATE TRIGGER {table_name}_no_{verb} BEFORE {verb.upper()} ON {table_name} "
            f"BEGIN SELECT RAISE(ABORT, '{table_name} is insert only'); END"
        )
