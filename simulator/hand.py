"""A hand held before the dial: near the lens, so out of focus."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.canvas import Image
from simulator.optics import Window

_SKIN = np.array([118.0, 146.0, 190.0])
_BLUR_SHARE = 0.03
# Fingers in units of the covered width from its middle: (knuckle x, y, tip x, y, thickness).
_FINGERS = (
    (-0.62, 0.66, 0.40, 0.30, 0.25),
    (-0.70, 0.42, 0.52, 0.08, 0.27),
    (-0.70, 0.16, 0.50, -0.15, 0.26),
    (-0.62, -0.08, 0.38, -0.36, 0.23),
)
_PALM = ((-0.42, -0.20), (-0.30, 0.05), (-0.26, 0.42), (-0.34, 0.84), (-1.2, 1.5), (-1.5, 0.2))


@dataclass(frozen=True, slots=True, eq=False)
class Hand:
    """A hand that covers a window of the picture: colour weighted by cover, and the rest."""

    window: Window
    colour: Image
    open_share: Image

    def paint(self, image: Image) -> None:
        """Draw the hand into `image`."""
        target = image[self.window.rows, self.window.columns]
        behind = cv2.multiply(target, self.open_share, scale=1 / 255)
        cv2.add(behind, self.colour, dst=target)


def hand_over(window: Window, width: int, height: int) -> Hand:
    """Return a hand whose fingers lie over a window of a picture of the given size."""
    middle = (window.left + window.width / 2, window.top + window.height / 2)
    size = max(window.width, window.height)
    colour = np.zeros((height, width, 3), np.float32)
    cover = np.zeros((height, width), np.uint8)
    for finger in _FINGERS:
        _stroke_finger(colour, cover, finger, middle, size)
    _stroke_palm(colour, cover, middle, size)
    return _cut_out(colour, cover, _BLUR_SHARE * size)


def _stroke_palm(
    colour: NDArray[np.float32], cover: Image, middle: tuple[float, float], size: float
) -> None:
    points = np.array([(middle[0] + x * size, middle[1] + y * size) for x, y in _PALM], np.int32)
    cv2.fillConvexPoly(colour, points, tuple(_SKIN * 0.92))
    cv2.fillConvexPoly(cover, points, (255,))


def _stroke_finger(
    colour: NDArray[np.float32],
    cover: Image,
    finger: tuple[float, ...],
    middle: tuple[float, float],
    size: float,
) -> None:
    """Draw a finger as strokes from wide and dark to narrow and light: it looks round."""
    start = (round(middle[0] + finger[0] * size), round(middle[1] + finger[1] * size))
    end = (round(middle[0] + finger[2] * size), round(middle[1] + finger[3] * size))
    for share, tone in ((1.0, 0.62), (0.86, 0.80), (0.66, 0.93), (0.40, 1.02)):
        cv2.line(colour, start, end, tuple(_SKIN * tone), max(1, round(finger[4] * size * share)))
    cv2.line(cover, start, end, (255,), max(1, round(finger[4] * size)))


def _cut_out(colour: NDArray[np.float32], cover: Image, blur_px: float) -> Hand:
    soft = cv2.GaussianBlur(cover, (0, 0), blur_px)
    rows, columns = np.flatnonzero(soft.any(axis=1)), np.flatnonzero(soft.any(axis=0))
    box = Window(int(columns[0]), int(rows[0]), int(np.ptp(columns)) + 1, int(np.ptp(rows)) + 1)
    skin = cv2.GaussianBlur(colour, (0, 0), blur_px)[box.rows, box.columns]
    open_share = cv2.merge([255 - soft[box.rows, box.columns]] * 3)
    return Hand(box, np.clip(skin, 0, 255).astype(np.uint8), np.asarray(open_share, np.uint8))
