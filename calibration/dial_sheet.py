"""The owner's sheet of a dial: `dial.json` and its teaching photos' clicks."""

import json
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.dials import Numbering
from readings import BadInputError, LengthUnit

Float = NDArray[np.float64]

CLICKS = ("zero", "quarter", "half", "three_quarters", "pivot")
_KEYS = (
    "unit",
    "graduation",
    "marks_per_turn",
    "numbering",
    "clockwise",
    "scale_outer_diameter_mm",
    "needle_height_mm",
    "teach",
)
_MARKS = (20, 400)
_NEAR_CLICKS_PX = 10.0
"""Clicked marks nearer together than this cannot be quarters of a scale that can be read."""
LARGEST = 1e4
"""Nothing about a dial is larger, in whatever unit."""
_COUNTER_TURNS = range(2, 61)
_MOST_TURNS = 100
"""Whole turns that a reading may hold on a dial that counts them."""


@dataclass(frozen=True, slots=True, eq=False)
class TeachingPhoto:
    """One photo with what the owner read and clicked."""

    file: Path
    reading_divisions: float
    marks_px: Float | None
    """(4, 2): outer ends of the zero, quarter, half and three-quarter marks, rising.

    None where the owner clicked nothing: zero is then found by the reading.
    """
    pivot_px: Float | None


@dataclass(frozen=True, slots=True, eq=False)
class DialSheet:
    """What an owner types when teaching a dial."""

    unit: LengthUnit
    graduation: float
    marks_per_turn: int
    numbering: Numbering
    clockwise: bool
    has_turns_counter: bool
    scale_outer_diameter_mm: float
    needle_height_mm: float
    travel_mm: tuple[float, float] | None
    counter_turns: int | None
    """Turns of the needle for one turn of the counter's hand, where the owner said."""
    counter_clockwise: bool | None
    """Whether a rising reading turns the counter's hand clockwise, where the owner said."""
    photos: tuple[TeachingPhoto, ...]


def _no_number(word: str) -> float:
    msg = f"{word} is no number"
    raise ValueError(msg)


def _read_json(path: Path) -> dict[str, Any]:
    try:
        data = json.loads(path.read_text(encoding="utf-8"), parse_constant=_no_number)
    except FileNotFoundError as error:
        msg = f"There is no {path.name} in {path.parent}: a dial is taught from a folder with one."
        raise BadInputError(msg) from error
    except (OSError, ValueError) as error:
        msg = f"{path} cannot be read as JSON ({error}): write it again."
        raise BadInputError(msg) from error
    if not isinstance(data, dict):
        msg = f"{path} must hold one JSON object with {', '.join(_KEYS)}."
        raise BadInputError(msg)
    missing = [key for key in _KEYS if key not in data]
    if missing:
        msg = f"{path} lacks {', '.join(missing)}: a dial's sheet needs {', '.join(_KEYS)}."
        raise BadInputError(msg)
    return data


def _clicks(entry: dict[str, Any]) -> dict[str, Float] | None:
    if entry.get("clicks_px") is None:
        return None
    clicks = {name: np.array(entry["clicks_px"][name], dtype=np.float64) for name in CLICKS}
    if any(c.shape != (2,) or not np.all(np.isfinite(c)) for c in clicks.values()):
        raise ValueError("a click is not two numbers")
    marks = np.array([clicks[name] for name in CLICKS[:4]])
    apart = np.linalg.norm(marks[:, None] - marks[None], axis=2)[np.triu_indices(4, 1)]
    if apart.min() < _NEAR_CLICKS_PX:
        raise ValueError(f"two clicked marks lie within {_NEAR_CLICKS_PX:g} pixels")
    return clicks


def _reading(entry: dict[str, Any], most: float) -> float:
    reading = entry["reading_divisions"]
    if isinstance(reading, bool) or not isinstance(reading, int | float):
        raise TypeError(f"reading_divisions is {reading!r}, no number")
    if not (isfinite(reading) and abs(reading) <= most):
        raise ValueError(f"reading_divisions is {reading:g}, it can be {-most:g} to {most:g}")
    return float(reading)


