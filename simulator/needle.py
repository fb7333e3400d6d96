"""The needle, its shadow and its cap, drawn anew in each picture.

For each pixel it is known where it meets the plane in which the needle turns (above the
face: parallax is real) and where it meets the face (the shadow's plane). A needle is then a
region of that plane; a pixel's share of it follows from its distance to the needle's edges.
Both edges are softened alike, so the drawn direction is exact to far below a pixel.
"""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from simulator.canvas import BRASS, Image, shade
from simulator.optics import Float, Place, Window, on_plane, project, window_round
from simulator.spec import NEEDLE_HEIGHT_MM, BenchSpec

TIP_MM, TAIL_MM = 16.9, 6.2
_HALF_AT_HUB_MM, _HALF_AT_TIP_MM, _HALF_AT_TAIL_MM = 0.50, 0.11, 0.95
_COLOUR = np.array([40.0, 52.0, 24.0], np.float32)
_EDGE_PX = 2.0
"""Width of the soft edges. Whole pixels: such a ramp keeps an edge's place when sampled."""
_SHADOW_SHIFT_MM = (0.85, -0.90)
"""Where a low lamp at upper left throws the needle's shadow on the face, 1 mm below."""
_CAP_RADIUS_MM, _CAP_HEIGHT_MM = 2.1, 1.7

Soft = NDArray[np.float32]


class Needle:
    """Draws a needle at any angle for one place of the dial."""

    def __init__(self, camera: CameraModel, place: Place, spec: BenchSpec) -> None:
        self._camera, self._place = camera, place
        self._shadow, self._shadow_steep = spec.needle_shadow, 1.0 / spec.shadow_edge_mm
        self._window = self._reach_window()
        self._above = _halves(on_plane(camera, place, NEEDLE_HEIGHT_MM, self._window))
        self._face = _halves(on_plane(camera, place, 0.0, self._window))
        self._to_mm = _millimetres_per_pixel(camera, place)
        self._cap = Cap(camera, place, camera.fx / float(place.origin_mm[2]))

    def paint(self, image: Image, clockwise_rad: float) -> None:
        """Draw shadow, needle and cap into `image`, pointing clockwise from the zero mark."""
        per_mm = self._pixels_per_mm_across(clockwise_rad)
        if self._shadow:
            box = self._box(clockwise_rad, 0.0, _SHADOW_SHIFT_MM)
            maps = self._cut(self._face, box)
            cover = _cover(maps, clockwise_rad, _SHADOW_SHIFT_MM, self._shadow_steep)
            _blend(image, box, cover * np.float32(self._shadow), _COLOUR * 0.5)
        box = self._box(clockwise_rad, NEEDLE_HEIGHT_MM, (0.0, 0.0))
        maps = self._cut(self._above, box)
        _blend(image, box, _cover(maps, clockwise_rad, (0.0, 0.0), per_mm / _EDGE_PX), _COLOUR)
        self._cap.paint(image)

    def _pixels_per_mm_across(self, angle: float) -> float:
        across = np.array([math.cos(angle), -math.sin(angle)])
        return 1.0 / float(np.linalg.norm(across @ self._to_mm))

    def _reach_window(self) -> Window:
        angles = np.linspace(0.0, 2 * math.pi, 60)
        ring = np.column_stack([np.sin(angles), np.cos(angles), np.zeros(60)]) * (TIP_MM + 2.0)
        return window_round(self._camera, project(self._camera, self._place.to_camera(ring)), 8)

    def _box(self, angle: float, height_mm: float, shift: tuple[float, float]) -> Window:
        """Return the part of the window that the needle can touch at this angle."""
        along = np.array([math.sin(angle), math.cos(angle)])
        across = np.array([along[1], -along[0]])
        corners = [along * a + across * b for a in (-TAIL_MM, TIP_MM) for b in (-1.0, 1.0)]
        flat = np.asarray(corners) + shift
        points = np.column_stack([flat, np.full(4, height_mm)])
        pixels = project(self._camera, self._place.to_camera(points))
        return window_round(self._camera, pixels, 6)

    def _cut(self, maps: tuple[Soft, Soft], box: Window) -> tuple[Soft, Soft]:
        top, left = box.top - self._window.top, box.left - self._window.left
        rows = slice(max(0, top), top + box.height)
        columns = slice(max(0, left), left + box.width)
        return maps[0][rows, columns], maps[1][rows, columns]


