"""Drawn views of a printed target: exact artwork from its own sheet, random views of it."""

import cv2
import numpy as np
from board_making import drawn

from calibration.camera import CameraModel
from calibration.sheets import Disc, Words, target_sheet

CAMERA = CameraModel(640, 480, 820.0, 816.0, 325.0, 236.0, -0.15, 0.05, 0.0005, -0.0003, 0.0)
PER_MM = 25


def artwork(target):
    """Grey artwork at `PER_MM` pixels a mm, and the mm from its middle to its edge."""
    sheet = target_sheet(target.number, target.size_mm, "a4")
    middle = (sheet.width_mm / 2, sheet.height_mm / 2)
    half = 0.5 * target.size_mm + 6
    n = round(2 * half * PER_MM)
    image, grid = np.full((n, n), 255.0), (np.arange(n) + 0.5) / PER_MM - half
    for shape in sheet.shapes:
        if isinstance(shape, Words):
            continue
        x, y = shape.x - middle[0], shape.y - middle[1]
        if isinstance(shape, Disc):
            away = np.hypot(grid[None] - x, grid[:, None] - y)
            share = np.clip((shape.radius - away) * PER_MM + 0.5, 0, 1)
        else:
            share = np.outer(_within(grid, y, shape.height), _within(grid, x, shape.width))
        image += share * ((0.0 if shape.black else 255.0) - image)
    return np.rint(image).astype(np.uint8), half


def _within(grid, start, length):
    begun = np.clip((grid - start) * PER_MM + 0.5, 0, 1)
    return begun * np.clip((start + length - grid) * PER_MM + 0.5, 0, 1)


def random_pose(target, rng, size_px=(140, 380), most_tilt_deg=35.0):
    tilt, way = np.radians(rng.uniform(0, most_tilt_deg)), rng.uniform(0, 2 * np.pi)
    lean = tilt * np.array([np.cos(way), np.sin(way), 0.0])
    spin = np.array([0.0, 0.0, rng.uniform(-3, 3)])
    turn = cv2.Rodrigues(lean)[0] @ cv2.Rodrigues(spin)[0]
    far = target.size_mm * CAMERA.fx / rng.uniform(*size_px)
    place = np.array([rng.uniform(-0.12, 0.12), rng.uniform(-0.08, 0.08), 1.0]) * far
    return cv2.Rodrigues(turn)[0].ravel(), place


def picture(art, pose, rng, blur_px):
    image, half = art
    return drawn(None, image, PER_MM, half, *pose, rng, camera=CAMERA, blur_px=blur_px)


def centre_px(pose):
    seen, _ = cv2.projectPoints(np.zeros((1, 3)), *pose, CAMERA.matrix, CAMERA.distortion)
    return seen.ravel()
