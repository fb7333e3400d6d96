"""What the writer and the readers both ask of an open book."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import Any, Literal

import sqlalchemy as sa

from records import tables as t
from records.plain import to_json_text

SetupState = Literal["open", "finished", "abandoned"]
SweepState = Literal["open", "complete", "incomplete", "void"]

CLOSING = ("finished", "abandoned")
"""States of `setup_event` after which nothing more is added to a setup."""


@dataclass(frozen=True, slots=True)
class SetupLine:
    """One setup as a line of the book, in the order of `_setup_select`; times are text in UTC."""

    id: int
    job: str
    part: str
    operation: str | None
    guide: str
    title: str
    tolerance_mm: float | None
    began_utc: str
    ended_utc: str | None
    state: SetupState
    verdict: str | None
    superseded_by: int | None
    sweeps: int
    photos: int
    machine: str | None = None


@dataclass(frozen=True, slots=True)
class OpenSweep:
    """A sweep that was begun and not ended; `batches` is also the next batch's number."""

    id: int
    setup_id: int
    purpose: str
    batches: int
    samples: int


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which setups to list, the newest first; None leaves a field free.

    `before_id` goes on where an earlier list ended. `since` and `until` are days or moments
    in UTC as ISO 8601 text, both included. `instrument` is its name.
    """

    limit: int = 50
    before_id: int | None = None
    job: str | None = None
    part: str | None = None
    guide: str | None = None
    state: SetupState | None = None
    verdict: str | None = None
    operation: str | None = None
    machine: str | None = None
    station: str | None = None
    instrument: str | None = None
    since: str | None = None
    until: str | None = None


_ENDING = t.setup_event.alias("ending")
_STATE = sa.func.coalesce(_ENDING.c.state, "open")


def _count(table: sa.Table) -> sa.ScalarSelect[Any]:
    count = sa.select(sa.func.count()).select_from(table)
    return count.where(table.c.setup_id == t.setup.c.id).correlate(t.setup).scalar_subquery()


@cache
def _setup_select() -> sa.Select[Any]:
    whole = (
        t.setup.join(t.part, t.part.c.id == t.setup.c.part_id)
        .join(t.job, t.job.c.id == t.part.c.job_id)
        .outerjoin(t.operation, t.operation.c.id == t.setup.c.operation_id)
        .outerjoin(_ENDING, (_ENDING.c.setup_id == t.setup.c.id) & _ENDING.c.state.in_(CLOSING))
        .outerjoin(t.superseded_by, t.superseded_by.c.setup_id == t.setup.c.id)
    )
    return sa.select(
        t.setup.c.id,
        t.job.c.name.label("job"),
        t.part.c.name.label("part"),
        t.operation.c.name.label("operation"),
        t.setup.c.guide,
        t.setup.c.title,
        t.setup.c.tolerance_mm,
        t.setup.c.at_utc.label("began_utc"),
        _ENDING.c.at_utc.label("ended_utc"),
        _STATE.label("state"),
        _ENDING.c.verdict,
        t.superseded_by.c.by_setup_id.label("superseded_by"),
        _count(t.sweep).label("sweeps"),
        _count(t.photo).label("photos"),
        t.setup.c.machine,
    ).select_from(whole)


@cache
def _one_setup_select() -> sa.Select[Any]:
    return _setup_select().where(t.setup.c.id == sa.bindparam("key"))


def setup_lines(connection: sa.Connection, wanted: Wanted) -> list[SetupLine]:
    """Return the setups that `wanted` asks for."""
    query = _setup_select().order_by(t.setup.c.id.desc()).limit(wanted.limit)
    filters = {
        t.job.c.name: wanted.job,
        t.part.c.name: wanted.part,
        t.setup.c.guide: wanted.guide,
        _ENDING.c.verdict: wanted.verdict,
        t.operation.c.name: wanted.operation,
        t.setup.c.machine: wanted.machine,
        t.setup.c.station: wanted.station,
        _STATE: wanted.state,
    }
    for column, value in filters.items():
        if value is not None:
            query = query.where(column == value)
    for condition in _bounds(wanted):
        query = query.where(condition)
    return [SetupLine(*row) for row in connection.execute(query)]


def _bounds(wanted: Wanted) -> Iterator[sa.ColumnElement[bool]]:
    if wanted.before_id is not None:
        yield t.setup.c.id < wanted.before_id
    if wanted.since is not None:
        yield t.setup.c.at_utc >= wanted.since
    if wanted.until is not None:
        yield _up_to(wanted.until)
    if wanted.instrument is not None:
        yield sa.exists().where(
            t.instrument_snapshot.c.setup_id == t.setup.c.id, _is_named(wanted.instrument)
        )


def _up_to(until: str) -> sa.ColumnElement[bool]:
    """Match moments up to a day, all of it included, or up to a moment."""
    try:
        following = date.fromisoformat(until) + timedelta(days=1)
    except ValueError:
        return t.setup.c.at_utc <= until
    return t.setup.c.at_utc < following.isoformat()


def _is_named(name: str) -> sa.ColumnElement[bool]:
    """Match an instrument's name, also where format 0001 kept it in the body alone."""
    column, body = t.instrument_snapshot.c.name, t.instrument_snapshot.c.body
    within = f'"name":{to_json_text(name)}'
    return (column == name) | (column.is_(None) & body.contains(within, autoescape=True))


