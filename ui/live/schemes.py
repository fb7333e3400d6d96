"""What a guide's own picture shows: leans of two axes, or a plan from above with what to turn.

The page only draws it; words and signs are made here.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import cos, hypot, radians, sin
from typing import Literal

from readings import format_length
from setups import GUIDES, Do
from setups.places import STOP_SIDES, jack_places_mm
from stream.messages import SessionView


@dataclass(frozen=True, slots=True)
class Lean:
    """One thing that leans, seen from one side.

    `share` is the lean as a share of the largest that is drawn (-1 to 1, to the right or up);
    `limit` the tolerance on the same scale. `upright` tells a head or a square from a bar.
    """

    seen_from: str
    words: str
    share: float
    limit: float
    upright: bool
    left: str
    right: str


@dataclass(frozen=True, slots=True)
class Mark:
    """One thing on a plan: where it is (-1 to 1, right and away), its name and what to do."""

    x: float
    y: float
    name: str
    words: str = ""
    way: Literal[-1, 0, 1] = 0
    now: bool = False


@dataclass(frozen=True, slots=True)
class Scheme:
    """A guide's own picture; `title` says from where it is seen."""

    title: str
    leans: tuple[Lean, ...] = ()
    outline: Literal["", "round", "square"] = ""
    marks: tuple[Mark, ...] = ()


_Row = tuple[str, str, bool, str, str, str, str]
_LEANS: Mapping[str, tuple[_Row, ...]] = {
    "tram": (
        ("lean_x", "from the front", True, "left", "right", "left", "right"),
        ("lean_y", "from the right", True, "front", "back", "front", "back"),
    ),
    "axis": (
        ("lean_x", "along the still target", True, "left", "right", "left", "right"),
        ("lean_y", "up the still target", True, "down", "up", "down", "up"),
    ),
    "square": (
        ("square", "the square", True, "in", "out", "in", "out"),
        ("machine", "the travel", True, "in", "out", "in", "out"),
    ),
    "between-centres": (
        ("above", "from the front", False, "near centre", "far centre", "down", "up"),
        ("beside", "from above", False, "near centre", "far centre", "back", "front"),
    ),
}
"""Of each number: its key, from where it is seen, whether upright, the words at either end, and
the words for a negative and a positive one."""
_LEANS_OF = {"tram": "tram", "tram-stops": "tram"}
_DOWN = {"beside"}
"""Numbers that count to the front, which is down where it is seen from above."""
_LARGEST = 4.0
"""Tolerances that the largest lean drawn makes, at least."""


def scheme_of(view: SessionView) -> Scheme | None:
    """Return the picture of the guide in hand, None where the turn seen from above tells all."""
    if view.guide is not None and GUIDES[view.guide].task == "axis":
        seen = _AT_TARGETS.get(view.kind)
        if seen is not None:
            return seen(view)
    if view.guide is None or view.kind in ("turns", "point", "checklist", "sizes", "prepare"):
        return None
    task = GUIDES[view.guide].task
    leans = _leans(view, _LEANS_OF.get(task, task))
    if leans:
        over = ", over 300 mm" if task.startswith(("tram", "axis")) else ""
        return Scheme(f"Exaggerated{over}", leans=leans)
    plan = _PLANS.get(task)
    return plan(view) if plan else None


def _leans(view: SessionView, task: str) -> tuple[Lean, ...]:
    rows = _LEANS.get(task, ())
    if view.measured is None or not rows:
        return ()
    limit = view.tolerance_mm or 0.01
    numbers = [view.measured.number(row[0]) for row in rows]
    most = max(_LARGEST * limit, *(abs(number.value) for number in numbers))
    return tuple(
        Lean(
            seen_from=seen,
            words=f"{format_length(abs(number.value))} {more if number.value > 0 else less}",
            share=(-number.value if number.key in _DOWN else number.value) / most,
            limit=limit / most,
            upright=upright,
            left=left,
            right=right,
        )
        for (_, seen, upright, left, right, less, more), number in zip(rows, numbers, strict=True)
    )


def _sizes(view: SessionView) -> dict[str, float]:
    return {size.key: size.value for size in view.sizes}


def _told(view: SessionView, what: Callable[[Do], bool]) -> tuple[str, Literal[-1, 0, 1], bool]:
    """Return what this round asks of one thing: words, way, and whether it is asked now."""
    advice = view.advice
    for todo in advice.todos if advice and view.kind == "todo" else ():
        if what(todo):
            return _amount(todo), _way(todo), todo == (advice.todo if advice else None)
    return "", 0, False


def _amount(todo: Do) -> str:
    if todo.turns is not None:
        return f"{abs(todo.turns):.2f} turn"
    return "" if todo.amount_mm is None else format_length(abs(todo.amount_mm))


def _way(todo: Do) -> Literal[-1, 0, 1]:
    amount = todo.turns if todo.turns is not None else todo.amount_mm
    return 0 if amount is None else 1 if amount > 0 else -1


