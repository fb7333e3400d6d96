"""Dials that were taught: what the owner said, and what was learned from the photos.

A store keeps every version of every dial: teaching a name again adds a version, so old
records keep the dial they were read with. Files are numpy archives without pickles,
written to a temporary name and renamed.
"""

import builtins
import json
import re
import zlib
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Literal
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray

from calibration.counters import TaughtCounter, pack_counter, unpack_counter
from calibration.numbered import numbered, write_whole
from readings import BadInputError, LengthUnit, frozen_array, to_mm

Float = NDArray[np.float64]
Numbering = Literal["continuous", "balanced"]

_FORMAT = 2
_READABLE = (1, 2)
"""Formats that can be read: the first knew no turns counter."""
_SPOILT = (OSError, ValueError, KeyError, TypeError, EOFError, BadZipFile, zlib.error)
"""What numpy raises where a file is no archive of arrays, or only the half of one."""
_NAME = re.compile(r"[A-Za-z0-9]([A-Za-z0-9 ._-]{0,62}[A-Za-z0-9_-])?")


@dataclass(frozen=True, slots=True, eq=False)
class TaughtDial:
    """A dial as its owner described it and as its photos showed it. Lengths in mm.

    Angles of marks count from the zero mark in the rising direction. Arrays are read-only.
    """

    name: str
    version: int
    unit: LengthUnit
    graduation: float
    marks_per_turn: int
    numbering: Numbering
    clockwise: bool
    """A rising reading turns the needle clockwise as seen in the picture."""
    has_turns_counter: bool
    scale_outer_diameter_mm: float
    needle_height_mm: float
    travel_mm: tuple[float, float] | None
    photos: int
    """How many photos it was taught from."""

    mark_sign: float
    """+1 where marks are brighter than the face, -1 where darker."""
    mark_inner_mm: Float
    """(marks_per_turn,) radius of each mark's inner end."""
    mark_half_width_mm: Float
    """(marks_per_turn,)."""
    view: Float
    """(rows, columns) taught look of the ring of numerals, columns along the rising angle."""
    view_radius_mm: Float
    """(rows,) radii of `view`."""
    needle_step: Float
    """(3,) linear BGR from the face to the needle, in units of the marks' contrast."""
    needle_reach_mm: Float
    """(m,) places along the needle from the pivot, negative on the tail."""
    needle_half_width_mm: Float
    """(m,) half of the needle's width there, 0 where there is no needle."""
    hub_mm: float
    """Radius of the cap over the pivot: no needle edge inside it."""
    counter: TaughtCounter | None = None
    """The turns counter, where there is one and its photos showed how it counts."""

    @property
    def graduation_mm(self) -> float:
        """One division in mm."""
        return to_mm(self.graduation, self.unit)

    @property
    def mm_per_turn(self) -> float:
        """Travel of the stylus for one turn of the needle, mm."""
        return self.graduation_mm * self.marks_per_turn

    @property
    def radius_mm(self) -> float:
        """Radius of the outer ends of the marks."""
        return self.scale_outer_diameter_mm / 2

    @property
    def rising(self) -> float:
        """+1 where the reading rises clockwise as seen in the picture, else -1."""
        return 1.0 if self.clockwise else -1.0

    @property
    def mark_angle_rad(self) -> Float:
        """(marks_per_turn,) angles of the marks in the picture's sense, clockwise from zero."""
        count = self.marks_per_turn
        return self.rising * 2 * np.pi * np.arange(count) / count

    def value_mm(self, divisions: float, turns: int | None = None) -> float:
        """Return the reading in mm; without turns the one nearest to zero on balanced dials."""
        if turns is not None:
            divisions += turns * self.marks_per_turn
        elif self.numbering == "balanced" and divisions > self.marks_per_turn / 2:
            divisions -= self.marks_per_turn
        return divisions * self.graduation_mm


