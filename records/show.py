"""One setup with everything that belongs to it, as plain data."""

from functools import cache
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from readings import Sweep, frozen_array
from records import tables as t
from records.errors import BookDamagedError
from records.packing import COLUMNS, unpack
from records.photos import photo_path
from records.plain import Json, from_json_text
from records.queries import setup_line
from records.rules import unknown

_OF_SWEEP = t.samples.c.sweep_id == sa.bindparam("key")
_COUNT = sa.select(sa.func.coalesce(sa.func.sum(t.samples.c.count), 0)).where(_OF_SWEEP)
_BATCHES = (
    sa.select(t.samples.c.blob, t.samples.c.count).where(_OF_SWEEP).order_by(t.samples.c.batch_no)
)
_JSON_COLUMNS = ("body", "settings", "meta", "flags")


def setup_in_full(
    connection: sa.Connection, home: Path, setup_id: int, *, with_samples: bool
) -> Json:
    """Return a setup with its instruments, sweeps, results, ticks, photos and events."""
    line = setup_line(connection, setup_id)
    row = _rows(connection, t.setup, id=setup_id)
    if line is None or not row:
        raise unknown("setup", setup_id)
    events = _rows(connection, t.setup_event, setup_id=setup_id)
    photos = _rows(connection, t.photo, setup_id=setup_id)
    del row[0]["at_utc"]  # the line calls it began_utc
    return {
        **row[0],
        **msgspec.to_builtins(line),
        "supersedes": _superseded(connection, setup_id),
        "events": events,
        "instruments": _rows(connection, t.instrument_snapshot, setup_id=setup_id),
        "sizes": _rows(connection, t.size, setup_id=setup_id),
        "sweeps": _sweeps(connection, setup_id, with_samples),
        "results": _rows(connection, t.result, setup_id=setup_id),
        "ticks": [
            {**tick, "ticked": bool(tick["ticked"])}
            for tick in _rows(connection, t.tick, setup_id=setup_id)
        ],
        "photos": [_with_file(home, photo) for photo in photos],
    }


@cache
def _select(table: sa.Table, column: str) -> sa.Select[Any]:
    """Return the query for the rows of one key; built once, as building outweighs fetching."""
    return sa.select(table).where(table.c[column] == sa.bindparam("key")).order_by(table.c.id)


def _rows(connection: sa.Connection, table: sa.Table, **identity: int) -> list[Json]:
    ((column, key),) = identity.items()
    found = connection.execute(_select(table, column), {"key": key})
    return [_decoded(table, dict(row)) for row in found.mappings()]


def _decoded(table: sa.Table, row: Json) -> Json:
    for name in _JSON_COLUMNS:
        if name in row:
            row[name] = _json(table, row["id"], row[name])
    return row


def _json(table: sa.Table, row_id: int, text: str) -> object:
    try:
        return from_json_text(text)
    except msgspec.DecodeError as error:
        msg = (
            f"Record {row_id} of {table.name} is damaged ({error}): "
            "run `sparehand records check` and go back to a copy from the backups folder."
        )
        raise BookDamagedError(msg) from error


def _superseded(connection: sa.Connection, setup_id: int) -> list[int]:
    rows = _rows(connection, t.superseded_by, by_setup_id=setup_id)
    return [row["setup_id"] for row in rows]


def _with_file(home: Path, photo: Json) -> Json:
    path = photo_path(home, photo["sha256"])
    return {**photo, "path": str(path), "there": path.is_file()}


def _sweeps(connection: sa.Connection, setup_id: int, with_samples: bool) -> list[Json]:
    return [
        _sweep(connection, row, with_samples)
        for row in _rows(connection, t.sweep, setup_id=setup_id)
    ]


def _sweep(connection: sa.Connection, row: Json, with_samples: bool) -> Json:
    sweep = {
        "began_utc": row.pop("at_utc"),
        **row,
        **_ending(connection, row["id"]),
        "count": connection.scalar(_COUNT, {"key": row["id"]}),
    }
    if with_samples:
        table = _table(connection, row["id"])
        sweep["samples"] = dict(zip(COLUMNS, table.tolist(), strict=True))
    return sweep


def _ending(connection: sa.Connection, sweep_id: int) -> Json:
    ends = _rows(connection, t.sweep_end, sweep_id=sweep_id)
    if not ends:
        return {"state": "open", "refused": 0, "flags": [], "ended_utc": None}
    end = ends[0]
    return {
        "state": end["state"],
        "refused": end["refused"],
        "flags": end["flags"],
        "ended_utc": end["at_utc"],
    }


def _table(connection: sa.Connection, sweep_id: int) -> NDArray[np.float64]:
    batches = connection.execute(_BATCHES, {"key": sweep_id}).all()
    empty = np.empty((len(COLUMNS), 0))
    return np.concatenate([empty, *(unpack(blob, count) for blob, count in batches)], axis=1)


def sweep_with_samples(connection: sa.Connection, sweep_id: int) -> Sweep:
    """Return a sweep's samples with what its end said; one that was not ended is "incomplete"."""
    rows = _rows(connection, t.sweep, id=sweep_id)
    if not rows:
        raise unknown("sweep", sweep_id)
    end = _ending(connection, sweep_id)
    flags = tuple(end["flags"])
    if end["state"] in ("open", "incomplete") and "incomplete" not in flags:
        flags = (*flags, "incomplete")
    columns: dict[str, Any] = {
        name: frozen_array(values)
        for name, values in zip(COLUMNS, _table(connection, sweep_id), strict=True)
    }
    return Sweep(
        **columns,
        sense=rows[0]["sense"],
        kind=rows[0]["kind"],
        refused=end["refused"],
        flags=flags,
    )
