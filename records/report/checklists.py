"""The two safety checklists as they stood when the setup ended."""

from dataclasses import dataclass

from records.flat import checklists_of
from records.plain import Json, minute
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
    """Return a setup's lists as the last touch of each line, or its lapse, left them."""
    last = {(t["list_name"], t["line_id"]): t for t in setup["ticks"]}
    return tuple(_shown(checklist, last) for checklist in checklists_of(setup))


def _shown(checklist: Checklist, last: dict[tuple[str, str], Json]) -> ListShown:
    touches = [last.get((checklist.key, line.key)) for line in checklist.lines]
    lines = tuple(
        LineShown(line.text, _touched(touch))
        for line, touch in zip(checklist.lines, touches, strict=True)
    )
    ticked = [t for t in touches if t is not None and t["ticked"]]
    if len(ticked) == len(lines):
        who = ", ".join(sorted({t["who"] for t in ticked}))
        when = minute(max(t["at_utc"] for t in ticked))
        return ListShown(checklist.title, f"completed by {who}, {when}", True, lines)
    status = f"{NOT_COMPLETED}: {len(ticked)} of {len(lines)} lines touched"
    return ListShown(checklist.title, status, False, lines)


def _touched(touch: Json | None) -> str | None:
    if touch is None or not touch["ticked"]:
        return None
    return f"{touch['who']}, {minute(touch['at_utc'])}"
