"""What the live block shows, as text: made here once, so that the page itself formats nothing.

Lengths, signs and senses come from their one place in `readings` and `setups`.
"""

from dataclasses import dataclass, field, replace
from math import pi
from typing import Literal

from readings import (
    Axis,
    flag_sentence,
    format_length,
    format_with_uncertainty,
    move_word,
    offset_from_first_harmonic,
)
from setups import GUIDES, Found, Measured, Move, flag_lines
from setups.places import LAYOUTS
from setups.rough import END_MARGIN, at_stop
from setups.telling import STYLUS_WORD
from setups.words import (
    VERDICT_WORDS,
    history_line,
    left_out_words,
    measured_rows,
    number_rows,
)
from stream.messages import Live, SessionView
from sweeps import travel_from_needle
from ui.live.schemes import Scheme, scheme_of
from ui.live.speech import all_ways

Side = Literal["low", "high", "there"]
_Way = Literal["", "right", "left", "back", "front"]
NO_NUMBER = "– – –"

_SIDE_WORDS: dict[Side, str] = {
    "low": "needle too low",
    "high": "needle too high",
    "there": "needle is there: let it stand",
}


@dataclass(frozen=True, slots=True)
class LiveShown:
    """One reading as text.

    `remaining` (as `value`, without its unit) and `side` stand while the needle is to be
    brought to a reading; `off` is how far it is off in windows, signed, for the tone;
    `way` is the side to which the table moves or the stylus is turned first (an arrow is
    drawn), `travel` says it in words; "" where only the needle can tell.
    """

    value: str
    divisions: str
    target: str = ""
    side: Side | None = None
    side_words: str = ""
    remaining: str = ""
    off: float | None = None
    way: _Way = ""
    travel: str = ""
    turned: str = ""
    nose: str = ""


@dataclass(frozen=True, slots=True)
class StateShown:
    """The numbers of a setup as text, and the sign with which a trace is drawn."""

    outline_sign: float
    numbers: tuple[tuple[str, str], ...] = ()
    verdict: str = ""
    offset: str = ""
    result: tuple[str, str] = ("", "")
    """What was judged, as it stands largest at the end: the number, and what it is of."""
    tolerance: str = ""
    history: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    places: tuple[tuple[str, tuple[float, ...]], ...] = ()
    """Where the step in hand reads the dial: words, and mm on slides or degrees round."""
    scheme: Scheme | None = None
    rounds: tuple[tuple[str, float, bool], ...] = ()
    """Each round so far: how far off in words, the same in tolerances, whether locked."""
    arcs: str = ""
    """Which arcs are left out by hand."""
    say: dict[str, str] = field(default_factory=dict)
    """What is spoken, in every voice and unit."""


def divisions_words(divisions: float | None) -> str:
    """Return a reading in divisions of the dial.

    >>> divisions_words(-3.04)
    '-3.0 divisions'
    """
    return "" if divisions is None else f"{divisions:+.1f} divisions"


_NOSE_WORDS = {
    "fitted": "The camera sees the dial or its collar: something is fitted.",
    "bare": "The camera sees the nose bare. That ticks no line: look, and touch each.",
    "cannot see": "The camera cannot see whether the spindle nose is bare.",
}


def show_live(live: Live, view: SessionView) -> LiveShown:
    """Return one reading as text, with what the setup in hand wants of it."""
    return replace(_shown(live, view), nose=_NOSE_WORDS[live.nose])


def _shown(live: Live, view: SessionView) -> LiveShown:
    if live.value_mm is None:
        return LiveShown(NO_NUMBER, "", target=_target(live), turned=_turned(live))
    value = format_length(live.value_mm, signed=True).removesuffix(" mm")
    divisions = divisions_words(live.divisions)
    if live.across_mm is not None:
        up = format_length(live.across_mm, signed=True)
        return LiveShown(f"{live.value_mm:.1f}", f"to the right, {up} up, of the still target")
    if live.target_mm is None or live.window_mm is None:
        way, travel = _stylus_first(live, view)
        return LiveShown(value, divisions, way=way, travel=travel, turned=_turned(live))
    off_mm = live.value_mm - live.target_mm
    side = _side(off_mm, live.window_mm)
    way, travel = _travel(live, view, side)
    remaining = _remaining(off_mm, side, live.value_mm, view)
    return LiveShown(
        value,
        divisions,
        target=_target(live),
        side=side,
        side_words=f"{_SIDE_WORDS[side]} by {remaining}" if remaining else _SIDE_WORDS[side],
        remaining=remaining.removesuffix(" mm"),
        off=off_mm / live.window_mm,
        way=way,
        travel=travel,
    )


def _target(live: Live) -> str:
    if live.target_mm is None:
        return ""
    return (
        f"{format_length(live.target_mm, signed=True)}  ({divisions_words(live.target_divisions)})"
    )


def _turned(live: Live) -> str:
    return "" if live.turned_deg is None else f"{abs(live.turned_deg):.0f}°"


def _stylus_first(live: Live, view: SessionView) -> tuple[_Way, str]:
    """Return where the stylus must be turned before the move in hand can be made."""
    move = _move_in_hand(view)
    if move is None or live.theta_deg is None or at_stop(live.theta_deg * pi / 180.0, move.stylus):
        return "", ""
    return move.stylus, f"first turn the stylus {STYLUS_WORD[move.stylus]}"


