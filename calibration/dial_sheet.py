"""The owner's sheet of a dial: `dial.json` and its teaching photos' clicks."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeGuard

import numpy as np
from numpy.typing import NDArray

from calibration.dials import Numbering
from readings import BadInputError, LengthUnit, to_mm

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
_GRADUATION = (1e-4, 1.0)
"""What a division of a dial can be, in its unit."""
_DIAMETER_MM = (3.0, 1000.0)
_HEIGHT_SHARE = 0.25
"""A needle stands no higher over its scale than this share of the scale's diameter."""
_TRAVEL_MM = 500.0
_PIVOT_OFF = 0.25
"""How far from the scale's middle a clicked pivot may lie, of the distance to the nearest mark."""
_FARTHEST_CLICK_PX = 1e6
_LONGEST_SHOWN = 60
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
        msg = (
            f"There is no {path.name} in {path.parent}: the dashboard's page First steps teaches "
            "a dial by photo and clicks; here it takes a folder like sample_images/faces/dev1."
        )
        raise BadInputError(msg) from error
    except NotADirectoryError as error:
        msg = f"{path.parent} is a file: give the folder that holds {path.name}."
        raise BadInputError(msg) from error
    except (OSError, ValueError, RecursionError) as error:
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


def _is_number(value: Any) -> TypeGuard[int | float]:  # noqa: ANN401 - from JSON
    return isinstance(value, int | float) and not isinstance(value, bool)


def _shown(value: Any) -> str:  # noqa: ANN401 - from JSON
    """Return a value as it stands in the file, cut where it is long."""
    text = json.dumps(value)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}..."


def _click(clicks: dict[str, Any], name: str) -> Float:
    at: Any = clicks.get(name)
    pair = isinstance(at, list) and len(at) == 2 and all(map(_is_number, at))
    if not pair or not all(abs(each) <= _FARTHEST_CLICK_PX for each in at):
        raise ValueError(f"the click {name} is {_shown(at)}, not two numbers")
    return np.array(at, dtype=np.float64)


def _clicks(entry: dict[str, Any]) -> dict[str, Float] | None:
    told = entry.get("clicks_px")
    if told is None:
        return None
    if not isinstance(told, dict):
        raise ValueError(f"clicks_px is {_shown(told)}")
    clicks = {name: _click(told, name) for name in CLICKS}
    marks = np.array([clicks[name] for name in CLICKS[:4]])
    apart = np.linalg.norm(marks[:, None] - marks[None], axis=2)[np.triu_indices(4, 1)]
    if apart.min() < _NEAR_CLICKS_PX:
        raise ValueError(f"two clicked marks lie within {_NEAR_CLICKS_PX:g} pixels")
    _demand_pivot_within(marks, clicks["pivot"])
    return clicks


def _demand_pivot_within(marks: Float, pivot: Float) -> None:
    """Refuse a pivot far from where the lines of opposite marks cross, as the scale's middle does.

    From any side of a flat scale those lines cross in the picture of its middle.
    """
    zero, quarter, half, three_quarters = marks
    ways = np.stack([half - zero, quarter - three_quarters], axis=1)
    if abs(np.linalg.det(ways)) < 1e-3 * np.linalg.norm(half - zero) * _NEAR_CLICKS_PX:
        raise ValueError("the clicked marks lie on one line")
    middle = zero + np.linalg.solve(ways, quarter - zero)[0] * (half - zero)
    off, nearest = (np.linalg.norm(each - middle, axis=-1).min() for each in (pivot, marks))
    if off > _PIVOT_OFF * nearest:
        raise ValueError(f"the clicked pivot lies {off:.0f} pixels from the middle of the marks")


def _reading(entry: dict[str, Any], most: float) -> float:
    reading = entry.get("reading_divisions")
    if not _is_number(reading):
        raise TypeError(f"reading_divisions is {_shown(reading)}, no number")
    if not -most <= reading <= most:
        words = f"reading_divisions is {_shown(reading)}, it can be {-most:g} to {most:g}"
        raise ValueError(words)
    return float(reading)


def _file(folder: Path, entry: dict[str, Any]) -> Path:
    name = entry.get("file")
    if not isinstance(name, str) or not name.strip():
        raise TypeError(f"file is {_shown(name)}, no file's name")
    return folder / name


