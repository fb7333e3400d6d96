r"""The chain of hashes: every record is sealed with its predecessor's hash.

Canonical form of a record, hashed with SHA-256 as UTF-8 text: a JSON object
with the keys ``previous`` (the hash before, 64 zeros for the first), ``row``
(the record's columns with ``id``), ``seq`` (1, 2, 3, ...) and ``table``; keys
sorted, no blanks, ASCII with ``\u`` escapes; numbers as Python's shortest
repr; a blob as ``{"sha256": hex of the blob}``. A column that is NULL is left
out, so that a column added by a later version does not change an older hash;
columns are therefore never renamed, dropped or filled in afterwards.

A chain shows what was changed, taken out or slipped in. It cannot show that its
newest records were cut off whole, unless the last hash was noted elsewhere.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from records.plain import Cell

GENESIS = "0" * 64
"""What the first record has as its predecessor's hash."""


@dataclass(frozen=True, slots=True)
class Link:
    """One link: the seal of the record number `row_id` of `table_name`."""

    seq: int
    table_name: str
    row_id: int
    previous_hash: str
    hash: str


def canonical(seq: int, table_name: str, row: Mapping[str, Cell], previous_hash: str) -> bytes:
    """Return the bytes that are hashed for a record.

    >>> canonical(1, "job", {"id": 1, "name": "paddles", "note": None}, "00")
    b'{"previous":"00","row":{"id":1,"name":"paddles"},"seq":1,"table":"job"}'
    """
    cells = {name: _hashable(value) for name, value in row.items() if value is not None}
    record: dict[str, Any] = {
        "previous": previous_hash,
        "row": cells,
        "seq": seq,
        "table": table_name,
    }
    return json.dumps(record, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()


def _hashable(value: Cell) -> object:
    if isinstance(value, bytes):
        return {"sha256": hashlib.sha256(value).hexdigest()}
    return value


def record_hash(seq: int, table_name: str, row: Mapping[str, Cell], previous_hash: str) -> str:
    """Return the hash of a record in its place of the chain, 64 hexadecimal digits.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    return hashlib.sha256(canonical(seq, table_name, row, previous_hash)).hexdigest()


def seal(head: Link | None, table_name: str, row: Mapping[str, Cell]) -> Link:
    """Return the link of a new record after `head` (None: the book is empty)."""
    seq, previous = (1, GENESIS) if head is None else (head.seq + 1, head.hash)
    row_id = row["id"]
    assert isinstance(row_id, int)
    return Link(seq, table_name, row_id, previous, record_hash(seq, table_name, row, previous))
