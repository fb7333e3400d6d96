"""One dispatcher for what hands do, for messages from a page's virtual handwheels."""

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from readings import DIRECTION_DEG, BadInputError

if TYPE_CHECKING:
    from simulator.bench import Bench

Check = Callable[[str, object], object]


def _number(low: float, high: float) -> Check:
    def check(name: str, value: object) -> float:
        number = isinstance(value, (int, float)) and not isinstance(value, bool)
        if not number or not low <= float(value) <= high:  # type: ignore[arg-type]
            msg = f"{name} must be a number from {low:g} to {high:g}, got {value!r}."
            raise BadInputError(msg)
        return float(value)  # type: ignore[arg-type]

    return check


def _one_of(*words: str) -> Check:
    def check(name: str, value: object) -> str:
        if not isinstance(value, str) or value not in words:
            msg = f"{name} must be one of {', '.join(words)}, got {value!r}."
            raise BadInputError(msg)
        return value

    return check


def _yes_or_no(name: str, value: object) -> bool:
    if not isinstance(value, bool):
        msg = f"{name} must be true or false, got {value!r}."
        raise BadInputError(msg)
    return value


def _seconds(name: str, value: object) -> float | None:
    return None if value is None else _number(0.1, 600.0)(name, value)  # type: ignore[return-value]


def _word(name: str, value: object) -> str:
    if not isinstance(value, str) or not value or len(value) > _LONGEST_WORD:
        msg = f"{name} must be a word, got {value!r}."
        raise BadInputError(msg)
    return value


def _place(name: str, value: object) -> tuple[float, ...]:
    """Check one or two numbers: millimetres on slides, or degrees round."""
    if not isinstance(value, (list, tuple)) or not 1 <= len(value) <= _MOST_AXES:
        msg = f"{name} must be one or two numbers, got {value!r}."
        raise BadInputError(msg)
    number = _number(-1500.0, 1500.0)
    return tuple(number(name, one) for one in value)  # type: ignore[misc]


_LONGEST_WORD, _MOST_AXES = 40, 2
_MOST_RAD = 20 * math.pi
_AXIS = _one_of("x", "y")
COMMANDS: Mapping[str, Mapping[str, Check]] = {
    "turn_handwheel": {"axis": _AXIS, "mm": _number(-50.0, 50.0)},
    "turn_spindle": {"by_rad": _number(-_MOST_RAD, _MOST_RAD), "seconds": _seconds},
    "point_stylus": {"direction": _one_of(*DIRECTION_DEG)},
    "set_reach": {"by_mm": _number(-5.0, 5.0)},
    "lock": {"axis": _AXIS, "on": _yes_or_no},
    "fit_indicator": {"on": _yes_or_no},
    "cover": {"on": _yes_or_no},
    "smear": {"on": _yes_or_no},
    "knock": {},
    "mount": {"work": _word},
    "turn_knob": {"knob": _word, "by": _number(-50.0, 50.0)},
    "go": {"at": _place},
    "change": {"what": _word},
    "clamp": {"on": _yes_or_no},
    "set_dial": {},
}
_MAY_BE_LEFT_OUT = {"seconds"}


def run_command(bench: "Bench", name: str, arguments: Mapping[str, object]) -> str:
    """Check a command and its arguments, let the bench do it, return its sentence.

    Raises
    ------
    BadInputError
        If the command is unknown, or an argument is missing, unknown, of a wrong kind or
        out of range. Nothing has been done then.
    """
    if name not in COMMANDS:
        msg = f"The bench knows no {name!r}; it knows {', '.join(COMMANDS)}."
        raise BadInputError(msg)
    checks = COMMANDS[name]
    _check_names(name, checks, arguments)
    values = {key: checks[key](key, value) for key, value in arguments.items()}
    return str(getattr(bench, name)(**values).sentence)


def _check_names(name: str, checks: Mapping[str, Check], arguments: Mapping[str, object]) -> None:
    strange = sorted(set(arguments) - set(checks))
    missing = sorted(set(checks) - set(arguments) - _MAY_BE_LEFT_OUT)
    if strange or missing:
        got = f"got {', '.join(sorted(arguments)) or 'nothing'}"
        msg = f"{name} takes {', '.join(checks)}; {got}."
        raise BadInputError(msg)
