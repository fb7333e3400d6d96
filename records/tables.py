"""The tables of the book, as of `FORMAT`.

Everything but `session_state` is insert only: what changes is a new row. Times
are text in UTC (`records.plain.utc_text`), JSON is text, booleans are 0 or 1;
nothing here belongs to one database alone. A change here needs a migration in
`records/migrations/versions/`; see `records.chain` for what may never change.
"""

from typing import Any

import sqlalchemy as sa

FORMAT = "0003"
"""The newest migration's revision; a test compares it with the migrations."""

APPLICATION_ID = 0x53706864
"""SQLite's application_id of a book: "Sphd"."""

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


_Kind = sa.Text | sa.Integer | sa.Float[float] | sa.LargeBinary


def _table(name: str, *items: sa.Column[Any] | sa.Constraint) -> sa.Table:
    return sa.Table(name, metadata, sa.Column("id", sa.Integer, primary_key=True), *items)


def _col(
    name: str, kind: type[_Kind], *, null: bool = False, index: bool = False
) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=null, index=index)


def _ref(target: str, name: str = "", *, null: bool = False, index: bool = True) -> sa.Column[Any]:
    """Refer to `target`; `index` is False where a unique constraint begins with the column."""
    column = name or f"{target}_id"
    return sa.Column(column, sa.ForeignKey(f"{target}.id"), nullable=null, index=index)


def _one_of(column: str, *words: str) -> sa.CheckConstraint:
    listed = ", ".join(f"'{word}'" for word in words)
    return sa.CheckConstraint(f"{column} IN ({listed})", name=column)


book = _table(
    "book",
    _col("uid", sa.Text),
    _col("program_version", sa.Text),
    _col("at_utc", sa.Text),
)
"""The book itself: the first record of the chain."""

job = _table("job", _col("name", sa.Text), _col("at_utc", sa.Text), sa.UniqueConstraint("name"))

part = _table(
    "part",
    _ref("job", index=False),
    _col("name", sa.Text),
    _col("at_utc", sa.Text),
    sa.UniqueConstraint("job_id", "name"),
)

operation = _table(
    "operation",
    _ref("part", index=False),
    _col("name", sa.Text),
    _col("at_utc", sa.Text),
    sa.UniqueConstraint("part_id", "name"),
)

setup = _table(
    "setup",
    _col("uid", sa.Text),
    _ref("part"),
    _ref("operation", null=True),
    _col("guide", sa.Text, index=True),
    _col("title", sa.Text),
    _col("tolerance_mm", sa.Float, null=True),
    _col("tolerance_source", sa.Text, null=True),
    _col("settings", sa.Text),
    _col("program_version", sa.Text),
    _col("at_utc", sa.Text, index=True),
    _col("machine", sa.Text, null=True),
    _col("station", sa.Text, null=True),
    _col("again_of_uid", sa.Text, null=True),
    sa.UniqueConstraint("uid"),
)
"""`station` names the home whose service works at the setup, where several share one book;
`again_of_uid` the setup that this one repeats on another part."""

setup_event = _table(
    "setup_event",
    _ref("setup"),
    _col("state", sa.Text),
    _col("verdict", sa.Text, null=True),
    _col("body", sa.Text),
    _col("at_utc", sa.Text),
    _one_of("state", "resumed", "finished", "abandoned"),
)
"""`verdict` repeats the word of the body's "verdict", for finding."""

superseded_by = _table(
    "superseded_by",
    _ref("setup", index=False),
    _ref("setup", "by_setup_id"),
    _col("reason", sa.Text),
    _col("at_utc", sa.Text),
    sa.UniqueConstraint("setup_id"),
)

instrument_snapshot = _table(
    "instrument_snapshot",
    _ref("setup"),
    _col("kind", sa.Text),
    _col("body", sa.Text),
    _col("at_utc", sa.Text),
    _col("name", sa.Text, null=True, index=True),
)
"""`name` repeats the body's "name", for finding; a book of format 0001 did not keep it apart."""

