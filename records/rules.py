"""What may be added to the book, and when: each rule raises the sentence a person reads."""

import sqlalchemy as sa

from readings import BadInputError, BookError
from records import queries
from records import tables as t
from records.errors import BookFinishedError


def unknown(what: str, row_id: int) -> BadInputError:
    """Return the error for a record that is not there."""
    return BadInputError(
        f"There is no {what} {row_id} in the book: `sparehand records list` shows what there is."
    )


def require_record(connection: sa.Connection, table: sa.Table, row_id: int) -> None:
    """Refuse a reference to a record that is not there."""
    if connection.scalar(sa.select(table.c.id).where(table.c.id == row_id)) is None:
        raise unknown(table.name, row_id)


def uid_of_setup(connection: sa.Connection, setup_id: int | None) -> str | None:
    """Return the name that tells a setup apart world-wide; None is none and allowed."""
    if setup_id is None:
        return None
    require_record(connection, t.setup, setup_id)
    uid: str | None = connection.scalar(sa.select(t.setup.c.uid).where(t.setup.c.id == setup_id))
    return uid


def require_open_setup(connection: sa.Connection, setup_id: int) -> None:
    """Refuse to add to a setup that was finished or abandoned."""
    state = queries.setup_state(connection, setup_id)
    if state is None:
        raise unknown("setup", setup_id)
    if state != "open":
        msg = f"Setup {setup_id} is {state} and never changed: begin a new one that supersedes it."
        raise BookFinishedError(msg)


def require_tickable(connection: sa.Connection, setup_id: int, list_name: str) -> None:
    """Refuse a tick where the setup is closed, save of the list that comes after its finish."""
    if queries.setup_state(connection, setup_id) == "finished":
        from setups import BEFORE_POWER  # late: readers of the book need no mathematics

        if list_name == BEFORE_POWER.key:
            return
    require_open_setup(connection, setup_id)


def require_no_open_sweep(connection: sa.Connection, setup_id: int) -> None:
    """Refuse to finish a setup while one of its sweeps runs."""
    if still := queries.open_sweeps(connection, setup_id):
        msg = f"Sweep {still[0].id} of setup {setup_id} was not ended: end it first."
        raise BookError(msg)


def require_own_sweep(connection: sa.Connection, setup_id: int, sweep_id: int | None) -> None:
    """Refuse a sweep of another setup; None is none and allowed."""
    if sweep_id is None:
        return
    if queries.setup_of_sweep(connection, sweep_id) != setup_id:
        msg = f"Sweep {sweep_id} is none of setup {setup_id}: give one of its own."
        raise BadInputError(msg)


def require_open_sweep(connection: sa.Connection, sweep_id: int) -> int:
    """Refuse to add to a sweep that has ended; return the number of its next batch."""
    require_record(connection, t.sweep, sweep_id)
    ended = sa.select(t.sweep_end.c.state).where(t.sweep_end.c.sweep_id == sweep_id)
    if (state := connection.scalar(ended)) is not None:
        msg = f"Sweep {sweep_id} has ended as {state}: begin a new one."
        raise BookFinishedError(msg)
    last = sa.select(sa.func.max(t.samples.c.batch_no)).where(t.samples.c.sweep_id == sweep_id)
    newest: int | None = connection.scalar(last)
    return 0 if newest is None else newest + 1


def is_repeated(connection: sa.Connection, sweep_id: int, batch_no: int, blob: bytes) -> bool:
    """Whether just this batch is in the book.

    Raises
    ------
    BookError
        If another batch has its number, or one before it is missing.
    BadInputError, BookFinishedError
        If there is no such sweep, or a new batch comes after its end.
    """
    query = sa.select(t.samples.c.blob).filter_by(sweep_id=sweep_id, batch_no=batch_no)
    if (kept := connection.scalar(query)) is not None:
        if kept == blob:
            return True
        msg = (
            f"Batch {batch_no} of sweep {sweep_id} is in the book with other samples: "
            "nothing is overwritten; begin a new sweep."
        )
        raise BookError(msg)
    next_batch = require_open_sweep(connection, sweep_id)
    if batch_no == next_batch:
        return False
    msg = f"Batch {batch_no} of sweep {sweep_id} came out of turn: send batch {next_batch} first."
    raise BookError(msg)


def require_newest_plan(
    connection: sa.Connection, job_id: int, job: str, after: int | None
) -> None:
    """Refuse to change a plan of a job that another one has followed meanwhile."""
    newest = sa.select(sa.func.max(t.plan.c.id)).where(t.plan.c.job_id == job_id)
    if connection.scalar(newest) == after:
        return
    if after is None:
        msg = f"Job {job!r} has a plan already: add to it, or give the new job another name."
    else:
        msg = f"The plan of job {job!r} was changed meanwhile: look at it, then change it again."
    raise BadInputError(msg)


def require_supersedable(connection: sa.Connection, setup_id: int, by_setup_id: int) -> None:
    """Refuse to supersede what is open, was superseded before, or is the later one."""
    require_record(connection, t.setup, by_setup_id)
    line = queries.setup_line(connection, setup_id)
    if line is None:
        raise unknown("setup", setup_id)
    if line.state == "open":
        msg = f"Setup {setup_id} is still open: finish or abandon it first."
        raise BadInputError(msg)
    if line.superseded_by is not None:
        msg = f"Setup {setup_id} was superseded by setup {line.superseded_by} already."
        raise BadInputError(msg)
    by_line = queries.setup_line(connection, by_setup_id)
    if by_line is None or by_line.job != line.job:
        msg = f"Setup {by_setup_id} belongs to another job than setup {setup_id}: name one of it."
        raise BadInputError(msg)
    if by_setup_id <= setup_id:
        msg = f"Setup {by_setup_id} is not later than {setup_id}: only a later one supersedes."
        raise BadInputError(msg)
