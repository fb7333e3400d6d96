"""The first book: jobs to photos, the chain, and the session's scratch."""

from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa
from alembic import op

from records.migrations.insert_only import forbid_changes

revision = "0001"
down_revision = None

_Table = tuple[str, tuple[Any, ...]]
_NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "pk": "pk_%(table_name)s",
}
_INSERT_ONLY = (
    "book",
    "job",
    "part",
    "operation",
    "setup",
    "setup_event",
    "superseded_by",
    "instrument_snapshot",
    "sweep",
    "samples",
    "sweep_end",
    "result",
    "tick",
    "photo",
    "chain",
)


def upgrade() -> None:
    metadata = sa.MetaData(naming_convention=_NAMES)
    for name, items in _tables():
        sa.Table(name, metadata, *items)
    metadata.create_all(op.get_bind())
    for name in _INSERT_ONLY:
        forbid_changes(name)


def downgrade() -> None:
    msg = "a book never goes back to an older format: open the backup instead"
    raise NotImplementedError(msg)


def _id() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, primary_key=True)


def _text(name: str, null: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=null)


def _int(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, nullable=False)


def _ref(
    target: str, name: str | None = None, null: bool = False, index: bool = True
) -> sa.Column[Any]:
    key = sa.ForeignKey(f"{target}.id")
    return sa.Column(name or f"{target}_id", key, nullable=null, index=index)


def _check(column: str, allowed: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(f"{column} IN ({allowed})", name=column)


def _tables() -> Iterator[_Table]:
    yield "book", (_id(), _text("uid"), _text("program_version"), _text("at_utc"))
    yield "job", (_id(), _text("name"), _text("at_utc"), sa.UniqueConstraint("name"))
    yield (
        "part",
        (
            _id(),
            _ref("job", index=False),
            _text("name"),
            _text("at_utc"),
            sa.UniqueConstraint("job_id", "name"),
        ),
    )
    yield (
        "operation",
        (
            _id(),
            _ref("part", index=False),
            _text("name"),
            _text("at_utc"),
            sa.UniqueConstraint("part_id", "name"),
        ),
    )
    yield from _setup_tables()
    yield from _sweep_tables()
    yield from _finding_tables()
    yield (
        "chain",
        (
            sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
            _text("table_name"),
            _int("row_id"),
            _text("previous_hash"),
            _text("hash"),
            sa.UniqueConstraint("table_name", "row_id"),
        ),
    )
    yield (
        "session_state",
        (
            sa.Column("key", sa.Text, primary_key=True),
            sa.Column("state", sa.LargeBinary, nullable=False),
            _text("sha256"),
            _text("at_utc"),
        ),
    )


def _setup_tables() -> Iterator[_Table]:
    yield (
        "setup",
        (
            _id(),
            _text("uid"),
            _ref("part"),
            _ref("operation", null=True),
            _text("guide"),
            _text("title"),
            sa.Column("tolerance_mm", sa.Float, nullable=True),
            _text("tolerance_source", null=True),
            _text("settings"),
            _text("program_version"),
            _text("at_utc"),
            sa.UniqueConstraint("uid"),
        ),
    )
    yield (
        "setup_event",
        (
            _id(),
            _ref("setup"),
            _text("state"),
            _text("verdict", null=True),
            _text("body"),
            _text("at_utc"),
            _check("state", "'resumed', 'finished', 'abandoned'"),
        ),
    )
    yield (
        "superseded_by",
        (
            _id(),
            _ref("setup", index=False),
            _ref("setup", "by_setup_id"),
            _text("reason"),
            _text("at_utc"),
            sa.UniqueConstraint("setup_id"),
        ),
    )
    yield (
        "instrument_snapshot",
        (
            _id(),
            _ref("setup"),
            _text("kind"),
            _text("body"),
            _text("at_utc"),
        ),
    )


def _sweep_tables() -> Iterator[_Table]:
    yield (
        "sweep",
        (
            _id(),
            _ref("setup"),
            _text("purpose"),
            _text("kind"),
            _text("sense", null=True),
            _text("settings"),
            _text("at_utc"),
            _check("kind", "'turn', 'stops'"),
            _check("sense", "'clockwise', 'anticlockwise'"),
        ),
    )
    yield (
        "samples",
        (
            _id(),
            _ref("sweep", index=False),
            _int("batch_no"),
            _int("count"),
            sa.Column("blob", sa.LargeBinary, nullable=False),
            sa.UniqueConstraint("sweep_id", "batch_no"),
        ),
    )
    yield (
        "sweep_end",
        (
            _id(),
            _ref("sweep", index=False),
            _text("state"),
            _int("refused"),
            _text("flags"),
            _text("at_utc"),
            _check("state", "'complete', 'incomplete', 'void'"),
            sa.UniqueConstraint("sweep_id"),
        ),
    )


def _finding_tables() -> Iterator[_Table]:
    yield (
        "result",
        (
            _id(),
            _ref("setup"),
            _ref("sweep", null=True),
            _text("kind"),
            _int("schema_version"),
            _text("body"),
            _text("at_utc"),
        ),
    )
    yield (
        "tick",
        (
            _id(),
            _ref("setup"),
            _text("list_name"),
            _text("line_id"),
            _text("who"),
            _int("ticked"),
            _text("at_utc"),
            _check("ticked", "0, 1"),
        ),
    )
    yield (
        "photo",
        (
            _id(),
            _ref("setup"),
            _ref("sweep", null=True),
            _text("sha256"),
            _int("size_bytes"),
            _text("kind"),
            _text("caption"),
            _text("meta"),
            _text("at_utc"),
            _check("kind", "'raw', 'annotated'"),
        ),
    )
