"""What a key, a pedal, a palm or a command does to the turn in hand: begin, end, undo.

Pure of clocks: times are handed in. An end counts only after `UNDO_S`, so that the same
again takes it back and the turn goes on; a beginning is undone by giving the turn up.
"""

from dataclasses import dataclass
from typing import Literal

from stream.messages import SignalWord

UNDO_S = 4.0
BOUNCE_S = 0.25
"""A second touch so soon is the same one: a pedal bounces."""


@dataclass(frozen=True, slots=True)
class Mark:
    """The last mark: what it did, and when."""

    did: Literal["begun", "ended"]
    at_s: float


class Marks:
    """The marks of one step."""

    def __init__(self) -> None:
        self._last: Mark | None = None
        self._touched_s: float | None = None
        self.undid: Literal["begun", "ended"] | None = None
        """What the last touch took back."""

    def forget(self) -> None:
        """Begin another step, or see a turn end by itself."""
        self._last = None

    def touch(self, turning: bool, at_s: float) -> SignalWord:
        """Return what a mark does now, given whether a turn is being captured."""
        bounced = self._touched_s is not None and 0 <= at_s - self._touched_s < BOUNCE_S
        self._touched_s = at_s
        if bounced:
            return "nothing"
        last, self._last = self._last, None
        self.undid = None
        if last is not None and at_s - last.at_s <= UNDO_S:
            self.undid = last.did
            return "undone"
        did: Literal["begun", "ended"] = "ended" if turning else "begun"
        self._last = Mark(did, at_s)
        return did

    def end_due(self, at_s: float) -> bool:
        """Whether an end was marked, and nobody took it back in time; told once."""
        last = self._last
        if last is None or last.did != "ended" or at_s - last.at_s < UNDO_S:
            return False
        self._last = None
        return True

    def may_undo(self, at_s: float) -> bool:
        """Whether a touch now would take the last one back."""
        return self._last is not None and at_s - self._last.at_s <= UNDO_S
