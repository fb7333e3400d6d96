"""The two safety checklists and their lapse rule.

Sparehand drives nothing and is no interlock. A ticked list says only that a
person touched each line; the machine's manual, local codes and licensed
practice come first.
"""

from dataclasses import dataclass

LAPSE_AFTER_S = 600.0
"""A list older than ten minutes is asked again."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a list."""

    key: str
    text: str


@dataclass(frozen=True, slots=True)
class Checklist:
    """A list of lines; each needs its own deliberate touch."""

    key: str
    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Tick:
    """One line as it was touched."""

    checklist: str
    line: str
    who: str
    at_s: float


BEFORE_HANDS = Checklist(
    "before-hands",
    "Before hands go on the spindle",
    (
        Line("isolated", "Machine isolated at its switch, and nobody can start it"),
        Line("neutral", "Drive in neutral, so the spindle turns by hand"),
        Line("feed-off", "Power feed off on every slide"),
        Line("keys-out", "Chuck key and drawbar spanner out"),
    ),
)

BEFORE_POWER = Checklist(
    "before-power",
    "Before power",
    (
        Line("keys-out", "Chuck key and drawbar spanner out"),
        Line("indicator-off", "Indicator and its holder off the spindle"),
        Line("camera-off", "Camera, phone, magnet base, arm and collar off"),
        Line("clamped", "Work clamped, and tried by hand"),
        Line("slides", "Slides locked as intended"),
        Line("daylight", "Daylight under the tool, and the tool can be changed"),
        Line("turned-by-hand", "Tool at depth, one full turn by hand without touching"),
        Line("speed", "Speed and direction of turning looked up"),
        Line("guards", "Guards on, eyes covered, hair and clothing held back"),
    ),
)

CHECKLISTS: dict[str, Checklist] = {c.key: c for c in (BEFORE_HANDS, BEFORE_POWER)}

CAUTION = (
    "The machine's manual, your local codes and licensed practice come first. "
    "Sparehand drives nothing and is no interlock."
)


def knows(checklist: str, line: str) -> bool:
    """Whether there is such a line on such a list."""
    return checklist in CHECKLISTS and line in {ln.key for ln in CHECKLISTS[checklist].lines}


def ticked(ticks: tuple[Tick, ...], checklist: str) -> frozenset[str]:
    """Return the keys of the lines of `checklist` that stand ticked."""
    return frozenset(t.line for t in ticks if t.checklist == checklist)


def complete(ticks: tuple[Tick, ...], checklist: str) -> bool:
    """Whether every line of `checklist` stands ticked."""
    return ticked(ticks, checklist) >= {line.key for line in CHECKLISTS[checklist].lines}


def toggle(ticks: tuple[Tick, ...], tick: Tick) -> tuple[Tick, ...]:
    """Return `ticks` with the line touched once more: on, or off where it stood ticked."""
    same = [t for t in ticks if (t.checklist, t.line) == (tick.checklist, tick.line)]
    if same:
        return tuple(t for t in ticks if t not in same)
    return (*ticks, tick)


def lapse(ticks: tuple[Tick, ...], checklist: str) -> tuple[Tick, ...]:
    """Return `ticks` without those of `checklist`."""
    return tuple(t for t in ticks if t.checklist != checklist)


def lapse_by_age(ticks: tuple[Tick, ...], now_s: float, active_s: float) -> tuple[Tick, ...]:
    """Drop the lists that stood untouched and unused for `LAPSE_AFTER_S`.

    `active_s` is when the setup last saw something happen under the list's cover;
    a list lapses ten minutes after the later of that and its own last touch.
    """
    last: dict[str, float] = {}
    for tick in ticks:
        last[tick.checklist] = max(last.get(tick.checklist, active_s), tick.at_s)
    return tuple(t for t in ticks if now_s - last[t.checklist] < LAPSE_AFTER_S)
