"""What is wrong right now, told within two seconds and taken back once it is over.

Pure of clocks: times are handed in. A trouble has a name and a sentence; those that a
picture shows have the name and sentence of their flag.
"""

from collections import deque
from datetime import datetime

import cv2
import numpy as np
from numpy.typing import NDArray

from readings import DialSight, Reading, flag_sentence
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
    "scale hidden",
    "dial moving",
)

HIDDEN = frozenset({"no dial", "scale hidden", "ambiguous rotation", "out of focus"})
"""What a picture that lost its focus may be refused for."""

LEAST_SHARP = 0.5
FOCUS_EVERY_S = 0.5

Image = NDArray[np.uint8]

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


class FocusWatch:
    """Tells a picture that lost its focus: where the dial was, edges are gone."""

    def __init__(self) -> None:
        self._where: tuple[slice, slice] | None = None
        self._sharp = 0.0
        self._looked_s: float | None = None

    def look(self, image: Image | None, reading: Reading, at_s: float) -> bool:
        """Take a picture in; return whether it is far less sharp than when it was read."""
        if image is None or (reading.ok and not self._due(at_s)):
            return False
        if reading.ok and reading.sight is not None:
            self._where = _square_about(reading.sight)
            self._sharp = max(0.98 * self._sharp, _sharpness(image, self._where))
            return False
        hidden = self._where is not None and not reading.ok and bool(HIDDEN & set(reading.flags))
        if not hidden or self._where is None:
            return False
        return _sharpness(image, self._where) < LEAST_SHARP * self._sharp

    def _due(self, at_s: float) -> bool:
        if self._looked_s is not None and 0 <= at_s - self._looked_s < FOCUS_EVERY_S:
            return False
        self._looked_s = at_s
        return True


def _square_about(sight: DialSight) -> tuple[slice, slice]:
    x, y = (round(float(c)) for c in sight.pivot_px.ravel()[:2])
    half = round(sight.face_radius_px)
    return slice(max(0, y - half), max(0, y + half)), slice(max(0, x - half), max(0, x + half))


def _sharpness(image: Image, where: tuple[slice, slice]) -> float:
    """Return how much neighbouring pixels differ, over the contrast of all (0 where empty)."""
    part = image[where][..., 1]
    if min(part.shape) < 8:
        return 0.0
    edges = cv2.Laplacian(part, cv2.CV_32F)
    spread = float(part.std())
    return float(np.abs(edges).mean()) / (spread + 1.0)


class PictureFaults:
    """Tells which flags most of the last pictures carry."""

    def __init__(self) -> None:
        self._looks: deque[tuple[float, frozenset[str]]] = deque()
        self._focus = FocusWatch()

    def look(self, reading: Reading, at_s: float, image: Image | None = None) -> None:
        """Take in one picture and what was read in it, at the service's own time."""
        flags = frozenset(reading.flags) & frozenset(PICTURE_FAULTS)
        if self._focus.look(image, reading, at_s):
            flags = flags - HIDDEN | {"out of focus"}
        self._looks.append((at_s, flags))

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
