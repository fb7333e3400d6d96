"""Handwheels in files: one folder an axis, one file a version, never written over."""

import json
from dataclasses import asdict
from math import isfinite
from pathlib import Path

from calibration.handwheels import Handwheel
from calibration.numbered import numbered, write_whole
from readings import Axis, BadInputError

AXES: tuple[Axis, ...] = ("x", "y", "z")
_FORMAT = 1


class HandwheelStore:
    """The taught handwheels in a folder: `x/w0001.json` and so on; the newest counts."""

    def __init__(self, folder: Path) -> None:
        self._folder = Path(folder)

    def _numbers(self, axis: Axis) -> dict[int, Path]:
        return numbered(self._folder / axis, "w", ".json")

    def save(self, wheel: Handwheel) -> int:
        """Keep a wheel as the newest of its axis and return its version."""
        version = max(self._numbers(wheel.axis), default=0) + 1
        text = json.dumps({"format": _FORMAT, **asdict(wheel)}, indent=1, allow_nan=False)
        path = self._folder / wheel.axis / f"w{version:04d}.json"
        write_whole(path, lambda file: file.write(text.encode()))
        return version

    def newest(self, axis: Axis) -> Handwheel | None:
        """Return the wheel of an axis as it was taught last, None where it never was.

        Raises
        ------
        BadInputError
            If its file cannot be read.
        """
        numbers = self._numbers(axis)
        if not numbers:
            return None
        path = numbers[max(numbers)]
        try:
            plain = json.loads(path.read_text(encoding="utf-8"))
            if plain.pop("format") != _FORMAT or plain["axis"] != axis:
                msg = "written by another version"
                raise ValueError(msg)
            return checked_wheel(Handwheel(**plain))
        except (OSError, ValueError, KeyError, TypeError, BadInputError) as error:
            msg = f"The handwheel {path} cannot be read ({error}): teach it again."
            raise BadInputError(msg) from error

    def all(self) -> tuple[Handwheel, ...]:
        """Return the taught wheels, X first."""
        found = (self.newest(axis) for axis in AXES)
        return tuple(wheel for wheel in found if wheel is not None)


def checked_wheel(wheel: Handwheel) -> Handwheel:
    """Return a wheel that a machine can have.

    Raises
    ------
    BadInputError
        If a size is no number, or none that a handwheel has.
    """
    backlash = wheel.backlash_mm
    if not (isfinite(wheel.mm_per_turn) and 0.05 <= wheel.mm_per_turn <= 50.0):
        msg = f"{wheel.mm_per_turn:g} mm a turn is no handwheel's: give 0.05 to 50."
        raise BadInputError(msg)
    if not 4 <= wheel.divisions_per_turn <= 2000:
        msg = f"{wheel.divisions_per_turn} divisions a turn are no handwheel's: give 4 to 2000."
        raise BadInputError(msg)
    if wheel.clockwise_moves not in (-1, 1):
        msg = "A wheel turned clockwise moves its slide one way or the other."
        raise BadInputError(msg)
    if backlash is not None and not (isfinite(backlash) and 0 <= backlash <= 5.0):
        msg = f"A backlash of {backlash:g} mm cannot be: give 0 to 5, or leave it out."
        raise BadInputError(msg)
    return wheel
