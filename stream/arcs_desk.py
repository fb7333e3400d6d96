"""Checks of what a `leave-out` carries, and the answer to it."""

from collections.abc import Mapping
from math import isfinite
from typing import Any

from readings import BadInputError
from setups import DegArc, arc_words

FARTHEST_DEG = 1e6
LONGEST_WORDS = 300


def arc_order(args: Mapping[str, Any]) -> tuple[DegArc, bool]:
    """Return the arc of a `leave-out` in whole degrees, and whether it is to be left out.

    Raises
    ------
    BadInputError
        If an end is no angle, or both are the same.
    """
    start, end = (_angle(args, name) for name in ("from_deg", "to_deg"))
    out = args.get("out", True)
    if not isinstance(out, bool):
        msg = "out is true to leave the arc out and false to take it back."
        raise BadInputError(msg)
    if start == end:
        msg = f"An arc from {start} to {end} degrees is none: give two different angles."
        raise BadInputError(msg)
    return (start, end), out


def _angle(args: Mapping[str, Any], name: str) -> int:
    value = args.get(name)
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if isinstance(value, int | float) and number and isfinite(value) and abs(value) < FARTHEST_DEG:
        return round(value) % 360
    msg = f"{name} is {value!r}: give degrees, anticlockwise from the right, seen from above."
    raise BadInputError(msg[:LONGEST_WORDS])


def arc_done(arc: DegArc, note: str, *, out: bool) -> str:
    """Return what is said once an arc was left out, or taken back."""
    did = "is left out" if out else "counts again"
    return f"{arc_words(arc)} {did}. {note}".strip()