def _photo(folder: Path, entry: Any, most: float) -> TeachingPhoto:  # noqa: ANN401 - from JSON
    try:
        file, reading = folder / str(entry["file"]), _reading(entry, most)
        clicks = _clicks(entry)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        msg = (
            f"A teaching photo in {folder / 'dial.json'} cannot be used ({error}): each needs "
            "file and reading_divisions, and either no clicks_px or all of "
            f"{', '.join(CLICKS)}."
        )
        raise BadInputError(msg) from error
    if clicks is None:
        return TeachingPhoto(file, reading, None, None)
    marks = np.array([clicks[name] for name in CLICKS[:4]])
    return TeachingPhoto(file, reading, marks, clicks["pivot"])


def _chosen(data: dict[str, Any], key: str, allowed: tuple[Any, ...]) -> Any:  # noqa: ANN401
    if not any(type(data[key]) is type(each) and data[key] == each for each in allowed):
        choice = " or ".join(str(a) for a in allowed)
        msg = f"{key} is {data[key]!r} in dial.json: it must be {choice}."
        raise BadInputError(msg)
    return data[key]


def _positive(data: dict[str, Any], key: str) -> float:
    value = data[key]
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not 0 < value <= LARGEST:
        msg = f"{key} is {value!r} in dial.json: it must be a number above zero, to {LARGEST:g}."
        raise BadInputError(msg)
    return float(value)


def _travel(data: dict[str, Any]) -> tuple[float, float] | None:
    travel = data.get("travel_mm")
    if travel is None:
        return None
    numbers = isinstance(travel, list) and all(
        isinstance(each, int | float) and not isinstance(each, bool) for each in travel
    )
    if not numbers or len(travel) != 2 or not all(abs(each) <= LARGEST for each in travel):
        msg = f"travel_mm is {travel!r} in dial.json: it must be two numbers, lowest and highest."
        raise BadInputError(msg)
    low, high = float(travel[0]), float(travel[1])
    if not low < high:
        msg = f"travel_mm is {travel!r} in dial.json: the lowest must come first."
        raise BadInputError(msg)
    return low, high


def _counter_turns(data: dict[str, Any]) -> int | None:
    turns = data.get("counter_turns")
    if turns is not None and (isinstance(turns, bool) or turns not in _COUNTER_TURNS):
        msg = (
            f"counter_turns is {turns!r} in dial.json: it must be a whole number from "
            f"{_COUNTER_TURNS.start} to {_COUNTER_TURNS.stop - 1}, the needle's turns for one "
            "turn of the counter's hand."
        )
        raise BadInputError(msg)
    return None if turns is None else int(turns)


def _flag(data: dict[str, Any], key: str) -> bool | None:
    """Return a key that may be left out: true, false, or None where it is."""
    return None if data.get(key) is None else bool(_chosen(data, key, (True, False)))


def read_sheet(folder: Path) -> DialSheet:
    """Read and check `dial.json` in a dial's folder.

    Raises
    ------
    BadInputError
        If the file is missing or unreadable, lacks a key or holds a value out of range.
    """
    path = folder / "dial.json"
    data = _read_json(path)
    marks = _positive(data, "marks_per_turn")
    if marks != int(marks) or not _MARKS[0] <= marks <= _MARKS[1]:
        msg = f"marks_per_turn is {marks:g} in {path}: a whole number from 20 to 400 is needed."
        raise BadInputError(msg)
    if not isinstance(data["teach"], list) or not data["teach"]:
        msg = f"{path} names no teaching photo: teach needs one or more."
        raise BadInputError(msg)
    counts = bool(_flag(data, "has_turns_counter"))
    most = marks * (_MOST_TURNS if counts else 1)
    return DialSheet(
        _chosen(data, "unit", ("mm", "in")),
        _positive(data, "graduation"),
        int(marks),
        _chosen(data, "numbering", ("continuous", "balanced")),
        bool(_chosen(data, "clockwise", (True, False))),
        counts,
        _positive(data, "scale_outer_diameter_mm"),
        _positive(data, "needle_height_mm"),
        _travel(data),
        _counter_turns(data),
        _flag(data, "counter_clockwise"),
        tuple(_photo(folder, entry, most) for entry in data["teach"]),
    )
