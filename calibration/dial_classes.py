"""Classes of dials: their limits as editable presets.

The presets stand in `dial_classes.toml` beside this module with the source of each; a file of
that name in the home adds to them and replaces those of the same name.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any, Literal, get_args

from calibration.dial_errors import ErrorTable
from readings import BadInputError, LengthUnit, to_mm

What = Literal["whole", "whole up", "partial", "retrace", "repeatability"]
Kind = Literal["span", "plus_minus", "difference"]

PRESETS = "dial_classes.toml"
"""The presets' file beside this module, and the name of a person's own in the home."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of a class; exactly one of `limit_um` and `limit_graduations` is given."""

    what: What
    kind: Kind
    limit_um: float | None = None
    limit_graduations: float | None = None
    over_turns: float | None = None
    over_divisions: float | None = None

    def limit_mm(self, graduation_mm: float) -> float:
        """Return the limit for a dial of this graduation."""
        if self.limit_um is not None:
            return self.limit_um / 1e3
        return (self.limit_graduations or 0.0) * graduation_mm

    def over_mm(self, table: ErrorTable) -> float:
        """Return the stretch of a partial range."""
        if self.over_divisions is not None:
            return self.over_divisions * table.graduation_mm
        return (self.over_turns or 0.0) * table.mm_per_turn

    @property
    def title(self) -> str:
        """What is limited, in words."""
        if self.what == "partial":
            if self.over_divisions is not None:
                return f"any {self.over_divisions:g} divisions"
            return f"any {_turns_in_words(self.over_turns or 0.0)}"
        return {"whole": "whole range", "whole up": "whole range, going up"}.get(
            self.what, self.what
        )


def _turns_in_words(turns: float) -> str:
    return (
        "1 turn" if turns == 1 else f"1/{1 / turns:.0f} turn" if turns < 1 else f"{turns:g} turns"
    )


@dataclass(frozen=True, slots=True)
class DialClass:
    """A class of dials. `range_mm` is its whole travel: above the first, up to the second."""

    name: str
    title: str
    type: str
    source: str
    known: Literal["sourced", "memory"]
    limits: tuple[Limit, ...]
    unit: LengthUnit = "mm"
    graduation: float | None = None
    range_mm: tuple[float, float] | None = None
    within_turns: float | None = None
    """The limits hold over so many turns from the first step; None: over all."""

    @property
    def graduation_mm(self) -> float | None:
        """One division in mm; None where the class is for any."""
        return None if self.graduation is None else to_mm(self.graduation, self.unit)


def load_classes(own: Path | None = None) -> dict[str, DialClass]:
    """Return the classes by name: the presets, and those of the file `own` where it is there.

    Raises
    ------
    BadInputError
        If the file cannot be read or holds what no class has.
    """
    classes = _parse(resources.files("calibration").joinpath(PRESETS).read_text("utf-8"), PRESETS)
    if own is None or not own.is_file():
        return classes
    try:
        text = own.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        msg = f"the file of dial classes {own} cannot be read ({error}): copy it anew."
        raise BadInputError(msg) from error
    return classes | _parse(text, str(own))


def presets_text() -> str:
    """Return the presets as their file stands, to be copied and edited."""
    return resources.files("calibration").joinpath(PRESETS).read_text("utf-8")


def find_class(classes: Mapping[str, DialClass], name: str) -> DialClass:
    """Return the class `name`.

    Raises
    ------
    BadInputError
        If there is none of that name.
    """
    if name not in classes:
        msg = f"There is no dial class '{name}': 'dial classes' lists them."
        raise BadInputError(msg)
    return classes[name]


def _parse(text: str, place: str) -> dict[str, DialClass]:
    try:
        sheet = tomllib.loads(text)
        classes = [_class_of(entry) for entry in sheet["classes"]]
    except (tomllib.TOMLDecodeError, KeyError, TypeError, ValueError, AttributeError) as error:
        why = f"lacks {error}" if isinstance(error, KeyError) else f"cannot be used: {error}"
        msg = f"the file of dial classes {place} {why}; compare it with 'dial classes --copy'."
        raise BadInputError(msg.replace("\n", " ")) from error
    return {c.name: c for c in classes}


def _class_of(entry: Mapping[str, Any]) -> DialClass:
    plain = dict(entry)
    plain["limits"] = tuple(_limit_of(limit) for limit in plain["limits"])
    if "range_mm" in plain:
        low, high = (float(v) for v in plain["range_mm"])
        _demand(0 <= low < high, f"range_mm of {plain.get('name')}: the smaller comes first")
        plain["range_mm"] = (low, high)
    made = DialClass(**plain)
    _demand(made.known in ("sourced", "memory"), f"known of {made.name}: sourced or memory")
    _demand(made.unit in get_args(LengthUnit), f"unit of {made.name}: mm or in")
    sizes = (made.graduation, made.within_turns)
    _demand(all(s is None or s > 0 for s in sizes), f"a size of {made.name} is not above zero")
    _demand(bool(made.limits), f"{made.name} has no limit")
    return made


def _limit_of(entry: Mapping[str, Any]) -> Limit:
    limit = Limit(**entry)
    _demand(limit.what in get_args(What), f"what = {limit.what!r}: {', '.join(get_args(What))}")
    _demand(limit.kind in get_args(Kind), f"kind = {limit.kind!r}: {', '.join(get_args(Kind))}")
    given = [v for v in (limit.limit_um, limit.limit_graduations) if v is not None]
    _demand(len(given) == 1 and given[0] > 0, "a limit needs limit_um or limit_graduations")
    over = [v for v in (limit.over_turns, limit.over_divisions) if v is not None]
    partial = limit.what == "partial"
    _demand(len(over) == partial and all(v > 0 for v in over), "a partial range needs its stretch")
    return limit


def _demand(good: bool, why: str) -> None:
    if not good:
        raise ValueError(why)