def _jacks(view: SessionView) -> Scheme:
    places = jack_places_mm(_sizes(view))
    mid = [(min(p[i] for p in places) + max(p[i] for p in places)) / 2 for i in (0, 1)]
    half = max(hypot(p[0] - mid[0], p[1] - mid[1]) for p in places)
    marks = []
    for i, (x, y) in enumerate(places, start=1):
        words, way, now = _told(view, lambda todo, i=i: todo.what == f"jack {i}")  # type: ignore[misc]
        at_place = _dial_at(view, f"jack {i}")
        marks.append(
            Mark((x - mid[0]) / half, (y - mid[1]) / half, str(i), words, way, now or at_place)
        )
    return Scheme("Jacks from above", outline="square", marks=tuple(marks))


def _dial_at(view: SessionView, words: str) -> bool:
    return view.kind == "places" and view.advice is not None and words in view.advice.headline


def _hung(view: SessionView) -> Scheme:
    marks = []
    for side, y in (("back", 0.75), ("front", -0.75)):
        words, way, now = _told(view, lambda todo, side=side: todo.what == f"{side} jack")  # type: ignore[misc]
        verb = "" if not words else "tighten " if way > 0 else "slacken "
        marks.append(
            Mark(0.0, y, f"{side} jack", verb + words, way, now or _dial_at(view, f"the {side}"))
        )
    return Scheme("From above, axis left to right", outline="square", marks=tuple(marks))


def _shims(view: SessionView) -> Scheme:
    at = {"back left": (-1, 1), "back right": (1, 1), "front left": (-1, -1),
          "front right": (1, -1)}  # fmt: skip
    marks = []
    for corner, (x, y) in at.items():
        words, way, now = _told(view, lambda todo, c=corner: todo.what == f"shim, {c}")  # type: ignore[misc]
        marks.append(Mark(0.7 * x, 0.7 * y, corner, words, way, now))
    return Scheme("Supports from above", outline="square", marks=tuple(marks))


def _jaws(view: SessionView) -> Scheme:
    return _quarters(view, "Jaws, as the work turns", "tighten")


def _sides(view: SessionView) -> Scheme:
    return _quarters(view, "Sides, as the work turns", "tap")


def _quarters(view: SessionView, title: str, push: str) -> Scheme:
    """Return four jaws or sides a quarter turn apart; `push` is what is done to the one told."""
    marks = []
    for jaw in range(1, 5):
        angle = radians(90.0 * (jaw - 1))
        way, now = _jaw(view, str(jaw))
        words = {1: push, -1: "slacken", 0: ""}[way]
        marks.append(Mark(0.8 * cos(angle), 0.8 * sin(angle), str(jaw), words, way, now))
    return Scheme(title, outline="round", marks=tuple(marks))


def _jaw(view: SessionView, jaw: str) -> tuple[Literal[-1, 0, 1], bool]:
    todo = view.advice.todo if view.advice and view.kind == "todo" else None
    told = re.match(r"(?:Slacken (\d), tighten|Tap side) (\d)", todo.headline) if todo else None
    if told is None or jaw not in told.groups():
        return 0, False
    return (1, True) if told[2] == jaw else (-1, True)


def _stops(view: SessionView) -> Scheme:
    headline = view.advice.headline if view.advice else ""
    marks = []
    for name, (words, degrees) in STOP_SIDES.items():
        angle = radians(degrees)
        told = view.kind == "places" and headline.endswith(words)
        marks.append(Mark(0.8 * cos(angle), 0.8 * sin(angle), name, "", 0, told))
    return Scheme("Stylus from above", outline="round", marks=tuple(marks))


def _two_targets(view: SessionView) -> Scheme:
    """Return what is stuck where, for the steps at which bars are put in."""
    marks = (Mark(-0.6, 0.0, "target 1", "stands still"), Mark(0.6, 0.0, "target 0", "turns"))
    return Scheme("Both face the camera", outline="square", marks=marks)


def _orbit(view: SessionView) -> Scheme:
    """Return the stops taken so far round the turn."""
    stops = view.advice.stops_deg if view.advice else ()
    marks = [
        Mark(0.8 * cos(radians(at)), 0.8 * sin(radians(at)), str(i), "", 0, i == len(stops))
        for i, at in enumerate(stops, start=1)
    ]
    return Scheme("Stops so far, as the camera sees it", outline="round", marks=tuple(marks))


_AT_TARGETS: Mapping[str, Callable[[SessionView], Scheme]] = {
    "prepare": _two_targets,
    "change": _two_targets,
    "orbit": _orbit,
}
_PLANS: Mapping[str, Callable[[SessionView], Scheme]] = {
    "jacks": _jacks,
    "hung": _hung,
    "face": _shims,
    "jaws": _jaws,
    "sides": _sides,
    "centre-stops": _stops,
    "tram-stops": _stops,
}
