"""Which markers a collar shows over a whole sweep, held against how many it is said to have."""

from collections import Counter

import cv2
import numpy as np

from calibration.collars import Collar
from readings import Frame
from vision.collar_find import Found, MarkerFinder

_SEEN_OFTEN = 2
"""Pictures in which a number must stand before it counts: one may be a misread square."""
_LEAST_SEAM = 3
_BESIDE = 1.5
"""Two markers nearer than so many of the widest steps in sight stand side by side."""
_MOST = 50
"""Markers of the 4x4_50 dictionary."""


class CollarCensus:
    """Counts marker numbers, and which of them were in sight together."""

    def __init__(self, collar: Collar) -> None:
        self._told = collar.markers
        self._finder = MarkerFinder(Collar(_MOST, collar.dictionary))
        self._seen: Counter[int] = Counter()
        self._seam: Counter[int] = Counter()

    def look(self, frame: Frame) -> None:
        """Count the numbers in one picture, any number of the dictionary."""
        if frame.image is None:
            return
        grey = np.asarray(cv2.cvtColor(frame.image, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
        found = self._finder.find(grey)
        self._seen.update(found.numbers.tolist())
        before_zero = _neighbour_of_zero(found)
        if before_zero is not None:
            self._seam[before_zero] += 1

    def contradiction(self) -> str | None:
        """Return why the collar cannot have as many markers as was told, None if it can."""
        often = [number for number, times in self._seen.items() if times >= _SEEN_OFTEN]
        highest = max(often, default=0)
        if highest >= self._told:
            return (
                f"marker {highest} was seen, a collar of {self._told} carries 0 to {self._told - 1}"
            )
        if self._seam[highest] >= _SEEN_OFTEN and highest + 1 < self._told:
            return (
                f"marker {highest} stands next to 0 and no higher number was seen, "
                f"a collar of {self._told} ends with {self._told - 1}"
            )
        return None


def _neighbour_of_zero(found: Found) -> int | None:
    """Return the highest number in sight where it stands right beside marker 0."""
    centre = dict(zip(found.numbers.tolist(), found.corners_px.mean(axis=1), strict=True))
    highest = max(centre, default=0)
    if 0 not in centre or highest < _LEAST_SEAM:
        return None
    steps = [np.linalg.norm(centre[n + 1] - at) for n, at in centre.items() if n + 1 in centre]
    across = np.linalg.norm(centre[highest] - centre[0])
    return highest if steps and across < _BESIDE * max(steps) else None
