"""The collar: a strip of square markers round a cylinder, drawn anew when it turns."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from calibration.collars import Collar
from simulator.canvas import Image
from simulator.optics import Float, Place, Window, on_cylinder, project, window_round
from simulator.scenery import COLLAR_HALF_MM, COLLAR_RADIUS_MM
from simulator.spec import BenchSpec

_TEXELS_PER_PITCH = 120
_MARKER_TEXELS = 84
"""A marker's side: seven tenths of the pitch, and a whole number of texels for each cell."""
_PAPER, _INK = 226, 34
_FINE = 2


def collar(spec: BenchSpec) -> Collar:
    """Return what is known of the bench's collar before measuring."""
    return Collar(markers=spec.collar_markers, dictionary="4x4_50")


class Strip:
    """Draws the collar at any angle for one place of its axis.

    Marker k is centred at angle 2πk/N in the collar's own frame, anticlockwise seen from
    above, upright. `collar_rad` is the angle of the collar's frame that points to the lens'
    side, along the axis' own x.
    """

    def __init__(self, camera: CameraModel, place: Place, markers: int) -> None:
        self._window = _strip_window(camera, place)
        angle, height, facing = on_cylinder(camera, place, COLLAR_RADIUS_MM, self._window)
        texture = _texture(markers)
        self._round_texels = markers * _TEXELS_PER_PITCH
        per_rad = self._round_texels / (2 * math.pi)
        per_mm = per_rad / COLLAR_RADIUS_MM
        seen = np.isfinite(angle) & (np.abs(height) <= COLLAR_HALF_MM)
        self._texture = np.hstack([texture, texture])
        self._map_x = np.nan_to_num((angle + math.pi) * per_rad - 0.5).astype(np.float32)
        middle = (texture.shape[0] - 1) / 2
        self._map_y = np.nan_to_num(middle - height * per_mm).astype(np.float32)
        self._soften(seen, np.nan_to_num(facing))

    def paint(self, image: Image, collar_rad: float) -> None:
        """Draw the strip into `image`."""
        share = (collar_rad / (2 * math.pi) - 0.5) % 1.0
        map_x = self._map_x + np.float32(share * self._round_texels)
        fine = cv2.remap(self._texture, map_x, self._map_y, cv2.INTER_LINEAR)
        grey = cv2.resize(fine, self._size, interpolation=cv2.INTER_AREA)
        grey = cv2.multiply(grey, self._light, dtype=cv2.CV_32F)
        target = image[self._window.rows, self._window.columns]
        colour = cv2.merge([grey, grey, grey])
        target[:] = np.rint(target + self._cover * (colour - target)).astype(np.uint8)

    def _soften(self, seen: NDArray[np.bool_], facing: Float) -> None:
        self._size = (self._window.width, self._window.height)
        cover = cv2.resize(seen.astype(np.float32), self._size, interpolation=cv2.INTER_AREA)
        light = (0.50 + 0.50 * np.clip(facing, 0.0, 1.0)).astype(np.float32)
        self._light = cv2.resize(light, self._size, interpolation=cv2.INTER_AREA)
        self._cover = cv2.merge([cover, cover, cover])


def _strip_window(camera: CameraModel, place: Place) -> Window:
    angles = np.linspace(-math.pi / 2, math.pi / 2, 40)
    ring = np.column_stack([np.cos(angles), np.sin(angles)]) * COLLAR_RADIUS_MM
    edges = [np.column_stack([ring, np.full(40, z)]) for z in (-COLLAR_HALF_MM, COLLAR_HALF_MM)]
    pixels = project(camera, place.to_camera(np.vstack(edges)))
    return window_round(camera, pixels, 2, _FINE)


def _texture(markers: int) -> Image:
    """Draw the strip unrolled: angle along the columns, marker 0 centred at column 0."""
    pitch_mm = 2 * math.pi * COLLAR_RADIUS_MM / markers
    high = round(2 * COLLAR_HALF_MM / pitch_mm * _TEXELS_PER_PITCH)
    side = _MARKER_TEXELS
    texture = np.full((high, markers * _TEXELS_PER_PITCH), _PAPER, np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    top, left = (high - side) // 2, (_TEXELS_PER_PITCH - side) // 2
    for k in range(markers):
        drawn = cv2.aruco.generateImageMarker(dictionary, k, side, borderBits=1)
        column = k * _TEXELS_PER_PITCH + left
        texture[top : top + side, column : column + side] = np.where(drawn > 127, _PAPER, _INK)
    return np.asarray(np.roll(texture, -_TEXELS_PER_PITCH // 2, axis=1), dtype=np.uint8)