class Cap:
    """The round brass cap over the needle's hub, painted once."""

    def __init__(self, camera: CameraModel, place: Place, per_mm: float) -> None:
        angles = np.linspace(0.0, 2 * math.pi, 40)
        ring = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(40)])
        ring = ring * _CAP_RADIUS_MM + [0.0, 0.0, _CAP_HEIGHT_MM]
        self._window = window_round(camera, project(camera, place.to_camera(ring)), 5)
        met = on_plane(camera, place, _CAP_HEIGHT_MM, self._window)
        radius = np.hypot(met[..., 0], met[..., 1])
        edge = np.clip(0.5 + (_CAP_RADIUS_MM - radius) * per_mm / _EDGE_PX, 0, 1)
        self._cover = edge.astype(np.float32)
        self._colour = _domed(place, met, radius)

    def paint(self, image: Image) -> None:
        """Draw the cap into `image`."""
        _blend(image, self._window, self._cover, self._colour)


def _domed(place: Place, met: Float, radius: Float) -> Soft:
    """Return the colours of a low dome."""
    bulge = 0.55 * met / _CAP_RADIUS_MM * np.minimum(1.0, radius / _CAP_RADIUS_MM)[..., None]
    own = np.dstack([bulge, np.sqrt(np.clip(1 - np.sum(bulge**2, axis=2), 0.1, 1.0))])
    normals = own.reshape(-1, 3) @ place.axes.T
    seen = np.broadcast_to(place.origin_mm, normals.shape)
    colours = np.clip(shade(BRASS, normals, seen), 0.0, 255.0)
    return np.asarray(colours.reshape(own.shape), dtype=np.float32)


def _millimetres_per_pixel(camera: CameraModel, place: Place) -> Float:
    """Return d(x, y in mm in the needle's plane) / d(x, y in pixels) (2, 2) at its pivot."""
    height = NEEDLE_HEIGHT_MM
    corners = [[0.5, 0, height], [-0.5, 0, height], [0, 0.5, height], [0, -0.5, height]]
    right, left, up, down = project(camera, place.to_camera(corners))
    return np.asarray(np.linalg.inv(np.column_stack([right - left, up - down])))


def _halves(met: Float) -> tuple[Soft, Soft]:
    return (
        np.ascontiguousarray(met[..., 0], dtype=np.float32),
        np.ascontiguousarray(met[..., 1], dtype=np.float32),
    )


def _cover(maps: tuple[Soft, Soft], angle: float, shift: tuple[float, float], steep: float) -> Soft:
    """Return each pixel's share of a needle: edges as wide as 1/steep mm, ends likewise."""
    sin, cos = math.sin(angle), math.cos(angle)
    x, y = maps
    along = cv2.addWeighted(x, sin, y, cos, -(shift[0] * sin + shift[1] * cos))
    across = cv2.addWeighted(x, cos, y, -sin, -(shift[0] * cos - shift[1] * sin))
    to_tip = (_HALF_AT_TIP_MM - _HALF_AT_HUB_MM) / TIP_MM
    to_tail = (_HALF_AT_HUB_MM - _HALF_AT_TAIL_MM) / TAIL_MM
    half = np.where(along > 0, _HALF_AT_HUB_MM + along * to_tip, _HALF_AT_HUB_MM + along * to_tail)
    sides = _ramp((half - across) * steep) + _ramp((half + across) * steep) - np.float32(1.0)
    ends = _ramp(np.minimum(along + TAIL_MM, TIP_MM - along) * steep)
    return np.asarray(sides * ends, dtype=np.float32)


def _ramp(value: Soft) -> Soft:
    """Return a soft step one wide. Two of them back to back are a bar seen through a blur."""
    return np.asarray(np.clip(value + np.float32(0.5), 0.0, 1.0), dtype=np.float32)


def _blend(image: Image, box: Window, cover: Soft, colour: Soft) -> None:
    """Mix a colour, one for all (3,) or one a pixel, into the covered part of a box."""
    target = image[box.rows, box.columns]
    touched = np.nonzero(cover)
    behind = target[touched]
    share = cover[touched][:, None]
    paint = colour if colour.ndim == 1 else colour[touched]
    target[touched] = np.rint(behind + share * (paint - behind)).astype(np.uint8)