def _photo(folder: Path, entry: Any, most: float) -> TeachingPhoto:  # noqa: ANN401 - from JSON
    try:
        if not isinstance(entry, dict):
            raise TypeError(f"it is {_shown(entry)}")
        file, reading, clicks = _file(folder, entry), _reading(entry, most), _clicks(entry)
    except (TypeError, ValueError) as error:
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
        choice = " or ".join(a if isinstance(a, str) else json.dumps(a) for a in allowed)
        msg = f"{key} is {_shown(data[key])} in dial.json: it must be {choice}."
        raise BadInputError(msg)
    return data[key]


def _within(data: dict[str, Any], key: str, low: float, high: float) -> float:
    value = data[key]
    if not _is_number(value) or not low <= value <= high:
        msg = (
            f"{key} is {_shown(value)} in dial.json: it must be a number from {low:g} to {high:g}."
        )
        raise BadInputError(msg)
    return float(value)


def _height(data: dict[str, Any], diameter_mm: float) -> float:
    value = data["needle_height_mm"]
    most = _HEIGHT_SHARE * diameter_mm
    if not _is_number(value) or not 0 < value <= most:
        msg = (
            f"needle_height_mm is {_shown(value)} in dial.json: on a scale {diameter_mm:g} mm "
            f"across it must be above zero, to {most:g}."
        )
        raise BadInputError(msg)
    return float(value)


def _marks(data: dict[str, Any]) -> int:
    value, (low, high) = data["marks_per_turn"], _MARKS
    if not _is_number(value) or not low <= value <= high or value != int(value):
        msg = (
            f"marks_per_turn is {_shown(value)} in dial.json: it must be a whole number from "
            f"{low} to {high}."
        )
        raise BadInputError(msg)
    return int(value)


def _travel(data: dict[str, Any]) -> tuple[float, float] | None:
    travel = data.get("travel_mm")
    if travel is None:
        return None
    pair = isinstance(travel, list) and len(travel) == 2 and all(map(_is_number, travel))
    if not pair or not all(abs(each) <= _TRAVEL_MM for each in travel):
        msg = (
            f"travel_mm is {_shown(travel)} in dial.json: it must be two numbers, lowest and "
            f"highest, from {-_TRAVEL_MM:g} to {_TRAVEL_MM:g}."
        )
        raise BadInputError(msg)
    low, high = float(travel[0]), float(travel[1])
    if not low < high:
        msg = f"travel_mm is {_shown(travel)} in dial.json: the lowest must come first."
        raise BadInputError(msg)
    return low, high


def _demand_division_within(travel_mm: tuple[float, float] | None, division_mm: float) -> None:
    if travel_mm is not None and travel_mm[1] - travel_mm[0] < division_mm:
        msg = (
            f"travel_mm spans {travel_mm[1] - travel_mm[0]:g} mm in dial.json, less than a "
            f"division of {division_mm:g} mm: give the dial's lowest and highest value in mm."
        )
        raise BadInputError(msg)


def _counter_turns(data: dict[str, Any]) -> int | None:
    turns = data.get("counter_turns")
    if turns is not None and (isinstance(turns, bool) or turns not in _COUNTER_TURNS):
        msg = (
            f"counter_turns is {_shown(turns)} in dial.json: it must be a whole number from "
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
    marks = _marks(data)
    if not isinstance(data["teach"], list) or not data["teach"]:
        msg = f"{path} names no teaching photo: teach needs one or more."
        raise BadInputError(msg)
    counts = bool(_flag(data, "has_turns_counter"))
    most = marks * (_MOST_TURNS if counts else 1)
    unit, graduation = (
        _chosen(data, "unit", ("mm", "in")),
        _within(data, "graduation", *_GRADUATION),
    )
    travel_mm, diameter_mm = _travel(data), _within(data, "scale_outer_diameter_mm", *_DIAMETER_MM)
    _demand_division_within(travel_mm, to_mm(graduation, unit))
    return DialSheet(
        unit,
        graduation,
        marks,
        _chosen(data, "numbering", ("continuous", "balanced")),
        bool(_chosen(data, "clockwise", (True, False))),
        counts,
        diameter_mm,
        _height(data, diameter_mm),
        travel_mm,
        _counter_turns(data),
        _flag(data, "counter_clockwise"),
        tuple(_photo(folder, entry, most) for entry in data["teach"]),
    )
