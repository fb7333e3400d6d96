"""A palm held before the lens twice within three seconds: the signal of oily hands.

A palm 10 to 20 cm before the lens fills the picture, out of focus: nearly all of it changes
against the view before, its detail goes, and the same view comes back. A dropped lamp, a
knocked camera or a hand at the dial do not do that twice. Pure of clocks.
"""

from collections import deque

import cv2
import numpy as np
from numpy.typing import NDArray

TWICE_WITHIN_S = 3.0
SHORTEST_S, LONGEST_S = 0.1, 1.4
COVERED, BACK = 0.75, 0.35
"""Shares of the picture that differ from the view before: covered from, back below."""

DIFFERENT = 18.0
"""Grey levels."""

LESS_DETAIL = 0.6
DARKEST = 10.0
"""A picture darker than this is a lamp or a cap, not a palm."""

_WIDTH = 48
_LEARN, _LEARN_UNSURE = 0.1, 0.01

Small = NDArray[np.float32]


class PalmWatch:
    """Watches one camera."""

    def __init__(self) -> None:
        self._view: Small | None = None
        self._since_s: float | None = None
        self._palms: deque[tuple[float, float]] = deque(maxlen=2)

    def look(self, image: NDArray[np.uint8], t_s: float) -> bool:
        """Take a picture in; return whether the second palm has just gone."""
        small = _small(image)
        view = self._view
        if view is None or view.shape != small.shape:
            self._view = small
            return False
        share = float((np.abs(small - view) > DIFFERENT).mean())
        if self._since_s is None:
            return self._uncovered(small, share, t_s)
        if share < BACK:
            return self._gone(t_s)
        if t_s - self._since_s > LONGEST_S or t_s < self._since_s:
            self._view, self._since_s = small, None  # another view, no palm
            self._palms.clear()
        return False

    def _uncovered(self, small: Small, share: float, t_s: float) -> bool:
        assert self._view is not None
        if share > COVERED and _detail(small) < LESS_DETAIL * _detail(self._view):
            self._since_s = t_s if float(small.mean()) > DARKEST else None
        else:
            learn = _LEARN if share < BACK else _LEARN_UNSURE
            self._view = self._view + learn * (small - self._view)
        return False

    def _gone(self, t_s: float) -> bool:
        since_s, self._since_s = self._since_s or t_s, None
        if t_s - since_s < SHORTEST_S:
            return False
        self._palms.append((since_s, t_s))
        twice = len(self._palms) == 2 and t_s - self._palms[0][0] <= TWICE_WITHIN_S
        if twice:
            self._palms.clear()
        return twice


def _small(image: NDArray[np.uint8]) -> Small:
    step = max(1, image.shape[1] // _WIDTH)
    gray = image[step // 2 :: step, step // 2 :: step].mean(axis=2, dtype=np.float32)
    return np.asarray(gray, dtype=np.float32)


def _detail(small: Small) -> float:
    """Return how much neighbours differ."""
    return float(cv2.absdiff(small[:, 1:], np.ascontiguousarray(small[:, :-1])).mean()) + 0.5
