"""The verdict as a report tells it: the word, the value, the tolerance, and what the word means."""

from collections.abc import Mapping
from dataclasses import dataclass

from readings import format_length, format_with_uncertainty
from records.plain import Json
from setups import GUIDES, Found, Measured

HEADLINES: Mapping[str, str] = {
    "inside": "INSIDE the tolerance{}",
    "outside": "OUTSIDE the tolerance{}",
    "cannot tell": "CANNOT TELL",
}
MEANINGS: Mapping[str, str] = {
    "inside": (
        "Inside: the value and its guard band of {guard} together stay within the tolerance; "
        "the chance that this is wrong is at most 5 % (ISO 14253-1)."
    ),
    "outside": (
        "Outside: the value less its guard band of {guard} is still beyond the tolerance "
        "(95 %, ISO 14253-1)."
    ),
    "cannot tell": (
        "Cannot tell: the tolerance lies within the guard band of {guard} about the value, "
        "so that neither inside nor outside is proven (95 %, ISO 14253-1)."
    ),
}
DIAL_LEFT_OUT = (
    "The dial's own error is not counted in it, because the dial was not checked: "
    "all this holds as far as the dial is right."
)
NO_SOURCE = "where the tolerance comes from was not recorded"
STATES: Mapping[str, str] = {
    "open": "under way",
    "finished": "finished",
    "abandoned": "given up",
}


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was judged and how: a word, a headline, the value, and what the word means."""

    word: str | None
    headline: str
    value: str
    tolerance: str
    meaning: str
    dial_left_out: bool = False

    @property
    def short(self) -> str:
        """Return the word for a table, with what must never be parted from it."""
        word = self.word or "none"
        shown = word if word in ("inside", "none") else word.upper()
        return f"{shown}{' (dial not checked)' if self.dial_left_out else ''}"


def verdict_shown(setup: Json, last: Found | Measured | None) -> Verdict:
    """Return the verdict with the value it is about and what the word means."""
    word = setup["verdict"] if last is None else last.verdict
    value = _judged(setup["guide"], last)
    tolerance = "no tolerance was stated"
    if setup["tolerance_mm"] is not None:
        source = setup["tolerance_source"] or NO_SOURCE
        tolerance = f"{format_length(setup['tolerance_mm'])} ({source})"
    if setup["state"] != "finished":
        state = STATES.get(setup["state"], setup["state"])
        return Verdict(None, f"NO VERDICT: the setup is {state}", value, tolerance, "")
    if word is None:
        return Verdict(None, "NO VERDICT", value, tolerance, "")
    meaning = _meaning(word, last)
    headline = HEADLINES.get(word, word).format(_short_length(setup["tolerance_mm"]))
    unchecked = last is not None and "dial unchecked" in last.flags
    return Verdict(word, headline, value, tolerance, meaning, unchecked)


def _meaning(word: str, last: Found | Measured | None) -> str:
    if last is None or last.guard_mm is None:
        return ""
    meaning = MEANINGS.get(word, "").format(guard=fine_length(last.guard_mm))
    return f"{meaning} {DIAL_LEFT_OUT}" if "dial unchecked" in last.flags else meaning


def _short_length(tolerance_mm: float | None) -> str:
    return "" if tolerance_mm is None else f" of {format_length(tolerance_mm)}"


def fine_length(value_mm: float) -> str:
    """Return a length with one digit more than a reading has."""
    return format_length(value_mm, fine=True)


def _judged(guide: str, last: Found | Measured | None) -> str:
    """Return what was judged, with its uncertainty."""
    if last is None:
        return "nothing was measured"
    if isinstance(last, Found):
        off = format_with_uncertainty(last.eccentricity_mm, last.u_eccentricity_mm)
        return f"off centre {off}"
    if last.size_mm is None:
        return last.sentence
    of = f"{GUIDES[guide].tolerance_words} " if guide in GUIDES else ""
    if last.u_size_mm is None:
        return f"{of}{format_length(last.size_mm)}"
    return f"{of}{format_with_uncertainty(last.size_mm, last.u_size_mm)}"