def _remaining(off_mm: float, side: Side, value_mm: float, view: SessionView) -> str:
    if side == "there":
        return ""
    return f"{'≥ ' if _at_end(value_mm, view) else ''}{format_length(abs(off_mm))}"


def _side(off_mm: float, window_mm: float) -> Side:
    if abs(off_mm) <= window_mm:
        return "there"
    return "low" if off_mm < 0 else "high"


def _move_in_hand(view: SessionView) -> Move | None:
    advice = view.advice
    if advice is None or advice.move is None or not advice.moves:
        return None
    return advice.moves[advice.move]


def _travel(live: Live, view: SessionView, side: Side) -> tuple[_Way, str]:
    """Return which way the table still has to move, from the needle; "" where unknown."""
    move = _move_in_hand(view)
    if move is None or move.what != "table" or side == "there" or view.guide is None:
        return "", ""
    if live.theta_deg is None or live.value_mm is None or live.target_mm is None:
        return "", ""
    theta_rad = live.theta_deg * pi / 180.0
    surface = GUIDES[view.guide].surface
    travel_mm = travel_from_needle(live.value_mm, live.target_mm, move.axis, theta_rad, surface)
    least = "at least " if _at_end(live.value_mm, view) else ""
    words = f"table {move_word(move.axis, travel_mm)} {least}{format_length(abs(travel_mm))}"
    return _way(move.axis, travel_mm), words


def _at_end(value_mm: float, view: SessionView) -> bool:
    """Whether the needle stands at an end of the dial's travel and tells a least distance only."""
    if view.travel_mm is None:
        return False
    low, high = view.travel_mm
    margin = END_MARGIN * (high - low)
    return not low + margin < value_mm < high - margin


def _way(axis: Axis, travel_mm: float) -> _Way:
    ways: dict[tuple[str, bool], _Way] = {
        ("x", True): "right",
        ("x", False): "left",
        ("y", True): "back",
        ("y", False): "front",
    }
    return ways.get((axis, travel_mm >= 0), "")


def show_state(view: SessionView) -> StateShown:
    """Return the numbers of the setup in hand as text."""
    if view.guide is None:
        return StateShown(1.0)
    surface = GUIDES[view.guide].surface
    sign = 1.0 if surface == "face" else offset_from_first_harmonic(1.0, 0.0, surface)[0]
    shown = StateShown(
        outline_sign=sign,
        tolerance="" if view.tolerance_mm is None else format_length(view.tolerance_mm),
        places=_places(view),
        scheme=scheme_of(view),
        rounds=_rounds(view),
        arcs=left_out_words(view.left_out) if view.left_out else "",
        say=all_ways(view.advice.say) if view.advice else {},
    )
    if view.measured is not None:
        return _with_measured(shown, view, view.measured)
    return shown if view.found is None else _with_found(shown, view, view.found)


def _with_found(shown: StateShown, view: SessionView, found: Found) -> StateShown:
    """Return the numbers of a pair of turns."""
    off = format_with_uncertainty(found.eccentricity_mm, found.u_eccentricity_mm)
    return replace(
        shown,
        numbers=number_rows(found),
        verdict=VERDICT_WORDS[found.verdict],
        offset=f"off by {off}",
        result=(_bare(found.eccentricity_mm), "mm off"),
        history=tuple(history_line(i, f) for i, f in enumerate(view.history, start=1)),
        flags=flag_lines(found, brief=True),
    )


def _rounds(view: SessionView) -> tuple[tuple[str, float, bool], ...]:
    """Return how far off each round was, as words and in tolerances, and whether it was locked."""
    sizes = [(found.eccentricity_mm, found.locked) for found in view.history]
    sizes += [(one.size_mm, one.locked) for one in view.rounds if one.size_mm is not None]
    limit = view.tolerance_mm or 1.0
    return tuple(
        (format_length(size).removesuffix(" mm"), size / limit, locked) for size, locked in sizes
    )


def _places(view: SessionView) -> tuple[tuple[str, tuple[float, ...]], ...]:
    step = GUIDES[view.guide or ""].step(view.step)
    if step.kind != "places":
        return ()
    sizes = {size.key: size.value for size in view.sizes}
    return tuple((place.words, place.at_mm) for place in LAYOUTS[step.places](sizes))


def _bare(size_mm: float) -> str:
    """Return a length as results tell it, without its unit."""
    return format_length(size_mm, fine=True).removesuffix(" mm")


def _judged(view: SessionView, measured: Measured) -> tuple[str, str]:
    """Return what the guide's tolerance is of; nothing where it judges nothing."""
    if measured.size_mm is None:
        return "", ""
    return _bare(measured.size_mm), f"mm {GUIDES[view.guide or ''].tolerance_words}"


def _with_measured(shown: StateShown, view: SessionView, measured: Measured) -> StateShown:
    """Return the numbers of a guide that centres nothing."""
    return replace(
        shown,
        numbers=measured_rows(measured),
        verdict=VERDICT_WORDS[measured.verdict] if measured.verdict else "Found",
        offset=measured.sentence.rstrip("."),
        result=_judged(view, measured),
        history=tuple(
            f"{i}. {one.sentence}{' Locked.' if one.locked else ''}"
            for i, one in enumerate(view.rounds, start=1)
        ),
        flags=tuple(flag_sentence(name) for name in measured.flags),
    )
