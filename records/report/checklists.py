"""The two safety checklists as they stood when the setup ended."""

from dataclasses import dataclass, field

from records.flat import checklists_of
from records.plain import Json, minute
from records.tables import LAPSED
from setups import BEFORE_POWER
from setups.checklists import Checklist

NOT_COMPLETED = "not completed"


@dataclass(frozen=True, slots=True)
class LineShown:
    """One line: its words, and who touched it when; None where it does not stand ticked."""

    text: str
    touched: str | None


@dataclass(frozen=True, slots=True)
class ListShown:
    """One checklist: whether every line stands ticked, in words, and its lines."""

    title: str
    status: str
    completed: bool
    lines: tuple[LineShown, ...]


def lists_of(setup: Json) -> tuple[ListShown, ...]:
    """Return both lists as they stood when the setup was ended, or stand now.

    A list that was whole and lapsed afterwards (ten minutes suffice) was completed, and is told
    with both moments; one that lapsed while the setup went on and was not made whole again was
    not. A tick that a person took back is a tick less.
    """
    return tuple(_shown(setup, checklist) for checklist in checklists_of(setup))


@dataclass(slots=True)
class _Course:
    """How a list went: the ticks that stand, those that stood when it was last whole, its lapse."""

    standing: dict[str, Json] = field(default_factory=dict)
    whole: dict[str, Json] | None = None
    lapsed_utc: str | None = None

    def take(self, tick: Json, lines: int) -> None:
        """Take one more touch or lapse."""
        before = len(self.standing)
        if tick["ticked"]:
            self.standing[tick["line_id"]] = tick
            if len(self.standing) == lines:
                self.whole, self.lapsed_utc = dict(self.standing), None
            return
        self.standing.pop(tick["line_id"], None)
        if tick["who"] != LAPSED:
            self.whole = None  # a person says that it does not hold
        elif before == lines:
            self.lapsed_utc = tick["at_utc"]


def _shown(setup: Json, checklist: Checklist) -> ListShown:
    keys = [line.key for line in checklist.lines]
    course = _Course()
    for tick in setup["ticks"]:
        if tick["list_name"] == checklist.key and tick["line_id"] in keys:
            course.take(tick, len(keys))
    holds = course.whole is not None and _counts(setup, checklist, course.lapsed_utc)
    ticks = course.whole if holds and course.whole is not None else course.standing
    lines = tuple(
        LineShown(line.text, _touched(ticks[line.key]) if line.key in ticks else None)
        for line in checklist.lines
    )
    return ListShown(checklist.title, _status(course, ticks, len(keys), holds=holds), holds, lines)


def _counts(setup: Json, checklist: Checklist, lapsed_utc: str | None) -> bool:
    """Whether a list that was whole still tells of its setup, lapsed as it may be by now.

    The list before power comes last of all; the other one must have held to the end.
    """
    if lapsed_utc is None or checklist.key == BEFORE_POWER.key:
        return True
    return setup["ended_utc"] is not None and lapsed_utc >= setup["ended_utc"]


def _status(course: _Course, ticks: dict[str, Json], lines: int, *, holds: bool) -> str:
    if not holds:
        lapsed = f", lapsed {minute(course.lapsed_utc)}" if course.lapsed_utc else ""
        return f"{NOT_COMPLETED}: {len(ticks)} of {lines} lines touched{lapsed}"
    who = ", ".join(sorted({tick["who"] for tick in ticks.values()}))
    when = minute(max(tick["at_utc"] for tick in ticks.values()))
    lapsed = f"; lapsed {minute(course.lapsed_utc)}" if course.lapsed_utc else ""
    by = who if who.startswith("at ") else f"by {who}"
    return f"completed {by}, {when}{lapsed}"


def _touched(tick: Json) -> str:
    return f"{tick['who']}, {minute(tick['at_utc'])}"
