"""What stands in a column: text, JSON, times in UTC, finite numbers."""

import math
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import msgspec
import numpy as np

from readings import BadInputError

Json = dict[str, Any]
Cell = int | float | str | bytes | None

_ENCODER = msgspec.json.Encoder(
    order="deterministic", enc_hook=lambda value: _plain_from_numpy(value)
)


def _plain_from_numpy(value: object) -> object:
    if isinstance(value, np.generic | np.ndarray):
        return value.tolist()
    msg = f"a {type(value).__name__} cannot stand in the book's JSON"
    raise TypeError(msg)


def to_json_text(body: object) -> str:
    """Return `body` as strict JSON: keys sorted, UTF-8, null for NaN and the infinities.

    Takes plain data, dataclasses, msgspec structs, numpy scalars and arrays.

    >>> to_json_text({"b": float("nan"), "a": 1.5})
    '{"a":1.5,"b":null}'
    """
    return _ENCODER.encode(body).decode()


def from_json_text(text: str) -> object:
    """Return the plain data of a JSON column."""
    return msgspec.json.decode(text)


def to_object_text(body: Mapping[str, Any]) -> str:
    """Return a JSON object's text; refuse anything that is not an object.

    Raises
    ------
    TypeError
        If `body` does not encode as a JSON object.
    """
    text = to_json_text(body)
    if not text.startswith("{"):
        msg = f"the book keeps JSON objects here, not a {type(body).__name__}"
        raise TypeError(msg)
    return text


def utc_text(moment: datetime) -> str:
    """Return a moment as text that sorts by time: ISO 8601, UTC, six decimals of a second.

    Raises
    ------
    ValueError
        If `moment` carries no time zone.

    >>> utc_text(datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC))
    '2026-03-04T05:06:07.000000Z'
    """
    if moment.tzinfo is None:
        msg = f"{moment} carries no time zone; the book keeps UTC"
        raise ValueError(msg)
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%f}Z"


def minute(moment_utc: str | None) -> str:
    """Return a moment of the book to the minute, for a person.

    >>> minute("2026-03-04T05:06:07.000000Z")
    '2026-03-04 05:06 UTC'
    """
    return "" if moment_utc is None else moment_utc[:16].replace("T", " ") + " UTC"


def cell(name: str, value: object) -> Cell:
    """Return `value` as the database will hand it back, so that its hash can be taken now.

    SQLite keeps no negative zero, and no NaN; text must be UTF-8 without NUL
    (PostgreSQL takes no other).

    Raises
    ------
    BadInputError
        If a number is not finite or a text cannot be stored.
    """
    if isinstance(value, str):
        return _text_cell(name, value)
    if isinstance(value, float | np.floating):
        return _float_cell(name, float(value))
    if isinstance(value, bool | int | np.integer):
        return int(value)
    if value is None or isinstance(value, bytes):
        return value
    msg = f"{name}: a {type(value).__name__} cannot stand in a column"
    raise TypeError(msg)


def _float_cell(name: str, value: float) -> float:
    if not math.isfinite(value):
        msg = f"{name} is {value}, and the book keeps finite numbers only: leave it out instead."
        raise BadInputError(msg)
    return value + 0.0


def _text_cell(name: str, value: str) -> str:
    try:
        value.encode()
    except UnicodeEncodeError as error:
        msg = f"{name} holds a character that is no text: type it again."
        raise BadInputError(msg) from error
    if "\x00" in value:
        msg = f"{name} holds a NUL character: type it again."
        raise BadInputError(msg)
    return value


def name_text(what: str, value: str) -> str:
    """Return a name without blanks around it.

    Raises
    ------
    BadInputError
        If nothing is left.
    """
    if stripped := " ".join(value.split()):
        return stripped
    msg = f"The {what} has no name: give it one, so that it can be found again."
    raise BadInputError(msg)
