"""What a stream's pictures tell about the camera: frozen, or seen through a smeared lens."""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.dial_profiles import linear
from vision.picture import Picture

_LIGHT = linear(np.arange(256, dtype=np.uint8)).astype(np.float32)

_FROZEN_S = 1.0
_FROZEN_PICTURES = 5
_VEILED = 0.7  # contrast left, of the best so far, that says the lens is smeared
_FOR_PICTURES = 3


class FrozenWatch:
    """Tell a camera that delivers the same picture again and again.

    Sensor noise makes no two pictures alike. The very same array read twice is no camera's
    doing and does not count.
    """

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Begin a new stream."""
        self._image: NDArray[np.uint8] | None = None
        self._some: NDArray[np.uint8] | None = None
        self._since_s = 0.0
        self._alike = 0

    def look(self, picture: Picture, t_s: float) -> bool:
        """Take a picture in and return whether it has been the same one for too long."""
        image, some = picture.image, picture.some
        if image is self._image:
            return False
        if self._some is None or not np.array_equal(some, self._some):
            self._since_s, self._alike = t_s, 0
        else:
            self._alike += 1
        self._image, self._some = image, some
        return self._alike >= _FROZEN_PICTURES and t_s - self._since_s >= _FROZEN_S


class ClarityWatch:
    """Tell a lens that got smeared: contrast fell on the dial and all over the picture.

    Grease spreads light: the picture's mean stays and its contrast falls, near and far. A lamp
    that goes out takes both down alike, a hand changes one of the two.
    """

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Begin a new stream."""
        self._best: tuple[float, float] = (0.0, 0.0)
        self._veiled = 0

    def look(self, picture: Picture, marks_light: float) -> bool:
        """Take a picture with the contrast of its marks in; return whether the lens is smeared."""
        mean, spread = (
            float(one[0, 0]) for one in cv2.meanStdDev(cv2.LUT(picture.some[..., 1], _LIGHT))
        )
        marks, whole = marks_light / (mean + 1e-6), spread / (mean + 1e-6)
        best = self._best
        self._best = (max(best[0], marks), max(best[1], whole))
        veiled = marks < _VEILED * best[0] and whole < _VEILED * best[1]
        self._veiled = self._veiled + 1 if veiled else 0
        return self._veiled >= _FOR_PICTURES
