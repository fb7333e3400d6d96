"""What a result says, as plain quantities: one road for tables, reports, exports and trends."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

import msgspec

from setups import Found, Measured

Json = Mapping[str, Any]
_Kind = TypeVar("_Kind")

_UNITS = {
    "_mm": "mm",
    "_deg": "deg",
    "_rad": "rad",
    "_px": "px",
    "_s": "s",
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """One number of a result; `u` is its standard uncertainty (k = 1), None where not told."""

    key: str
    label: str
    value: float
    unit: str
    u: float | None = None


def found_of(result: Json) -> Found | None:
    """Return the numbers of a pair of turns, None for other results and other forms of them."""
    return _converted(result, "found", Found)


def measured_of(result: Json) -> Measured | None:
    """Return what a round of a guide other than centring found, None for other results."""
    return _converted(result, "measured", Measured)


def _converted(result: Json, key: str, kind: type[_Kind]) -> _Kind | None:
    try:
        return msgspec.convert(result["body"][key], kind)
    except (KeyError, TypeError, msgspec.ValidationError):
        return None


def quantities_of(result: Json) -> tuple[Quantity, ...]:
    """Return the quantities of a kept result (a row of `result`, its body decoded)."""
    if (found := found_of(result)) is not None:
        return tuple(_of_found(found))
    if (measured := measured_of(result)) is not None:
        return tuple(Quantity(n.key, n.label, n.value, n.unit, n.u) for n in measured.numbers)
    body = result["body"]
    return tuple(_of_body(body)) if isinstance(body, Mapping) else ()


def _of_found(found: Found) -> Iterator[Quantity]:
    yield Quantity(
        "eccentricity", "off centre", found.eccentricity_mm, "mm", found.u_eccentricity_mm
    )
    yield Quantity("offset_x", "work from spindle along X", found.offset_x_mm, "mm", found.u_x_mm)
    yield Quantity("offset_y", "work from spindle along Y", found.offset_y_mm, "mm", found.u_y_mm)
    yield Quantity("tir", "runout of the fitted curve (TIR)", found.tir_mm, "mm")
    yield Quantity("sideways", "one turn against the other", found.sideways_mm, "mm")
    if found.ovality_mm is not None:
        yield Quantity("ovality", "out of round, two lobes", found.ovality_mm, "mm")
    if found.return_mm is not None:
        yield Quantity("return", "where a turn overlaps itself", found.return_mm, "mm")
    if found.u_dial_mm is not None:
        yield Quantity("u_dial", "the dial's own standard uncertainty", found.u_dial_mm, "mm")


def _of_body(body: Json) -> Iterator[Quantity]:
    """Read numbers by their names, which carry units, each with its own ``u_`` beside it."""
    for name, value in body.items():
        unit = next((unit for end, unit in _UNITS.items() if name.endswith(end)), None)
        if unit is None or name.startswith("u_") or not _is_number(value):
            continue
        u = body.get(f"u_{name}")
        key = name.rsplit("_", 1)[0]
        label = key.replace("_", " ")
        yield Quantity(key, label, float(value), unit, u if isinstance(u, int | float) else None)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def verdict_of(result: Json) -> str | None:
    """Return the verdict of a result, None where it has none."""
    found = found_of(result) or measured_of(result)
    return None if found is None else found.verdict


def budget_of(result: Json) -> tuple[tuple[str, float], ...]:
    """Return the budget of what was judged, as (contribution, u in mm, k = 1)."""
    if (measured := measured_of(result)) is not None:
        return measured.budget
    body = result["body"]
    lines = body.get("centring", body).get("budget", ()) if isinstance(body, Mapping) else ()
    return tuple((line["name"], float(line["u_mm"])) for line in lines if _is_line(line))


def _is_line(line: object) -> bool:
    return isinstance(line, Mapping) and "name" in line and _is_number(line.get("u_mm"))
