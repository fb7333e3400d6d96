"""What is wrong right now, told within two seconds and taken back once it is over.

Pure of clocks: times are handed in. A trouble has a name and a sentence; those that a
picture shows have the name and sentence of their flag.
"""

from collections import deque
from datetime import datetime

from readings import Reading, flag_sentence
from stream.messages import Trouble

LOST_AFTER_S = 1.5
"""No picture for so long: the camera is lost."""

SEEN_FOR_S = 0.8
MOST_OF = 0.6
LEAST_PICTURES = 3
"""A fault of the picture is told once this share of the last `SEEN_FOR_S`, or of the last three
pictures where they come slower, shows it."""

PICTURE_FAULTS = (
    "unreadable file",
    "wrong size",
    "black picture",
    "frozen picture",
    "lens smeared",
    "out of focus",
    "no dial",
    "dial moving",
)

CLOCK_JUMP_S = 2.0
CLOCK_TOLD_S = 20.0
LEAST_ROOM_BYTES = 8 * 1024 * 1024

CLOCK_SENTENCE = (
    "The computer's clock was changed by {by:+.0f} s: readings go on, and what was put on record "
    "before carries the old time."
)
ROOM_SENTENCE = (
    "The disk with the record book is full ({left:.0f} MB left): make room, and what waits is "
    "kept by itself."
)


class PictureFaults:
    """Tells which flags most of the last pictures carry."""

    def __init__(self) -> None:
        self._looks: deque[tuple[float, frozenset[str]]] = deque()

    def look(self, reading: Reading, at_s: float) -> None:
        """Take in what was read in one picture, at the service's own time."""
        self._looks.append((at_s, frozenset(reading.flags) & frozenset(PICTURE_FAULTS)))

    def now(self, at_s: float) -> tuple[str, ...]:
        """Return the flags that stand, most telling first."""
        while len(self._looks) > LEAST_PICTURES and self._looks[0][0] < at_s - SEEN_FOR_S:
            self._looks.popleft()
        looks = len(self._looks)
        if looks < LEAST_PICTURES:
            return ()
        return tuple(
            name
            for name in PICTURE_FAULTS
            if sum(name in flags for _, flags in self._looks) >= MOST_OF * looks
        )


class ClockWatch:
    """Tells a wall clock that jumped against the monotonic one."""

    def __init__(self) -> None:
        self._apart_s: float | None = None
        self._jumped: tuple[float, float] | None = None

    def look(self, at_s: float, wall: datetime) -> Trouble | None:
        """Compare the clocks; return a trouble for a while after a jump."""
        apart_s = wall.timestamp() - at_s
        if self._apart_s is not None and abs(apart_s - self._apart_s) > CLOCK_JUMP_S:
            self._jumped = (at_s, apart_s - self._apart_s)
        self._apart_s = apart_s
        if self._jumped is None or at_s - self._jumped[0] > CLOCK_TOLD_S:
            return None
        return Trouble("clock jump", CLOCK_SENTENCE.format(by=self._jumped[1]))


def flag_trouble(name: str) -> Trouble:
    """Return the trouble that is a flag."""
    return Trouble(name, flag_sentence(name))


def room_trouble(free_bytes: int) -> Trouble | None:
    """Return the trouble of a disk that is nearly full, None while there is room."""
    if free_bytes >= LEAST_ROOM_BYTES:
        return None
    return Trouble("disk full", ROOM_SENTENCE.format(left=free_bytes / 1e6))
