"""How a machine changes over months: tram, spindle runout, and what locking its slides moves."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from math import hypot, sqrt
from typing import Any, Literal

import numpy as np
import sqlalchemy as sa

from records import tables as t
from records.plain import Json, from_json_text
from records.quantities import Quantity, found_of, quantities_of
from setups import Found

TrendKey = Literal["tram_x", "tram_y", "runout", "lock_x", "lock_y"]

TREND_LABELS: dict[TrendKey, str] = {
    "tram_x": "head leans to the right",
    "tram_y": "head leans to the back",
    "runout": "spindle runout at the nose (TIR)",
    "lock_x": "locking moves the work along X",
    "lock_y": "locking moves the work along Y",
}

_MEASURED: dict[str, dict[str, TrendKey]] = {
    "tram": {"lean_x": "tram_x", "lean_y": "tram_y"},
    "tram-stops": {"lean_x": "tram_x", "lean_y": "tram_y"},
    "bar": {"tir_near": "runout"},
}
"""By the result's kind and the quantity's key."""

_DAYS_A_MONTH = 30.4375
_LEAST_POINTS = 3
"""A line through two points says nothing of how sure it is."""


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """One value on one day; `u` is k = 1."""

    key: TrendKey
    setup_id: int
    machine: str | None
    at_utc: str
    value: float
    unit: str
    u: float | None


@dataclass(frozen=True, slots=True)
class TrendLine:
    """A straight line through the points of one key: how much it changes a month, k = 1."""

    key: TrendKey
    points: int
    unit: str
    per_month: float
    u_per_month: float


def trend_points(connection: sa.Connection, machine: str | None) -> list[TrendPoint]:
    """Return the points of a machine (None: of all), the oldest first.

    Only setups that were finished and not superseded count, and of each the machine as it
    was found: the first round, before anything was put right.
    """
    points: dict[tuple[int, TrendKey], TrendPoint] = {}
    before: dict[int, Found] = {}
    for row in _results(connection, machine):
        result = {"kind": row["kind"], "body": from_json_text(row["body"])}
        point = partial(TrendPoint, setup_id=row["setup_id"], machine=row["machine"])
        if row["kind"] == "centring":
            told = _of_lock(point, row, found_of(result), before)
        else:
            told = _of_measured(point, row, quantities_of(result))
        for one in told:
            points.setdefault((one.setup_id, one.key), one)
    return list(points.values())


def _results(connection: sa.Connection, machine: str | None) -> Iterator[Any]:
    finished = (t.setup_event.c.setup_id == t.setup.c.id) & (t.setup_event.c.state == "finished")
    query = (
        sa.select(
            t.result.c.setup_id, t.result.c.kind, t.result.c.body, t.result.c.at_utc,
            t.setup.c.machine,
        )
        .join(t.setup, t.setup.c.id == t.result.c.setup_id)
        .join(t.setup_event, finished)
        .outerjoin(t.superseded_by, t.superseded_by.c.setup_id == t.setup.c.id)
        .where(t.superseded_by.c.id.is_(None), t.result.c.kind.in_(("centring", *_MEASURED)))
        .order_by(t.result.c.at_utc, t.result.c.id)
    )  # fmt: skip
    if machine is not None:
        query = query.where(t.setup.c.machine == machine)
    yield from connection.execute(query).mappings()


def _of_measured(point: Any, row: Json, found: Sequence[Quantity]) -> Iterator[TrendPoint]:  # noqa: ANN401 - a partial
    keys = _MEASURED[row["kind"]]
    for one in found:
        if one.key in keys:
            yield point(
                key=keys[one.key], at_utc=row["at_utc"], value=one.value, unit=one.unit, u=one.u
            )


def _of_lock(
    point: Any,  # noqa: ANN401 - a partial
    row: Json,
    found: Found | None,
    before: dict[int, Found],
) -> Iterator[TrendPoint]:
    """Yield how far the work went between the last pair unlocked and the first one locked."""
    if found is None:
        return
    loose = before.pop(row["setup_id"], None)
    if not found.locked:
        before[row["setup_id"]] = found
    elif loose is not None:
        moved_x, moved_y = (
            found.offset_x_mm - loose.offset_x_mm,
            found.offset_y_mm - loose.offset_y_mm,
        )
        u_x, u_y = hypot(found.u_x_mm, loose.u_x_mm), hypot(found.u_y_mm, loose.u_y_mm)
        yield point(key="lock_x", at_utc=row["at_utc"], value=moved_x, unit="mm", u=u_x)
        yield point(key="lock_y", at_utc=row["at_utc"], value=moved_y, unit="mm", u=u_y)


def by_key(points: Sequence[TrendPoint]) -> dict[TrendKey, list[TrendPoint]]:
    """Return the points of each key that has any, in the order of `TREND_LABELS`."""
    found = {key: [point for point in points if point.key == key] for key in TREND_LABELS}
    return {key: some for key, some in found.items() if some}


def trend_line(points: Sequence[TrendPoint]) -> TrendLine | None:
    """Return the least-squares line through points of one key, None below three or on one day.

    Its uncertainty is from the points' own scatter about it (n - 2 degrees of freedom).
    """
    if len(points) < _LEAST_POINTS:
        return None
    months = np.array([_days(p.at_utc) for p in points]) / _DAYS_A_MONTH
    values = np.array([p.value for p in points])
    centred = months - months.mean()
    spread = float(centred @ centred)
    if not spread > 0.0:
        return None
    slope = float(centred @ values) / spread
    rest = values - values.mean() - slope * centred
    u = sqrt(float(rest @ rest) / (len(points) - 2) / spread)
    return TrendLine(points[0].key, len(points), points[0].unit, slope, u)


def _days(at_utc: str) -> float:
    return datetime.fromisoformat(at_utc).timestamp() / 86_400.0
