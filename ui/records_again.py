"""`records again`: the setup of one part, begun in the same way for the next."""

import re
from pathlib import Path
from typing import Any

from readings import BadInputError
from records import BookReader
from records.plain import Json
from stream.client import Client
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
        order = order_of(reader.show_setup(setup_id, with_samples=False), part)
    with Client(home) as client:
        answer = client.command("begin", **order)
    if not answer.ok:
        raise BadInputError(answer.said)
    if as_json:
        put_json({"setup": answer.body, "part": order["part"], "again_of": setup_id})
    return int(answer.body), order["part"]


def order_of(setup: Json, part: str | None) -> dict[str, Any]:
    """Return the order that begins a kept setup anew on `part`; None: the next by number.

    Sizes are those that a person gave last.

    Raises
    ------
    BadInputError
        If no part is named and the old one carries no number.
    """
    settings = setup["settings"]
    sizes = {**settings.get("sizes", {}), **{s["key"]: s["value"] for s in setup["sizes"]}}
    order = {
        "guide": setup["guide"],
        "job": setup["job"],
        "part": next_part(setup["part"]) if part is None else part,
        "operation": setup["operation"],
        "tolerance_mm": setup["tolerance_mm"],
        "tolerance_source": setup["tolerance_source"],
        "machine": setup["machine"],
        "diameter_mm": settings.get("diameter_mm"),
        "sizes": sizes or None,
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
