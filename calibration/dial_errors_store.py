"""Error tables in files: one a check, beside the dial's versions, never written over."""

import json
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from calibration.dial_errors import ErrorTable, MadeWith
from calibration.dials import TaughtDial, check_dial_name
from calibration.numbered import numbered, write_whole
from readings import BadInputError, frozen_array

_FORMAT = 1
_ARRAYS = ("steps_mm", "up_mm", "down_mm")


def _pack(table: ErrorTable) -> dict[str, Any]:
    plain = {
        name: getattr(table, name).tolist() if name in _ARRAYS else getattr(table, name)
        for name in ErrorTable.__dataclass_fields__
    }
    plain["at_utc"] = table.at_utc.isoformat()
    return {"format": _FORMAT, **plain, "made_with": asdict(table.made_with)}


def _unpack(plain: dict[str, Any]) -> ErrorTable:
    if plain.pop("format") != _FORMAT:
        msg = "written by another version"
        raise ValueError(msg)
    arrays: dict[str, Any] = {name: frozen_array(plain.pop(name)) for name in _ARRAYS}
    steps = len(arrays["steps_mm"])
    arrays["down_mm"] = arrays["down_mm"].reshape(steps, -1)
    made_with = MadeWith(**plain.pop("made_with"))
    at_utc = datetime.fromisoformat(plain.pop("at_utc"))
    return ErrorTable(**plain, **arrays, made_with=made_with, at_utc=at_utc)


class ErrorStore:
    """The checks of dials in a folder: `NAME/e0001.json` and so on."""

    def __init__(self, folder: Path) -> None:
        self._folder = Path(folder)

    def _numbers(self, name: str) -> dict[int, Path]:
        return numbered(self._folder / check_dial_name(name), "e", ".json")

    def save(self, table: ErrorTable) -> ErrorTable:
        """Write a table as the next check of its dial and return it with that number."""
        kept = replace(table, number=max(self._numbers(table.dial), default=0) + 1)
        path = self._folder / table.dial / f"e{kept.number:04d}.json"
        text = json.dumps(_pack(kept), indent=1, allow_nan=False)
        write_whole(path, lambda file: file.write(text.encode()))
        return kept

    def load(self, name: str, number: int) -> ErrorTable:
        """Return one check of a dial.

        Raises
        ------
        BadInputError
            If there is no such check, or its file cannot be read.
        """
        path = self._numbers(name).get(number)
        if path is None:
            msg = f"There is no check {number} of dial '{name}': run 'dial check {name}'."
            raise BadInputError(msg)
        try:
            return _unpack(json.loads(path.read_text(encoding="utf-8")))
        except (OSError, ValueError, KeyError, TypeError, BadInputError) as error:
            msg = f"The check {path} cannot be read ({error}): check the dial again."
            raise BadInputError(msg) from error

    def newest(self, dial: TaughtDial) -> ErrorTable | None:
        """Return the newest check of a dial, None where there is none for its scale.

        A dial taught anew keeps its checks; one whose name went to another scale does not.
        """
        numbers = self._numbers(dial.name)
        if not numbers:
            return None
        table = self.load(dial.name, max(numbers))
        same = table.marks_per_turn == dial.marks_per_turn
        close = abs(table.graduation_mm - dial.graduation_mm) < 1e-6 * dial.graduation_mm
        return table if same and close else None