size = _table(
    "size",
    _ref("setup"),
    _col("key", sa.Text),
    _col("label", sa.Text),
    _col("value", sa.Float),
    _col("unit", sa.Text),
    _col("tool", sa.Text),
    _col("at_utc", sa.Text),
)
"""A size that a person took by hand and entered; of two with one key the later one counts."""

sweep = _table(
    "sweep",
    _ref("setup"),
    _col("purpose", sa.Text),
    _col("kind", sa.Text),
    _col("sense", sa.Text, null=True),
    _col("settings", sa.Text),
    _col("at_utc", sa.Text),
    _one_of("kind", "turn", "stops"),
    _one_of("sense", "clockwise", "anticlockwise"),
)

samples = _table(
    "samples",
    _ref("sweep", index=False),
    _col("batch_no", sa.Integer),
    _col("count", sa.Integer),
    _col("blob", sa.LargeBinary),
    sa.UniqueConstraint("sweep_id", "batch_no"),
)
"""One row a batch; `records.packing` says what the blob holds."""

sweep_end = _table(
    "sweep_end",
    _ref("sweep", index=False),
    _col("state", sa.Text),
    _col("refused", sa.Integer),
    _col("flags", sa.Text),
    _col("at_utc", sa.Text),
    _one_of("state", "complete", "incomplete", "void"),
    sa.UniqueConstraint("sweep_id"),
)

result = _table(
    "result",
    _ref("setup"),
    _ref("sweep", null=True),
    _col("kind", sa.Text),
    _col("schema_version", sa.Integer),
    _col("body", sa.Text),
    _col("at_utc", sa.Text),
)

tick = _table(
    "tick",
    _ref("setup"),
    _col("list_name", sa.Text),
    _col("line_id", sa.Text),
    _col("who", sa.Text),
    _col("ticked", sa.Integer),
    _col("at_utc", sa.Text),
    sa.CheckConstraint("ticked IN (0, 1)", name="ticked"),
)

photo = _table(
    "photo",
    _ref("setup"),
    _ref("sweep", null=True),
    _col("sha256", sa.Text),
    _col("size_bytes", sa.Integer),
    _col("kind", sa.Text),
    _col("caption", sa.Text),
    _col("meta", sa.Text),
    _col("at_utc", sa.Text),
    _one_of("kind", "raw", "annotated"),
)

imported = _table(
    "imported",
    _ref("job"),
    _col("book_uid", sa.Text),
    _col("archive_sha256", sa.Text),
    _col("setups", sa.Integer),
    _col("program_version", sa.Text),
    _col("at_utc", sa.Text),
)
"""Setups of a job that came from another book: which one, and out of which archive."""

plan = _table(
    "plan",
    _ref("job"),
    _col("body", sa.Text),
    _col("at_utc", sa.Text),
)
"""A job's parts and operations in order; of several plans of a job the last one counts."""

LAPSED = "lapsed"
"""Who took a tick back, where nobody did: it lapsed."""

RECORDS: dict[str, sa.Table] = {
    str(table.name): table
    for table in (
        book,
        job,
        part,
        operation,
        setup,
        setup_event,
        superseded_by,
        instrument_snapshot,
        sweep,
        samples,
        sweep_end,
        result,
        tick,
        photo,
        size,
        imported,
        plan,
    )
}
"""The tables whose rows are records: insert only, each row sealed in the chain."""

chain = sa.Table(
    "chain",
    metadata,
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
    _col("table_name", sa.Text),
    _col("row_id", sa.Integer),
    _col("previous_hash", sa.Text),
    _col("hash", sa.Text),
    sa.UniqueConstraint("table_name", "row_id"),
)

session_state = sa.Table(
    "session_state",
    metadata,
    sa.Column("key", sa.Text, primary_key=True),
    _col("state", sa.LargeBinary),
    _col("sha256", sa.Text),
    _col("at_utc", sa.Text),
)
"""Scratch, not record: what a live session needs after a restart. It may be overwritten."""
