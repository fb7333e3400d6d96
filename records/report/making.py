"""From the book to a report: which setups belong to it, and both its forms."""

from dataclasses import dataclass, replace

import sqlalchemy as sa

from readings import BadInputError
from records import show
from records import tables as t
from records.plain import Json, minute
from records.queries import CLOSING, Wanted
from records.reader import BookReader
from records.report.content import setup_report
from records.report.html import overview_html, setup_html
from records.report.overview import Overview, batch_overview, part_overview
from records.report.pdf import overview_pdf, setup_pdf

_EVERY = 1_000_000


@dataclass(frozen=True, slots=True)
class Report:
    """A report in both its forms, and what it is about in a few words."""

    about: str
    pdf: bytes
    html: str


def report_of_setup(reader: BookReader, setup_id: int, *, made_utc: str) -> Report:
    """Return the report of one setup, two pages.

    Raises
    ------
    BadInputError
        If there is no such setup.
    """
    setup, seal = _whole(reader, setup_id)
    report = setup_report(setup, seal=seal)
    sealed = f" · sealed {seal[:16]}" if seal else ""
    foot = f"Setup {report.id}, {report.uid}{sealed} · {_made(made_utc)}"
    return Report(f"setup {setup_id}", setup_pdf(report, foot), setup_html(report, foot))


def report_of_part(reader: BookReader, job: str, part: str, *, made_utc: str) -> Report:
    """Return the report of a part: its setups in a list, then each that counts.

    Raises
    ------
    BadInputError
        If the book has no setup of such a part.
    """
    setups = _setups(reader, Wanted(limit=_EVERY, job=job, part=part), f"part {part!r} of {job!r}")
    overview = part_overview(job, part, [setup for setup, _ in setups])
    seals = {setup["id"]: seal for setup, seal in setups}
    sealed = tuple(replace(report, seal=seals[report.id]) for report in overview.setups)
    return _overview(replace(overview, setups=sealed), f"part {part}", made_utc)


def report_of_batch(reader: BookReader, job: str, *, made_utc: str) -> Report:
    """Return the report of a job: its parts side by side.

    Raises
    ------
    BadInputError
        If the book has no setup of such a job.
    """
    setups = _setups(reader, Wanted(limit=_EVERY, job=job), f"job {job!r}")
    return _overview(batch_overview(job, [setup for setup, _ in setups]), f"job {job}", made_utc)


def _overview(overview: Overview, about: str, made_utc: str) -> Report:
    foot = f"{overview.title} · {_made(made_utc)}"
    return Report(about, overview_pdf(overview, foot), overview_html(overview, foot))


def _made(made_utc: str) -> str:
    return f"report made {minute(made_utc)}"


def _setups(reader: BookReader, wanted: Wanted, what: str) -> list[tuple[Json, str]]:
    """Return setups, the oldest first, each with its seal."""
    lines = reader.list_setups(wanted=wanted)
    if not lines:
        msg = f"The book has no setup of the {what}: `sparehand records list` shows what there is."
        raise BadInputError(msg)
    return [_whole(reader, line.id) for line in reversed(lines)]


def _whole(reader: BookReader, setup_id: int) -> tuple[Json, str]:
    with reader.reading() as connection:
        setup = show.setup_in_full(connection, reader.home, setup_id, with_samples=True)
        return setup, _seal(connection, setup)


def _seal(connection: sa.Connection, setup: Json) -> str:
    """Return the hash that seals the setup's end in the chain, "" while it is open."""
    ends = [event["id"] for event in setup["events"] if event["state"] in CLOSING]
    if not ends:
        return ""
    query = sa.select(t.chain.c.hash).filter_by(table_name=t.setup_event.name, row_id=ends[-1])
    return connection.scalar(query) or ""
