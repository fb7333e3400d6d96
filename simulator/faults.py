"""What can go wrong with a picture: a smeared lens, a knocked camera, rows read in turn."""

import math
from collections import deque

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from simulator.canvas import Image
from simulator.optics import Float, project, rays

_GREASE_PX = 5.0
"""Blur by grease in a picture 1280 pixels wide."""
_VEIL = 0.45
"""Share of a pixel's light that grease spreads over the whole picture."""
_KNOCK_DEG = (0.5, 1.1)
"""By how much a knock turns the camera, least and most."""
_MOST_KEPT = 64


class LensFaults:
    """A smeared lens and a knocked camera, laid over pictures that were drawn without them."""

    def __init__(self, camera: CameraModel) -> None:
        self._camera = camera
        self.smeared = False
        self.knocks = 0
        self._turned = np.eye(3)
        self._maps: tuple[NDArray[np.float32], NDArray[np.float32]] | None = None
        self._last: tuple[Image, Image] | None = None

    def smear(self, on: bool) -> None:
        """Smear the lens with grease, or wipe it."""
        self.smeared, self._last = on, None

    def knock(self, rng: np.random.Generator) -> None:
        """Turn the camera a little about its lens; it stays so."""
        way, by = rng.uniform(0.0, 2 * math.pi), math.radians(rng.uniform(*_KNOCK_DEG))
        vector = by * np.array([math.cos(way), math.sin(way), rng.uniform(-0.5, 0.5)])
        self._turned = np.asarray(cv2.Rodrigues(vector)[0]) @ self._turned
        self.knocks += 1
        self._maps, self._last = self._maps_now(), None

    def seen(self, image: Image) -> Image:
        """Return a picture as it is seen so; the same object again for the same picture."""
        if not self.smeared and self._maps is None:
            return image
        if self._last is None or self._last[0] is not image:
            out = image
            if self._maps is not None:
                out = _image(cv2.remap(out, *self._maps, cv2.INTER_CUBIC, None,
                                       cv2.BORDER_REPLICATE))  # fmt: skip
            if self.smeared:
                out = _greased(out)
            out.flags.writeable = False
            self._last = image, out
        return self._last[1]

    def _maps_now(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return where each pixel of the turned camera was before: rays turn, the lens does not."""
        camera = self._camera
        wide, high = camera.image_width, camera.image_height
        grid = np.stack(np.meshgrid(np.arange(wide), np.arange(high)), axis=-1).reshape(-1, 2)
        flat: Float = rays(camera, grid)
        look = np.column_stack([flat, np.ones(len(flat))]) @ self._turned.T
        pixels = project(camera, look).reshape(high, wide, 2).astype(np.float32)
        return pixels[..., 0].copy(), pixels[..., 1].copy()


def _greased(image: Image) -> Image:
    """Return a picture through grease: blurred, and some of its light spread over all."""
    soft = cv2.GaussianBlur(image, (0, 0), _GREASE_PX * image.shape[1] / 1280)
    mean = np.full_like(image, np.rint(image.mean(axis=(0, 1))).astype(np.uint8))
    return _image(cv2.addWeighted(soft, 1 - _VEIL, mean, _VEIL, 0.0))


def _image(array: object) -> Image:
    return np.asarray(array, dtype=np.uint8)


class RowDelay:
    """A rolling shutter: what lies higher in the picture was read out earlier.

    It keeps what it is told with its time and returns it as it was a while before.
    """

    def __init__(self) -> None:
        self._kept: deque[tuple[float, float]] = deque(maxlen=_MOST_KEPT)

    def tell(self, t_s: float, value: float) -> None:
        """Take in a value at a time; times rise."""
        if not self._kept or t_s > self._kept[-1][0]:
            self._kept.append((t_s, value))

    def before(self, t_s: float, value: float, by_s: float) -> float:
        """Return the value `by_s` seconds before now, at which it is `value`."""
        if by_s <= 0 or not self._kept:
            return value
        times = [one[0] for one in self._kept if one[0] < t_s] + [t_s]
        values = [one[1] for one in self._kept if one[0] < t_s] + [value]
        return float(np.interp(t_s - by_s, times, values))
