"""Triggers that keep records from being changed or removed (SQLite and PostgreSQL)."""

from alembic import op

_REFUSE = """
CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger AS $$
BEGIN RAISE EXCEPTION '% is insert only', TG_TABLE_NAME; END $$ LANGUAGE plpgsql
"""


def forbid_changes(table_name: str) -> None:
    """Make UPDATE and DELETE on `table_name` fail.

    With `PRAGMA recursive_triggers` on, as the writer sets it, INSERT OR REPLACE
    fails as well. PostgreSQL's TRUNCATE is refused too.
    """
    if op.get_bind().dialect.name == "postgresql":
        _forbid_on_postgresql(table_name)
        return
    for verb in ("update", "delete"):
        op.execute(
            f"CREATE TRIGGER {table_name}_no_{verb} BEFORE {verb.upper()} ON {table_name} "
            f"BEGIN SELECT RAISE(ABORT, '{table_name} is insert only'); END"
        )


def _forbid_on_postgresql(table_name: str) -> None:
    op.execute(_REFUSE)
    for verb, each in (("update", "ROW"), ("delete", "ROW"), ("truncate", "STATEMENT")):
        op.execute(
            f"CREATE TRIGGER {table_name}_no_{verb} BEFORE {verb.upper()} ON {table_name} "
            f"FOR EACH {each} EXECUTE FUNCTION refuse_change()"
        )
