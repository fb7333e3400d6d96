"""Plans of jobs: parts in a batch, operations in order."""

import sqlalchemy as sa
from alembic import op

from records.migrations.insert_only import forbid_changes

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "plan",
        sa.Column("id", sa.Integer),
        sa.Column("job_id", sa.Integer, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("at_utc", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_plan"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_plan_job_id"),
    )
    op.create_index("ix_plan_job_id", "plan", ["job_id"])
    forbid_changes("plan")


def downgrade() -> None:
    msg = "a book never goes back to an older format: open the backup instead"
    raise NotImplementedError(msg)
