"""A palm held before the lens twice within three seconds: the signal of oily hands.

A palm 10 to 20 cm before the lens fills the picture, out of focus: nothing of the view before
is left in it, little detail is, and then the same view comes back. A lamp that goes out leaves
the view as a darker one, a knock leaves its detail, a hand at the dial leaves much of both.
Pure of clocks.
"""

from collections import deque

import cv2
import numpy as np
from numpy.typing import NDArray

TWICE_WITHIN_S = 3.0
SHORTEST_S, LONGEST_S = 0.1, 1.4
COVERED, BACK = 0.35, 0.8
"""Likeness (correlation) to the view before: covered below, back above."""

LESS_DETAIL = 0.6
DARKEST = 10.0
"""A picture darker than this is a lamp or a cap, not a palm."""

_WIDTH = 48
_LEARN = 0.1

Small = NDArray[np.float32]


class PalmWatch:
    """Watches one camera."""

    def __init__(self) -> None:
        self._view: Small | None = None
        self._since_s: float | None = None
        self._strange_s: float | None = None
        self._palms: deque[tuple[float, float]] = deque(maxlen=2)

    def look(self, image: NDArray[np.uint8], t_s: float) -> bool:
        """Take a picture in; return whether the second palm has just gone."""
        small = _small(image)
        view = self._view
        if view is None or view.shape != small.shape:
            self._view = small
            return False
        like = _likeness(small, view)
        if self._since_s is None:
            self._uncovered(small, like, t_s)
            return False
        if like > BACK:
            return self._gone(t_s)
        if t_s - self._since_s > LONGEST_S or t_s < self._since_s:
            self._view, self._since_s = small, None  # another view, no palm
            self._palms.clear()
        return False

    def _uncovered(self, small: Small, like: float, t_s: float) -> None:
        assert self._view is not None
        dark = float(small.mean()) < DARKEST
        if like < COVERED and not dark and _detail(small) < LESS_DETAIL * _detail(self._view):
            self._since_s = t_s
            return
        if like > BACK:
            self._strange_s = None
            self._view = self._view + _LEARN * (small - self._view)
            return
        self._strange_s = t_s if self._strange_s is None else self._strange_s
        if not 0 <= t_s - self._strange_s <= LONGEST_S:
            self._view, self._strange_s = small, None  # the camera looks elsewhere now

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


def _likeness(small: Small, view: Small) -> float:
    """Return the correlation of two pictures, 0 where one of them shows nothing."""
    a, b = small - small.mean(), view - view.mean()
    size = float(np.sqrt((a * a).sum() * (b * b).sum()))
    return float((a * b).sum()) / size if size > 0 else 0.0
