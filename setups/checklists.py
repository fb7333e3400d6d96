"""The two safety checklists and their lapse rule.

Sparehand drives nothing and is no interlock. A ticked list says only that a
person touched each line; the machine's manual, local codes and licensed
practice come first.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

Change = Literal["move", "sweep", "camera", "tool", "reload"]
"""What makes a list lapse beside its age: something moved, was swept, the camera was lost, a tool
was changed, or a page was loaded anew (nothing is shown as ticked that was not touched on it)."""

LAPSE_AFTER_S = 600.0
"""A list older than ten minutes is asked again."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a list.

    `touched_by` are the changes after which it is asked again; a line that does not carry
    over is asked again after every one.
    """

    key: str
    text: str
    touched_by: frozenset[Change] = frozenset()
    carries: bool = True

    def lapses_with(self, change: Change) -> bool:
        """Whether the line is asked again after `change`."""
        return change == "reload" or not self.carries or change in self.touched_by


@dataclass(frozen=True, slots=True)
class Checklist:
    """A list of lines; each needs its own deliberate touch."""

    key: str
    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class ShopLine:
    """A line of the shop's own, at the end of a list; its key is `shop-1` and so on."""

    checklist: str
    text: str


@dataclass(frozen=True, slots=True)
class Tick:
    """One line as it was touched."""

    checklist: str
    line: str
    who: str
    at_s: float


def _line(key: str, text: str, *touched_by: Change, carries: bool = True) -> Line:
    return Line(key, text, frozenset(touched_by), carries)


BEFORE_HANDS = Checklist(
    "before-hands",
    "Before hands go on the spindle",
    (
        _line("isolated", "Machine isolated at its switch, and nobody can start it", carries=False),
        _line("neutral", "Drive in neutral, so the spindle turns by hand", "tool"),
        _line("feed-off", "Power feed off on every slide", "move"),
        _line("keys-out", "Chuck key and drawbar spanner out", carries=False),
    ),
)

BEFORE_POWER = Checklist(
    "before-power",
    "Before power",
    (
        _line("keys-out", "Chuck key and drawbar spanner out", carries=False),
        _line("indicator-off", "Indicator and its holder off the spindle", "sweep", "camera"),
        _line("camera-off", "Camera, phone, magnet base, arm and collar off", "sweep", "camera"),
        _line("clamped", "Work clamped, and tried by hand", "move", "sweep"),
        _line("slides", "Slides locked as intended", "move", "sweep"),
        _line("daylight", "Daylight under the tool, and the tool can be changed", "move", "tool"),
        _line("turned-by-hand", "Tool at depth, one full turn by hand without touching",
              carries=False),
        _line("speed", "Speed and direction of turning looked up", "tool"),
        _line("guards", "Guards on, eyes covered, hair and clothing held back", carries=False),
    ),
)  # fmt: skip

CHECKLISTS: Mapping[str, Checklist] = {c.key: c for c in (BEFORE_HANDS, BEFORE_POWER)}

CAUTION = (
    "The machine's manual, your local codes and licensed practice come first. "
    "Sparehand drives nothing and is no interlock."
)

PEDAL_NOTE = "A pedal for this program must not stand where the machine's own pedal stands."


def list_of(checklist: str, shop: Iterable[ShopLine] = ()) -> Checklist:
    """Return a list with the shop's own lines at its end; those are asked after every change."""
    own = [line.text for line in shop if line.checklist == checklist]
    more = tuple(Line(f"shop-{i}", text, carries=False) for i, text in enumerate(own, start=1))
    plain = CHECKLISTS[checklist]
    return replace(plain, lines=(*plain.lines, *more))


def knows(checklist: str, line: str, shop: Iterable[ShopLine] = ()) -> bool:
    """Whether there is such a line on such a list."""
    return checklist in CHECKLISTS and line in {ln.key for ln in list_of(checklist, shop).lines}


def ticked(ticks: tuple[Tick, ...], checklist: str) -> frozenset[str]:
    """Return the keys of the lines of `checklist` that stand ticked."""
    return frozenset(t.line for t in ticks if t.checklist == checklist)


def complete(ticks: tuple[Tick, ...], checklist: str, shop: Iterable[ShopLine] = ()) -> bool:
    """Whether every line of `checklist` stands ticked."""
    return ticked(ticks, checklist) >= {ln.key for ln in list_of(checklist, shop).lines}


def toggle(ticks: tuple[Tick, ...], tick: Tick) -> tuple[Tick, ...]:
    """Return `ticks` with the line touched once more: on, or off where it stood ticked."""
    same = [t for t in ticks if (t.checklist, t.line) == (tick.checklist, tick.line)]
    if same:
        return tuple(t for t in ticks if t not in same)
    return (*ticks, tick)


def lapse(ticks: tuple[Tick, ...], checklist: str, change: Change) -> tuple[Tick, ...]:
    """Return `ticks` without those lines of `checklist` that `change` touches or never carry."""
    carried = {line.key for line in CHECKLISTS[checklist].lines if not line.lapses_with(change)}
    return tuple(t for t in ticks if t.checklist != checklist or t.line in carried)


def lapse_by_age(ticks: tuple[Tick, ...], now_s: float, active_s: float) -> tuple[Tick, ...]:
    """Drop the lists that stood untouched and unused for `LAPSE_AFTER_S`.

    `active_s` is when the setup last saw something happen under the list's cover;
    a list lapses ten minutes after the later of that and its own last touch.
    """
    last: dict[str, float] = {}
    for tick in ticks:
        last[tick.checklist] = max(last.get(tick.checklist, active_s), tick.at_s)
    return tuple(t for t in ticks if now_s - last[t.checklist] < LAPSE_AFTER_S)