_ARRAYS = (
    "mark_inner_mm",
    "mark_half_width_mm",
    "view",
    "view_radius_mm",
    "needle_step",
    "needle_reach_mm",
    "needle_half_width_mm",
)


def _pack(dial: TaughtDial) -> dict[str, Any]:
    plain = {f.name: getattr(dial, f.name) for f in fields(dial) if f.name not in _ARRAYS}
    arrays = {name: np.asarray(getattr(dial, name)) for name in _ARRAYS}
    plain["counter"], counter_arrays = pack_counter(dial.counter)
    sheet = np.array(json.dumps({"format": _FORMAT, **plain}))
    return {"sheet": sheet, **arrays, **counter_arrays}


def _unpack(archive: Any) -> TaughtDial:  # noqa: ANN401 - numpy types its archives as Any
    sheet = json.loads(str(archive["sheet"]))
    if sheet.pop("format") not in _READABLE:
        msg = "written by another version"
        raise ValueError(msg)
    if sheet["travel_mm"] is not None:
        sheet["travel_mm"] = tuple(sheet["travel_mm"])
    arrays: dict[str, Any] = {name: frozen_array(archive[name]) for name in _ARRAYS}
    counter = unpack_counter(sheet.pop("counter", None), archive)
    return TaughtDial(**sheet, **arrays, counter=counter)


def check_dial_name(name: str) -> str:
    """Return `name` if it can be a dial's name.

    Raises
    ------
    BadInputError
        If it is empty, too long or holds characters that no file name should.
    """
    if not _NAME.fullmatch(name):
        msg = (
            f"{name!r} cannot name a dial: use up to 64 letters a to z, digits, blanks, dots, "
            "dashes and underscores, with a letter or digit first and no blank or dot last; "
            "--name gives another name than the folder's."
        )
        raise BadInputError(msg)
    return name


class DialStore:
    """Taught dials in a folder: one folder a dial, one file a version."""

    def __init__(self, folder: Path) -> None:
        self._folder = Path(folder)

    def _versions(self, name: str) -> dict[int, Path]:
        return numbered(self._folder / name, "v", ".npz")

    def list(self) -> builtins.list[str]:
        """Return the names of the known dials in alphabetical order."""
        if not self._folder.is_dir():
            return []
        names = (p.name for p in self._folder.iterdir() if p.is_dir())
        return sorted(name for name in names if self._versions(name))

    def save(self, dial: TaughtDial) -> TaughtDial:
        """Write a dial as the next version of its name and return it with that version."""
        check_dial_name(dial.name)
        version = max(self._versions(dial.name), default=0) + 1
        kept = replace(dial, version=version)
        path = self._folder / dial.name / f"v{version:04d}.npz"
        write_whole(path, lambda file: np.savez_compressed(file, **_pack(kept)))
        return kept

    def load(self, name: str, version: int | None = None) -> TaughtDial:
        """Return the newest (or the given) version of the dial `name`.

        Raises
        ------
        BadInputError
            If there is no such dial or version, or its file cannot be read.
        """
        versions = self._versions(name) if _NAME.fullmatch(name) else {}
        path = versions.get(version if version is not None else max(versions, default=0))
        if path is None:
            raise BadInputError(self._unknown(name, version, versions))
        try:
            with path.open("rb") as file, np.load(file, allow_pickle=False) as archive:
                return _unpack(archive)
        except _SPOILT as error:
            msg = f"The dial file {path} cannot be read ({error}): teach the dial again."
            raise BadInputError(msg) from error

    def _unknown(self, name: str, version: int | None, versions: dict[int, Path]) -> str:
        if versions:
            known = ", ".join(str(v) for v in versions)
            return f"Dial {name!r} has no version {version}: known are {known}."
        known = ", ".join(self.list())
        if not known:
            return f"There is no dial {name!r}, none was taught yet: run 'dial teach FOLDER'."
        return f"There is no dial {name!r}: known are {known}; teach it with 'dial teach FOLDER'."
