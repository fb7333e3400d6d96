"""Straight rows of samples in a picture, told as light along one colour.

A row across a mark or a needle is a few dozen pixels long: over so little a lens bends no line
by a hundredth of a pixel, so a row's two ends are projected and the rest lies between them.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.dial_pose import Float
from vision.dial_profiles import linear

Table = NDArray[np.float32]

_SUM = np.ones((1, 3), np.float32)


def colour_table(weights: Float) -> Table:
    """Return (256, 1, 3): what each channel's grey levels add to light weighed by `weights`."""
    light = linear(np.arange(256, dtype=np.uint8))
    return np.asarray((light[:, None] * weights)[:, None], dtype=np.float32)


def light_by(table: Table, samples: NDArray[np.uint8]) -> Table:
    """Return the light (n, m) of samples (n, m, 3) by a table of `colour_table`."""
    return np.asarray(cv2.transform(cv2.LUT(samples, table), _SUM))


def light_in_rows(image: NDArray[np.uint8], ends_px: Float, count: int, table: Table) -> Table:
    """Return light (n, count) at even steps between the ends (n, 2, 2) of rows in a picture."""
    first, last = ends_px.astype(np.float32).transpose(1, 2, 0)
    share = np.linspace(0.0, 1.0, count, dtype=np.float32)
    x, y = (a[:, None] + (b - a)[:, None] * share for a, b in zip(first, last, strict=True))
    got = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return light_by(table, np.asarray(got, dtype=np.uint8))
