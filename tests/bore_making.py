"""Drawn views down a bore from the spindle: face, chamfer, wall, shadow, blur and noise.

Every pixel's rays are cut with the plane of the edge: exact, and sharing nothing with what
reads them.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from calibration.camera import CameraModel

FINE = 2


@dataclass(frozen=True)
class BoreView:
    """Where the edge's centre lies in the camera's frame (mm), the tilt of its plane, light."""

    camera: CameraModel
    radius_mm: float
    centre_mm: tuple
    tilt: tuple = (0.0, 0.0)
    """Slopes of the edge's plane, right and down."""
    chamfer_mm: float = 0.0
    lamp_rad: float = 0.0
    wall: float = 0.5
    shadow: float = 0.0
    blur_px: float = 0.8
    noise: float = 2.0
    seed: int = 0

    def true_centre_px(self):
        """The edge's centre, as a lens without distortion sees it."""
        x, y, z = self.centre_mm
        c = self.camera
        return np.array([c.cx + c.fx * x / z, c.cy + c.fy * y / z])


def random_view(rng, size=(1280, 720), chamfer=True):
    width, height = size
    focal = width * rng.uniform(0.9, 1.3)
    camera = CameraModel(
        width, height, focal, focal, *(np.array(size) / 2 + rng.uniform(-8, 8, 2)).tolist(),
        float(rng.uniform(-0.08, 0.04)), 0.01,
    )  # fmt: skip
    radius_px = rng.uniform(0.28, 0.42) * height
    radius_mm = rng.uniform(12, 45)
    z = focal * radius_mm / radius_px
    room = 0.46 * height - radius_px
    x, y = rng.uniform(-1, 1, 2) * room * z / focal
    ring = float(rng.uniform(0.04, 0.12) * radius_mm) if chamfer and rng.random() < 0.5 else 0.0
    return BoreView(
        camera,
        float(radius_mm),
        (float(x), float(y), float(z)),
        chamfer_mm=ring,
        lamp_rad=float(rng.uniform(0, 2 * np.pi)),
        wall=float(rng.uniform(0.1, 0.6)),
        shadow=float(rng.uniform(0, 0.6)) if rng.random() < 0.5 else 0.0,
        blur_px=float(rng.uniform(0.5, 1.6)),
        noise=float(rng.uniform(1.0, 5.0)),
        seed=int(rng.integers(1 << 30)),
    )  # fmt: skip


def draw(view):
    """Return the picture (rows, columns) of a view."""
    camera, rng = view.camera, np.random.default_rng(view.seed)
    width, height = camera.size
    step = (np.arange(FINE) + 0.5) / FINE - 0.5
    x = (np.arange(width)[:, None] + step).ravel()
    y = (np.arange(height)[:, None] + step).ravel()
    pixels = np.stack(np.meshgrid(x, y), axis=-1).astype(np.float64)
    flat = flattened(pixels, camera)
    cx, cy, cz = view.centre_mm
    sx, sy = view.tilt
    depth = (cz - sx * cx - sy * cy) / (1 - sx * flat[..., 0] - sy * flat[..., 1])
    dx, dy = flat[..., 0] * depth - cx, flat[..., 1] * depth - cy
    dz = depth - cz
    away = np.sqrt(dx**2 + dy**2 + dz**2)
    turn = np.arctan2(dy, dx)
    grain = cv2.GaussianBlur(rng.normal(0, 1, away.shape), (0, 0), 3.0) * 4
    towards = np.cos(turn - view.lamp_rad)
    light = 175 + 6 * towards + 10 * grain
    if view.shadow:
        across = (
            dx * np.cos(view.lamp_rad + 1.1) + dy * np.sin(view.lamp_rad + 1.1)
        ) / view.radius_mm
        band = 1 / (1 + np.exp(-(across - 0.35) / 0.03))
        light *= 1 - view.shadow * band
    outer = view.radius_mm + view.chamfer_mm
    ring = 115 + 30 * towards
    light = np.where(away < outer, ring, light)
    wall = 20 + 90 * view.wall * np.clip(towards, 0, 1) * (away / view.radius_mm) ** 3
    light = np.where(away < view.radius_mm, wall, light)
    small = cv2.resize(light, (width, height), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), view.blur_px)
    return np.clip(np.rint(small + rng.normal(0, view.noise, small.shape)), 0, 255).astype(np.uint8)


def flattened(pixels, camera):
    """Take the lens' distortion off, by repeated division on OpenCV's published model."""
    aim = (pixels - (camera.cx, camera.cy)) / (camera.fx, camera.fy)
    out = aim.copy()
    for _ in range(12):
        square = np.sum(out**2, axis=-1, keepdims=True)
        out = aim / (1 + camera.k1 * square + camera.k2 * square**2)
    return out
