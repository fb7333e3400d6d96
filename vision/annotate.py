"""Draw on a picture what was read from it."""

import cv2
import numpy as np
from numpy.typing import NDArray

from readings import CollarAngle, DialSight, Reading

_GOOD = (80, 200, 60)  # BGR
_REFUSED = (40, 120, 240)
_ZERO = (230, 160, 30)
_COLLAR = (200, 200, 40)
_PAPER = (250, 250, 250)
_SHIFT = 4  # fractional bits of drawn coordinates


def _fixed(points_px: NDArray[np.float64]) -> NDArray[np.int32]:
    return np.asarray(np.round(points_px * (1 << _SHIFT)), dtype=np.int32)


def _polyline(
    image: NDArray[np.uint8], points_px: NDArray[np.float64], colour: tuple[int, int, int]
) -> None:
    if len(points_px) and np.all(np.isfinite(points_px)):
        cv2.polylines(
            image, [_fixed(points_px).reshape(-1, 1, 2)], True, colour, 2, cv2.LINE_AA, _SHIFT
        )


def _line(
    image: NDArray[np.uint8],
    ends_px: NDArray[np.float64],
    colour: tuple[int, int, int],
    width: int,
) -> None:
    if np.all(np.isfinite(ends_px)):
        a, b = (tuple(int(c) for c in end) for end in _fixed(ends_px))
        cv2.line(image, a, b, colour, width, cv2.LINE_AA, _SHIFT)


def _draw_sight(image: NDArray[np.uint8], sight: DialSight, colour: tuple[int, int, int]) -> None:
    _polyline(image, sight.outline_px, colour)
    _line(image, np.array([sight.pivot_px, sight.zero_px]), _ZERO, 1)
    _line(image, sight.needle_px, colour, 2)


def _words(reading: Reading) -> str:
    if not reading.ok or reading.divisions is None or reading.value_mm is None:
        return "refused: " + ", ".join(reading.flags)
    return f"{reading.value_mm:+.4f} mm  ({reading.divisions:.2f} divisions past zero)"


def _caption(image: NDArray[np.uint8], words: str, colour: tuple[int, int, int]) -> None:
    size = max(0.5, image.shape[0] / 900)
    (width, height), base = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, size, 2)
    cv2.rectangle(image, (0, 0), (width + 16, height + base + 14), (30, 30, 30), -1)
    at = (8, height + 8)
    cv2.putText(image, words, at, cv2.FONT_HERSHEY_SIMPLEX, size, colour, 2, cv2.LINE_AA)


def draw_reading(
    image: NDArray[np.uint8], reading: Reading, collar: CollarAngle | None = None
) -> NDArray[np.uint8]:
    """Return a copy of a BGR picture with scale, zero, needle, collar and value drawn on it."""
    out = np.array(image, dtype=np.uint8, copy=True)
    colour = _GOOD if reading.ok else _REFUSED
    if reading.sight is not None:
        _draw_sight(out, reading.sight, colour)
    for corners in collar.corners_px if collar is not None else ():
        _polyline(out, np.asarray(corners), _COLLAR)
    _caption(out, _words(reading), _PAPER if reading.ok else colour)
    return out


def draw_zero(
    image: NDArray[np.uint8], sight: DialSight, reading_divisions: float
) -> NDArray[np.uint8]:
    """Return a copy of a BGR picture with the mark taken as zero ringed, and the needle's line."""
    out = np.array(image, dtype=np.uint8, copy=True)
    _polyline(out, sight.outline_px, _GOOD)
    _line(out, sight.needle_px, _COLLAR, 1)
    outward = sight.zero_px - sight.pivot_px
    outward /= np.linalg.norm(outward)
    size = 0.07 * sight.face_radius_px
    middle = tuple(int(c) for c in _fixed(sight.zero_px - 0.4 * size * outward))
    cv2.circle(out, middle, int(size * (1 << _SHIFT)), _REFUSED, 2, cv2.LINE_AA, _SHIFT)
    x, y = (int(c) for c in sight.zero_px + 2.5 * size * outward)
    cv2.putText(out, "0", (x - 10, y + 10), cv2.FONT_HERSHEY_SIMPLEX, 1.0, _REFUSED, 3, cv2.LINE_AA)
    _caption(out, f"zero here? the needle was read as {reading_divisions:g}", _PAPER)
    return out
