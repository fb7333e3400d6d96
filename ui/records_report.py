"""`records report`: a setup, a part or a batch as PDF and as one HTML page."""

import re
from datetime import UTC, datetime
from pathlib import Path

from readings import BadInputError
from records import BookReader, Wanted
from records.plain import utc_text
from ui.output import put_json, tell

_UNFIT_FOR_FILES = re.compile(r"[^\w.-]+")


def file_name(words: str) -> str:
    """Return words as a file's name, without what file systems or shells mind.

    >>> file_name("part Gear-case end 1/2")
    'part-Gear-case-end-1-2'
    """
    return _UNFIT_FOR_FILES.sub("-", words).strip("-.") or "report"


def write_report(
    home: Path,
    setup: int | None,
    job: str | None,
    part: str | None,
    to: Path | None,
    *,
    as_json: bool,
) -> None:
    """Write a report's two files and say where they are.

    Raises
    ------
    BadInputError
        If it is not said what the report is about, or the book has nothing of it.
    BookError
        If there is no book or it cannot be read.
    """
    from records.report.making import report_of_batch, report_of_part, report_of_setup

    if (setup is None) == (job is None and part is None):
        msg = "Say what the report is about: a setup's number, or --part and --job, or --job."
        raise BadInputError(msg)
    made_utc = utc_text(datetime.now(UTC))
    with BookReader.open(home) as reader:
        if setup is not None:
            report = report_of_setup(reader, setup, made_utc=made_utc)
        elif part is not None:
            of_job = _job_of(reader, part) if job is None else job
            report = report_of_part(reader, of_job, part, made_utc=made_utc)
        else:
            assert job is not None
            report = report_of_batch(reader, job, made_utc=made_utc)
    stem = to or Path(file_name(f"report {report.about}"))
    files = (stem.with_name(stem.name + ".pdf"), stem.with_name(stem.name + ".html"))
    _write(files[0], report.pdf)
    _write(files[1], report.html.encode())
    if as_json:
        put_json({"pdf": str(files[0]), "html": str(files[1])})
    else:
        tell(f"Wrote {files[0]} and {files[1]}.")


def _job_of(reader: BookReader, part: str) -> str:
    """Return the one job that has a part of this name."""
    jobs = {line.job for line in reader.list_setups(wanted=Wanted(limit=100_000, part=part))}
    if len(jobs) == 1:
        return jobs.pop()
    if not jobs:
        msg = f"The book has no part {part!r}: `sparehand records list` shows what there is."
        raise BadInputError(msg)
    msg = f"Several jobs have a part {part!r}: name one with --job ({', '.join(sorted(jobs))})."
    raise BadInputError(msg)


def _write(path: Path, content: bytes) -> None:
    try:
        path.write_bytes(content)
    except OSError as error:
        msg = f"{path} cannot be written ({error.strerror}): name another place with --to."
        raise BadInputError(msg) from error
