"""A picture to read: in colour, and in grey only if somebody asks."""

from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

EVERY = 32


class Picture:
    """A colour picture (height, width, 3) BGR whose grey form is made when first asked for.

    Turning a whole picture grey takes a fair share of the time that a known dial is read in.
    """

    def __init__(self, image: NDArray[np.uint8]) -> None:
        self.image = image

    @cached_property
    def gray(self) -> NDArray[np.uint8]:
        """The picture in grey (height, width)."""
        return np.asarray(cv2.cvtColor(self.image, cv2.COLOR_BGR2GRAY), dtype=np.uint8)

    @cached_property
    def some(self) -> NDArray[np.uint8]:
        """Every `EVERY`-th row and column: what tells of the whole."""
        return np.ascontiguousarray(self.image[::EVERY, ::EVERY])
