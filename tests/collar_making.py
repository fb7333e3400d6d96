"""A collar drawn for the tests by casting a ray through every quarter pixel.

Shares nothing with the reader but the camera's pinhole: the strip's picture is looked up at
the place where the ray meets the cylinder.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from calibration.camera import CameraModel
from readings import Frame

CAMERA = CameraModel(640, 400, 700.0, 700.0, 319.5, 199.5, k1=-0.07)
CELLS, CELL_TEXELS = 6, 20


@dataclass(frozen=True)
class Drawn:
    """Angles in degrees, lengths in cylinder radii; `roll_deg` turns the axis in the picture."""

    markers: int = 16
    share: float = 0.74
    roll_deg: float = 3.0
    nod_deg: float = 8.0
    depth: float = 5.2
    aside: float = 0.25
    noise_grey: float = 2.0
    blur_px: float = 0.8
    quarter_turns: int = 0
    camera: CameraModel = CAMERA


def texture(drawn):
    """The strip unrolled, numbers rising to the right, marker 0 in the middle of its pitch."""
    side = CELLS * CELL_TEXELS
    pitch = side + 2 * round((side / drawn.share - side) / 2)  # a marker lies in its middle
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    strip = np.full((round(1.5 * side), pitch * drawn.markers), 225, np.uint8)
    top, left = (strip.shape[0] - side) // 2, (pitch - side) // 2
    for k in range(drawn.markers):
        marker = cv2.aruco.generateImageMarker(dictionary, k, side, borderBits=1)
        marker = np.rot90(marker, drawn.quarter_turns)
        strip[top : top + side, k * pitch + left : k * pitch + left + side] = np.where(
            marker > 127, 225, 30
        )
    return strip, pitch


def axes(drawn):
    """Columns: towards the camera, right of it, up the axis; all in camera coordinates."""
    roll, nod = np.radians(drawn.roll_deg), np.radians(drawn.nod_deg)
    up = np.array([np.sin(roll), -np.cos(roll), 0.0])
    right = np.array([np.cos(roll), np.sin(roll), 0.0])
    towards = np.array([0.0, 0.0, -1.0])
    up = np.cos(nod) * up + np.sin(nod) * towards
    return np.column_stack([np.cross(right, up), right, up])


class CollarPainter:
    """Draws one collar at any angle: `angle_deg` of the strip faces the camera's side."""

    def __init__(self, drawn, rng):
        self.drawn, self.rng = drawn, rng
        self.strip, self.pitch = texture(drawn)
        camera = drawn.camera
        x, y = np.meshgrid(
            (np.arange(2 * camera.image_width) - 0.5) / 2,
            (np.arange(2 * camera.image_height) - 0.5) / 2,
        )
        rays = camera.undistort(np.column_stack([x.ravel(), y.ravel()]))
        basis = axes(drawn)
        ray = np.column_stack([rays, np.ones(len(rays))]) @ basis
        centre = np.array([drawn.aside, 0.1, drawn.depth])
        origin = -centre @ basis
        a = np.sum(ray[:, :2] ** 2, axis=1)
        b = ray[:, :2] @ origin[:2]
        root = b**2 - a * (origin[:2] @ origin[:2] - 1)
        t = (-b - np.sqrt(np.maximum(root, 0))) / a
        hit = origin + t[:, None] * ray
        # the azimuth that faces the camera's side, by the nearest line of the cylinder
        facing = np.arctan2(origin[1], origin[0])
        shape = x.shape
        self.per_rad = self.pitch * drawn.markers / (2 * np.pi)
        azimuth = (np.arctan2(hit[:, 1], hit[:, 0]) - facing).reshape(shape)
        height = hit[:, 2].reshape(shape)
        light = (0.35 + 0.65 * np.clip(hit[:, 0], 0, 1)).reshape(shape)
        self.column = (azimuth * self.per_rad + self.pitch / 2 - 0.5).astype(np.float32)
        self.row = ((self.strip.shape[0] - 1) / 2 - height * self.per_rad).astype(np.float32)
        self.light = light.astype(np.float32)
        self.on = (root > 0).reshape(shape)

    def paint(self, angle_deg):
        window, still = self.still()
        column = self.column[window] + np.float32(np.radians(angle_deg) * self.per_rad)
        wide = np.hstack([self.strip, self.strip[:, : self.pitch]])
        fine = cv2.remap(
            wide,
            np.mod(column, np.float32(self.strip.shape[1])),
            self.row[window],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=110,
        )
        fine = np.where(self.on[window], fine * self.light[window], np.float32(80.0))
        high, wide_px = fine.shape
        small = fine.reshape(high // 2, 2, wide_px // 2, 2).mean(axis=(1, 3))
        grey = still.copy()
        grey[tuple(slice(s.start // 2, s.stop // 2) for s in window)] = small
        grey = cv2.GaussianBlur(grey, (0, 0), self.drawn.blur_px)
        noise = self.rng.standard_normal(grey.shape, dtype=np.float32)
        grey = grey + np.float32(self.drawn.noise_grey) * noise
        return np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[:, :, None], 3, axis=2)

    def still(self):
        """Return the window that holds the strip, and the picture outside it."""
        rows, columns = np.nonzero(self.on & (np.abs(self.row) < 2 * self.strip.shape[0]))
        window = tuple(slice(v.min() // 2 * 2, v.max() // 2 * 2 + 2) for v in (rows, columns))
        return window, np.full([n // 2 for n in self.on.shape], 80.0, np.float32)

    def frame(self, angle_deg, index=0):
        return Frame(self.paint(angle_deg), index / 15, index, "drawn")
