"""`records again` and `supersede`: a setup begun anew for the next part, or in another's place."""

import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from readings import BadInputError, ServiceError
from records import Book, BookReader
from records.plain import Json
from records.reader import require_book
from stream.client import Client
from stream.desk import supersede_order, superseded_words
from ui.job_orders import planned_again, sizes_given
from ui.output import put_json

_LAST_NUMBER = re.compile(r"(\d+)(?!.*\d)")


def begin_again(home: Path, setup_id: int, part: str | None, *, as_json: bool) -> tuple[int, str]:
    """Have the running service begin setup `setup_id` once more, on another part.

    Returns the new setup's number and its part.

    Raises
    ------
    BadInputError
        If there is no such setup, the next part cannot be told, or the service refuses.
    ServiceError
        If no service runs.
    """
    with BookReader.open(home) as reader:
        setup = reader.show_setup(setup_id, with_samples=False)
        order = next_order(reader, setup) if part is None else order_of(setup, part)
    with Client(home) as client:
        answer = client.command("begin", **order)
    if not answer.ok:
        raise BadInputError(answer.said)
    if as_json:
        put_json({"setup": answer.body, "part": order["part"], "again_of": setup_id})
    return int(answer.body), order["part"]


def supersede(home: Path, setup_id: int, by_id: int, reason: str) -> str:
    """Have a later setup count in place of a closed one; return the sentence that says so.

    The running service writes it, or this process where none runs.

    Raises
    ------
    BadInputError
        If a setup is not there, the first is open or superseded, or the second is not later.
    BookError
        If the book cannot be written.
    """
    order = {"setup": setup_id, "by": by_id, "reason": reason}
    supersede_order(order)
    require_book(home)
    try:
        with Client(home) as client:
            answer = client.command("supersede", **order)
    except ServiceError:
        return _supersede_here(home, setup_id, by_id, reason)
    if not answer.ok:
        raise BadInputError(answer.said)
    return answer.said


def _supersede_here(home: Path, setup_id: int, by_id: int, reason: str) -> str:
    from ui.service_process import program_version  # late: the dashboard needs no service

    with Book.open(home, program_version=program_version(), now=lambda: datetime.now(UTC)) as book:
        book.supersede(setup_id, by_id, reason)
    return superseded_words(setup_id, by_id)


def next_order(reader: BookReader, setup: Json) -> dict[str, Any]:
    """Return the order that begins a kept setup anew on the next part.

    Which part that is the job's plan says, or, where none holds the setup, its number.

    Raises
    ------
    BadInputError
        If the plan says that something else is next, or the part carries no number.
    """
    return planned_again(reader, setup) or order_of(setup, None)


def order_of(setup: Json, part: str | None) -> dict[str, Any]:
    """Return the order that begins a kept setup anew on `part`; None: the next by number.

    Sizes are those that a person gave last.

    Raises
    ------
    BadInputError
        If no part is named and the old one carries no number.
    """
    settings = setup["settings"]
    order = {
        "guide": setup["guide"],
        "job": setup["job"],
        "part": next_part(setup["part"]) if part is None else part,
        "operation": setup["operation"],
        "tolerance_mm": setup["tolerance_mm"],
        "tolerance_source": setup["tolerance_source"],
        "machine": setup["machine"],
        "diameter_mm": settings.get("diameter_mm"),
        "datum": settings.get("datum"),
        "sizes": sizes_given(setup) or None,
        "again_of": setup["id"],
    }
    return {name: value for name, value in order.items() if value is not None}


def next_part(part: str) -> str:
    """Return the name with its last number counted on by one.

    >>> next_part("Gear-case end 1, left"), next_part("End 09")
    ('Gear-case end 2, left', 'End 10')

    Raises
    ------
    BadInputError
        If the name holds no number.
    """
    found = _LAST_NUMBER.search(part)
    if found is None:
        msg = f"The part {part!r} carries no number to count on: name the next one with --part."
        raise BadInputError(msg)
    digits = found.group()
    counted = str(int(digits) + 1).zfill(len(digits))
    return part[: found.start()] + counted + part[found.end() :]
