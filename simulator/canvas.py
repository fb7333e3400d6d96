"""A finely divided picture on which solids are painted once, before the first frame."""

import itertools
import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from simulator.optics import Float, Place, project

Image = NDArray[np.uint8]
Colour = tuple[float, float, float]
"""Blue, green, red, 0 to 255."""

FINE = 2
_SHIFT = 4
_LAMP = np.array([-0.45, -0.72, -0.53])
"""Direction towards the main lamp, camera frame: up, left, behind the camera."""


@dataclass(frozen=True, slots=True)
class Material:
    """How a surface answers to light: its colour, and how much it mirrors (0 dull, 1 bright)."""

    colour: Colour
    gloss: float


STEEL = Material((178.0, 182.0, 186.0), 0.8)
DARK_STEEL = Material((96.0, 98.0, 102.0), 0.55)
BLACKED = Material((44.0, 44.0, 46.0), 0.35)
CAST_IRON = Material((104.0, 112.0, 116.0), 0.15)
BRIGHT_IRON = Material((160.0, 166.0, 170.0), 0.45)
BRASS = Material((92.0, 160.0, 196.0), 0.7)


class Canvas:
    """A picture `fine` times finer than the camera's, with its coverage."""

    def __init__(self, camera: CameraModel, fine: int = FINE) -> None:
        self.camera, self._fine = camera, fine
        shape = (camera.image_height * fine, camera.image_width * fine)
        self.colour = np.zeros((*shape, 3), np.uint8)
        self.cover = np.zeros(shape, np.uint8)

    def polygons(self, corners_px: Float, colours: Float) -> None:
        """Fill convex polygons (n, corners, 2), in the camera's pixels, with colours (n, 3)."""
        fine = np.round(((corners_px + 0.5) * self._fine - 0.5) * (1 << _SHIFT)).astype(np.int32)
        for corners, bgr in zip(fine, np.clip(colours, 0, 255).tolist(), strict=True):
            cv2.fillConvexPoly(self.colour, corners, bgr, cv2.LINE_8, _SHIFT)
            cv2.fillConvexPoly(self.cover, corners, (255,), cv2.LINE_8, _SHIFT)

    def turned(
        self, place: Place, profile: list[tuple[float, float]], material: Material, knurls: int = 0
    ) -> None:
        """Paint a turned solid from its profile [(radius mm, height mm)].

        The profile runs up the outside, over the top inwards and down the inside; the surface
        to the left of its run is air. Parts turned away from the lens are left out.
        """
        for start, end in itertools.pairwise(profile):
            self._frustum(place, (*start, *end), material, knurls)

    def tube(
        self, start_mm: Float, end_mm: Float, radii_mm: tuple[float, float], material: Material
    ) -> None:
        """Paint a round rod between two points of the camera's frame, tapering if told."""
        axis = (end_mm - start_mm) / np.linalg.norm(end_mm - start_mm)
        helper = np.array([0.0, 0.0, 1.0]) if abs(axis[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
        x = np.cross(helper, axis)
        x /= np.linalg.norm(x)
        place = Place(np.column_stack([x, np.cross(axis, x), axis]), start_mm)
        length = float(np.linalg.norm(end_mm - start_mm))
        self.turned(place, [(radii_mm[0], 0.0), (radii_mm[1], length), (0.0, length)], material)

    def _frustum(
        self, place: Place, ends: tuple[float, float, float, float], material: Material, knurls: int
    ) -> None:
        radius_a, z_a, radius_b, z_b = ends
        count = 2 * knurls if knurls else self._segments(place, max(radius_a, radius_b))
        edges = np.linspace(0.0, 2 * math.pi, count + 1)
        middles = (edges[:-1] + edges[1:]) / 2
        normals = _normals(place, middles, z_b - z_a, radius_a - radius_b)
        seen = place.to_camera(_ring(middles, (radius_a + radius_b) / 2, (z_a + z_b) / 2))
        colours = shade(material, normals, seen)
        if knurls and abs(z_b - z_a) > abs(radius_b - radius_a):
            colours *= np.where(np.arange(count) % 2, 1.08, 0.72)[:, None]
        low = project(self.camera, place.to_camera(_ring(edges, radius_a, z_a)))
        high = project(self.camera, place.to_camera(_ring(edges, radius_b, z_b)))
        shown = np.sum(normals * seen, axis=1) < 0
        corners = np.stack([low[:-1], low[1:], high[1:], high[:-1]], axis=1)
        self.polygons(corners[shown], colours[shown])

    def _segments(self, place: Place, radius_mm: float) -> int:
        """Return how many flat pieces make a ring look round."""
        radius_px = radius_mm * self.camera.fx / max(float(place.origin_mm[2]), 1.0)
        return int(np.clip(radius_px, 24, 240))


def shade(material: Material, normals: Float, points_mm: Float) -> Float:
    """Return colours (n, 3) of surface elements lit by the lamp and mirroring a pale room."""
    look = points_mm / np.linalg.norm(points_mm, axis=1, keepdims=True)
    lamp = _LAMP / np.linalg.norm(_LAMP)
    dull = 0.42 + 0.58 * np.clip(normals @ lamp, 0.0, 1.0)
    mirror = look - 2 * np.sum(look * normals, axis=1, keepdims=True) * normals
    sky = 0.5 + 0.5 * np.tanh(3.0 * (-mirror[:, 1] - 0.05))
    stripe = np.exp(-(((mirror[:, 0] + 0.35) / 0.22) ** 2)) + 0.4 * np.exp(
        -(((mirror[:, 0] - 0.72) / 0.12) ** 2)
    )
    glint = np.clip(mirror @ lamp, 0.0, 1.0) ** 24
    bright = 0.30 + 0.45 * sky + 0.38 * stripe
    level = (1 - material.gloss) * dull + material.gloss * bright
    return np.asarray(level[:, None] * material.colour + 150.0 * material.gloss * glint[:, None])


def _ring(angles: Float, radius: float, z: float) -> Float:
    return np.column_stack(
        [radius * np.cos(angles), radius * np.sin(angles), np.full(len(angles), z)]
    )


def _normals(place: Place, angles: Float, radial: float, axial: float) -> Float:
    own = _ring(angles, radial, axial)
    return np.asarray((own / math.hypot(radial, axial)) @ place.axes.T)


def smooth(value: Float, low: float, high: float) -> Float:
    """Return 0 below `low`, 1 above `high` and a soft step between."""
    x = np.clip((value - low) / (high - low), 0.0, 1.0)
    return np.asarray(x * x * (3 - 2 * x))
