"""A record as a line of an archive: JSON, a blob as base64, checked column by column."""

import binascii
from base64 import b64decode, b64encode
from typing import Any

import msgspec
import sqlalchemy as sa

from readings import BadInputError
from records import tables as t
from records.plain import Cell, Json, cell, to_json_text

_KINDS: tuple[tuple[type[Any], type | tuple[type, ...]], ...] = (
    (sa.Integer, int),
    (sa.Float, (int, float)),
    (sa.LargeBinary, str),
    (sa.Text, str),
)


class _Line(msgspec.Struct, forbid_unknown_fields=True):
    table: str
    row: dict[str, Any]


def archived_line(table: str, row: Json) -> str:
    """Return one record as a line; columns without a value are left out."""
    cells = {
        str(name): b64encode(value).decode() if isinstance(value, bytes) else value
        for name, value in row.items()
        if value is not None
    }
    return to_json_text({"table": str(table), "row": cells}) + "\n"


def from_archived_line(line: bytes, number: int) -> tuple[sa.Table, dict[str, Cell]]:
    """Return the table and the row of a line.

    Raises
    ------
    BadInputError
        If it is none, or a column is not of its kind.
    """
    try:
        parsed = msgspec.json.decode(line, type=_Line)
        table = t.RECORDS[parsed.table]
        return table, _row(table, parsed.row)
    except (msgspec.MsgspecError, KeyError, TypeError, binascii.Error, BadInputError) as error:
        msg = f"Line {number} of the archive's records is no record of this program ({error})."
        raise BadInputError(msg) from error


def _row(table: sa.Table, cells: Json) -> dict[str, Cell]:
    if unknown := set(cells) - set(table.c.keys()):
        msg = f"{table.name} has no {min(unknown)}"
        raise BadInputError(msg)
    return {column.name: _cell(column, cells.get(column.name)) for column in table.c}


def _cell(column: sa.Column[Any], value: object) -> Cell:
    if value is None:
        if column.nullable:
            return None
        msg = f"{column.table.name} wants its {column.name}"
        raise BadInputError(msg)
    wanted = next(python for kind, python in _KINDS if isinstance(column.type, kind))
    if isinstance(value, bool) or not isinstance(value, wanted):
        msg = f"{column.name} of {column.table.name} is a {type(value).__name__}"
        raise BadInputError(msg)
    if isinstance(column.type, sa.LargeBinary):
        return b64decode(str(value), validate=True)
    if isinstance(column.type, sa.Float):
        return cell(column.name, float(value))  # type: ignore[arg-type]
    return cell(column.name, value)