def setup_line(connection: sa.Connection, setup_id: int) -> SetupLine | None:
    """Return one setup's line, None where there is no such setup."""
    row = connection.execute(_one_setup_select(), {"key": setup_id}).first()
    return None if row is None else SetupLine(*row)


def setup_state(connection: sa.Connection, setup_id: int) -> SetupState | None:
    """Return one setup's state, None where there is no such setup."""
    ending = (_ENDING.c.setup_id == t.setup.c.id) & _ENDING.c.state.in_(CLOSING)
    query = sa.select(_STATE).select_from(t.setup.outerjoin(_ENDING, ending))
    state: SetupState | None = connection.scalar(query.where(t.setup.c.id == setup_id))
    return state


def neighbours(connection: sa.Connection, setup_id: int) -> tuple[int | None, int | None]:
    """Return the setups before and after one, None where there is none."""
    before = sa.select(sa.func.max(t.setup.c.id)).where(t.setup.c.id < setup_id)
    after = sa.select(sa.func.min(t.setup.c.id)).where(t.setup.c.id > setup_id)
    return connection.scalar(before), connection.scalar(after)


def last_photos(connection: sa.Connection, setup_ids: Sequence[int]) -> dict[int, str]:
    """Return the hash of the newest photo of each setup that has one."""
    newest = (
        sa.select(sa.func.max(t.photo.c.id))
        .where(t.photo.c.setup_id.in_(setup_ids))
        .group_by(t.photo.c.setup_id)
    )
    query = sa.select(t.photo.c.setup_id, t.photo.c.sha256).where(t.photo.c.id.in_(newest))
    return {int(row.setup_id): str(row.sha256) for row in connection.execute(query)}


def setup_of_sweep(connection: sa.Connection, sweep_id: int) -> int | None:
    """Return the setup a sweep belongs to, None where there is no such sweep."""
    found: int | None = connection.scalar(
        sa.select(t.sweep.c.setup_id).where(t.sweep.c.id == sweep_id)
    )
    return found


def open_sweeps(
    connection: sa.Connection, setup_id: int | None = None, station: str | None = None
) -> list[OpenSweep]:
    """Return the sweeps (of one setup, of one station, or of all) that were not ended."""
    whole = t.sweep.outerjoin(t.samples).outerjoin(
        t.sweep_end, t.sweep_end.c.sweep_id == t.sweep.c.id
    )
    query = (
        sa.select(
            t.sweep.c.id,
            t.sweep.c.setup_id,
            t.sweep.c.purpose,
            sa.func.count(t.samples.c.id).label("batches"),
            sa.func.coalesce(sa.func.sum(t.samples.c.count), 0).label("samples"),
        )
        .select_from(whole)
        .where(t.sweep_end.c.id.is_(None))
        .group_by(t.sweep.c.id, t.sweep.c.setup_id, t.sweep.c.purpose)
        .order_by(t.sweep.c.id)
    )
    if setup_id is not None:
        query = query.where(t.sweep.c.setup_id == setup_id)
    if station is not None:
        query = query.join(t.setup, t.setup.c.id == t.sweep.c.setup_id).where(
            t.setup.c.station == station
        )
    return [OpenSweep(**row) for row in connection.execute(query).mappings()]
