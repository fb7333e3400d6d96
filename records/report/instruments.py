"""What is said of an instrument: what it is, and when its own error was last checked."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from records.plain import Json, minute

_MOST_FACTS = 5
UNCHECKED = "its own error was not checked"


@dataclass(frozen=True, slots=True)
class InstrumentShown:
    """An instrument as it was known when the setup was begun."""

    kind: str
    words: str
    check: str | None


def instrument_shown(kept: Json) -> InstrumentShown:
    """Return a kept snapshot in words."""
    kind, body = kept["kind"], kept["body"]
    words = _WORDS.get(kind, _any_words)(body)
    return InstrumentShown(kind.capitalize(), words, _check(body) if kind == "dial" else None)


def _check(body: Json) -> str:
    if not body.get("checked"):
        return UNCHECKED
    judged = body.get("judged_by")
    verdict = f", {body['verdict']}" if body.get("verdict") else ""
    against = f" against {judged}" if judged else ""
    return f"check {body.get('check', '')} of {minute(str(body['checked']))}{against}{verdict}"


def _dial_words(body: Json) -> str:
    unit = body.get("unit", "mm")
    graduation = body.get("graduation", body.get("graduation_mm"))
    facts = [
        _named(body),
        _fact(graduation, lambda g: f"{g:g} {unit} a division"),
        _fact(body.get("marks_per_turn"), lambda n: f"{n} divisions a turn"),
        _fact(body.get("travel_mm"), lambda t: f"travel {t[0]:g} to {t[1]:g} mm"),
    ]
    return ", ".join(fact for fact in facts if fact)


def _camera_words(body: Json) -> str:
    facts = [
        _fact(body.get("name"), str),
        _fact(body.get("image_width"), lambda w: f"{w} x {body.get('image_height')} pixels"),
        _fact(body.get("fx"), lambda f: f"focal length {f:.0f} pixels"),
        _fact(body.get("rms_px"), lambda r: f"calibrated to {r:.2f} pixel"),
    ]
    return ", ".join(fact for fact in facts if fact)


def _collar_words(body: Json) -> str:
    markers = body.get("markers")
    return _any_words(body) if markers is None else f"{markers} printed markers"


def _any_words(body: Json) -> str:
    plain = [(k, v) for k, v in body.items() if isinstance(v, str | int | float)]
    words = (
        f"{k.replace('_', ' ')} {v:.6g}" if isinstance(v, float) else f"{k.replace('_', ' ')} {v}"
        for k, v in plain[:_MOST_FACTS]
    )
    return ", ".join(words)


def _named(body: Json) -> str:
    version = body.get("version")
    return f"{body.get('name', '')}" + (f" (teaching {version})" if version else "")


def _fact(value: Any, words: Callable[[Any], str]) -> str:  # noqa: ANN401 - JSON is any
    return "" if value is None else words(value)


_WORDS: dict[str, Callable[[Json], str]] = {
    "dial": _dial_words,
    "camera": _camera_words,
    "collar": _collar_words,
}
