"""The plans of jobs as the book keeps them; of several plans of a job the last one counts."""

from dataclasses import dataclass

import msgspec
import sqlalchemy as sa

from readings import BadInputError
from records import tables as t
from records.errors import BookDamagedError
from setups.jobs import JobPlan


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A plan that counts: its number in the book, when it was kept, and what it says."""

    id: int
    at_utc: str
    plan: JobPlan


def newest_plans(connection: sa.Connection) -> list[KeptPlan]:
    """Return the plan that counts of every job that has one, the last changed first."""
    newest = sa.select(sa.func.max(t.plan.c.id)).group_by(t.plan.c.job_id)
    query = sa.select(t.plan).where(t.plan.c.id.in_(newest)).order_by(t.plan.c.id.desc())
    return [_kept(row) for row in connection.execute(query).mappings()]


def plan_of(connection: sa.Connection, job: str) -> KeptPlan | None:
    """Return the plan of a job that counts, None where it has none."""
    of_job = sa.select(t.plan).join(t.job, t.job.c.id == t.plan.c.job_id)
    query = of_job.where(t.job.c.name == job).order_by(t.plan.c.id.desc()).limit(1)
    row = connection.execute(query).mappings().first()
    return None if row is None else _kept(row)


def require_plan(connection: sa.Connection, job: str) -> KeptPlan:
    """Return the plan of a job.

    Raises
    ------
    BadInputError
        If the job has none.
    """
    kept = plan_of(connection, job)
    if kept is not None:
        return kept
    known = ", ".join(repr(one.plan.job) for one in newest_plans(connection)) or "none yet"
    msg = f"There is no plan of a job {job!r}; there are: {known}. `sparehand job new` makes one."
    raise BadInputError(msg)


def _kept(row: sa.RowMapping) -> KeptPlan:
    try:
        plan = msgspec.json.decode(row["body"], type=JobPlan)
    except msgspec.MsgspecError as error:
        msg = (
            f"Record {row['id']} of plan is damaged ({error}): "
            "run `sparehand records check` and return to a copy from the backups folder."
        )
        raise BookDamagedError(msg) from error
    return KeptPlan(row["id"], row["at_utc"], plan)
