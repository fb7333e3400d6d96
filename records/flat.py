"""A job's setups as rows of the tables of `records.columns`, and rows as CSV and JSON Lines."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from records.columns import TABLES, names
from records.plain import Json, to_json_text
from records.quantities import budget_of, quantities_of, verdict_of
from setups import CHECKLISTS
from setups.checklists import Checklist, ShopLine, list_of

Row = dict[str, Any]

_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet takes for the beginning of a formula."""


def rows_of(setup: Json, table: str) -> Iterator[Row]:
    """Yield a setup's rows of a table, its records numbered as in `setup`.

    `setup` is as `BookReader.show_setup` returns it, with samples where those are asked for.
    """
    yield from _MAKERS[table](setup)


def _setups(setup: Json) -> Iterator[Row]:
    same = (
        "uid", "part", "operation", "guide", "title", "machine", "tolerance_mm",
        "tolerance_source", "ended_utc", "state", "verdict", "superseded_by", "again_of_uid",
        "program_version",
    )  # fmt: skip
    yield {
        "setup": setup["id"],
        "begun_utc": setup["began_utc"],
        **{name: setup[name] for name in same},
    }


def _sweeps(setup: Json) -> Iterator[Row]:
    for sweep in setup["sweeps"]:
        same = ("purpose", "kind", "sense", "state", "ended_utc", "refused")
        yield {
            "setup": setup["id"],
            "sweep": sweep["id"],
            "begun_utc": sweep["began_utc"],
            "samples": sweep["count"],
            "flags": ";".join(sweep["flags"]),
            **{name: sweep[name] for name in same},
        }


def theta_rad(sweep: Json) -> NDArray[np.float64] | None:
    """Return the stylus' angles of a kept sweep, None where its zero is not known.

    `sweep` is as `BookReader.show_setup` returns it, with samples.
    """
    settings = sweep["settings"]
    angle = np.asarray(sweep["samples"]["angle_rad"], dtype=np.float64)
    if settings.get("angle") != "collar":
        return angle
    zero, sense = settings.get("collar_zero_rad"), settings.get("collar_sense")
    if zero is None or sense is None:
        return None
    return np.asarray(sense * (angle - zero))


def _samples(setup: Json) -> Iterator[Row]:
    for sweep in setup["sweeps"]:
        columns = sweep["samples"]
        theta = theta_rad(sweep)
        in_deg = {
            "angle_deg": np.degrees(columns["angle_rad"]).tolist(),
            "sigma_angle_deg": np.degrees(columns["sigma_angle_rad"]).tolist(),
            "theta_deg": [None] * sweep["count"] if theta is None else np.degrees(theta).tolist(),
        }
        for n in range(sweep["count"]):
            yield {
                "setup": setup["id"],
                "sweep": sweep["id"],
                "n": n,
                **{name: columns[name][n] for name in ("t_s", "value_mm", "sigma_mm")},
                **{name: values[n] for name, values in in_deg.items()},
            }


def _results(setup: Json) -> Iterator[Row]:
    for result in setup["results"]:
        for one in quantities_of(result):
            yield {
                "setup": setup["id"],
                "sweep": result["sweep_id"],
                "result": result["id"],
                "kind": result["kind"],
                "at_utc": result["at_utc"],
                "quantity": one.key,
                "label": one.label,
                "value": one.value,
                "unit": one.unit,
                "u": one.u,
                "verdict": verdict_of(result),
            }


def _budgets(setup: Json) -> Iterator[Row]:
    for result in setup["results"]:
        for name, u_mm in budget_of(result):
            yield {
                "setup": setup["id"],
                "result": result["id"],
                "contribution": name,
                "u_mm": u_mm,
            }


def _sizes(setup: Json) -> Iterator[Row]:
    for size in setup["sizes"]:
        same = ("key", "label", "value", "unit", "tool", "at_utc")
        yield {"setup": setup["id"], **{name: size[name] for name in same}}


def checklists_of(setup: Json) -> tuple[Checklist, ...]:
    """Return the checklists of a setup, the shop's own lines of that time at their ends."""
    shop = [ShopLine(*pair) for pair in setup["settings"].get("shop_lines", ())]
    return tuple(list_of(key, shop) for key in CHECKLISTS)


def _checklists(setup: Json) -> Iterator[Row]:
    """Yield touches; a line that this version does not know is told by its key."""
    known = {(lst.key, line.key): line.text for lst in checklists_of(setup) for line in lst.lines}
    for tick in setup["ticks"]:
        yield {
            "setup": setup["id"],
            "list": tick["list_name"],
            "line": tick["line_id"],
            "text": known.get((tick["list_name"], tick["line_id"]), tick["line_id"]),
            "who": tick["who"],
            "ticked": int(tick["ticked"]),
            "at_utc": tick["at_utc"],
        }


def _instruments(setup: Json) -> Iterator[Row]:
    for one in setup["instruments"]:
        yield {
            "setup": setup["id"],
            "kind": one["kind"],
            "name": one["name"] or one["body"].get("name"),
            "known": to_json_text(one["body"]),
            "at_utc": one["at_utc"],
        }


def photo_file(sha256: str) -> str:
    """Return a photo's path within an archive."""
    return f"photos/{sha256}.jpg"


def _photos(setup: Json) -> Iterator[Row]:
    for photo in setup["photos"]:
        same = ("kind", "caption", "size_bytes", "at_utc")
        yield {
            "setup": setup["id"],
            "sweep": photo["sweep_id"],
            "file": photo_file(photo["sha256"]),
            **{name: photo[name] for name in same},
        }


_MAKERS = {
    "setups": _setups,
    "sweeps": _sweeps,
    "samples": _samples,
    "results": _results,
    "budgets": _budgets,
    "sizes": _sizes,
    "checklists": _checklists,
    "instruments": _instruments,
    "photos": _photos,
}
assert _MAKERS.keys() == TABLES.keys()


def csv_lines(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """Yield a CSV table (RFC 4180, UTF-8, a header line) line by line; None is an empty cell.

    Text that a spreadsheet would run as a formula gets an apostrophe before it.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(columns)
    for row in rows:
        yield _taken(buffer)
        writer.writerow([_csv_cell(row.get(name)) for name in columns])
    yield _taken(buffer)


def _taken(buffer: io.StringIO) -> str:
    text = buffer.getvalue()
    buffer.seek(0)
    buffer.truncate()
    return text


def _csv_cell(value: object) -> object:
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, str) and value.startswith(_FORMULA):
        return f"'{value}"
    return value


def json_lines(table: str, rows: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """Yield rows as JSON Lines, each with every column of the table in its order."""
    for row in rows:
        yield to_json_text({name: row.get(name) for name in names(table)}) + "\n"
