"""Sizes entered by hand, machines and stations, repeats, imports, and columns to find by."""

import sqlalchemy as sa
from alembic import op

from records.migrations.insert_only import forbid_changes

revision = "0002"
down_revision = "0001"

_ADDED = (
    ("setup", "machine"),
    ("setup", "station"),
    ("setup", "again_of_uid"),
    ("instrument_snapshot", "name"),
)
_INDEXED = (("setup", "guide"), ("setup", "at_utc"), ("instrument_snapshot", "name"))


def upgrade() -> None:
    for table, column in _ADDED:
        op.add_column(table, sa.Column(column, sa.Text, nullable=True))
    for table, column in _INDEXED:
        op.create_index(f"ix_{table}_{column}", table, [column])
    _size()
    _imported()
    for table in ("size", "imported"):
        forbid_changes(table)


def downgrade() -> None:
    msg = "a book never goes back to an older format: open the backup instead"
    raise NotImplementedError(msg)


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False)


def _size() -> None:
    op.create_table(
        "size",
        sa.Column("id", sa.Integer),
        sa.Column("setup_id", sa.Integer, nullable=False),
        _text("key"),
        _text("label"),
        sa.Column("value", sa.Float, nullable=False),
        _text("unit"),
        _text("tool"),
        _text("at_utc"),
        sa.PrimaryKeyConstraint("id", name="pk_size"),
        sa.ForeignKeyConstraint(["setup_id"], ["setup.id"], name="fk_size_setup_id"),
    )
    op.create_index("ix_size_setup_id", "size", ["setup_id"])


def _imported() -> None:
    op.create_table(
        "imported",
        sa.Column("id", sa.Integer),
        sa.Column("job_id", sa.Integer, nullable=False),
        _text("book_uid"),
        _text("archive_sha256"),
        sa.Column("setups", sa.Integer, nullable=False),
        _text("program_version"),
        _text("at_utc"),
        sa.PrimaryKeyConstraint("id", name="pk_imported"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_imported_job_id"),
    )
    op.create_index("ix_imported_job_id", "imported", ["job_id"])
