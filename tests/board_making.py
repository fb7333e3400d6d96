"""Views of a board through known cameras: corners with noise, and whole drawn pictures."""

from dataclasses import replace

import cv2
import numpy as np

from calibration.calibrate import View
from calibration.camera import CameraModel
from vision.board_find import charuco_board

CAMERA = CameraModel(1280, 720, 1040.0, 1036.0, 652.0, 349.0, -0.21, 0.06, 0.0008, -0.0005, 0.0)


def scaled(width_px):
    """The drawn camera with smaller pictures."""
    k = width_px / CAMERA.image_width
    return replace(
        CAMERA,
        image_width=width_px,
        image_height=round(CAMERA.image_height * k),
        fx=CAMERA.fx * k,
        fy=CAMERA.fy * k,
        cx=(CAMERA.cx + 0.5) * k - 0.5,
        cy=(CAMERA.cy + 0.5) * k - 0.5,
    )


def poses(rng, board, count, camera=CAMERA):
    """Random poses in which most of the board is in sight: (rotation vector, shift)."""
    middle = board.points_mm.mean(axis=0)
    out = []
    while len(out) < count:
        tilt, way = np.radians(rng.uniform(5, 38)), rng.uniform(0, 2 * np.pi)
        lean = tilt * np.array([np.cos(way), np.sin(way), 0.0])
        spin = np.array([0.0, 0.0, np.radians(rng.uniform(-25, 25))])
        turn = cv2.Rodrigues(lean)[0] @ cv2.Rodrigues(spin)[0]
        far = rng.uniform(1.05, 2.2) * board.size_mm[0] * camera.fx / camera.image_width
        place = np.array([rng.uniform(-0.28, 0.28), rng.uniform(-0.17, 0.17), 1.0]) * far
        rotation = cv2.Rodrigues(turn)[0].ravel()
        shift = place - turn @ middle
        seen = project(board.points_mm, rotation, shift, camera)
        inside = (seen > 8) & (seen < np.array(camera.size) - 8)
        if inside.all():
            out.append((rotation, shift))
    return out


def project(points_mm, rotation, shift, camera=CAMERA):
    seen, _ = cv2.projectPoints(points_mm, rotation, shift, camera.matrix, camera.distortion)
    return seen.reshape(-1, 2)


def noisy_views(rng, board, count, noise_px, camera=CAMERA, names="view"):
    views = []
    for i, (rotation, shift) in enumerate(poses(rng, board, count, camera)):
        seen = project(board.points_mm, rotation, shift, camera)
        seen = seen + rng.normal(0, noise_px, seen.shape)
        views.append(View(f"{names} {i}", board.points_mm, seen, camera.size))
    return views


def drawn(board, artwork, px_per_mm, margin_mm, rotation, shift, rng, camera=CAMERA, blur_px=0.8):
    """A picture of a board's artwork (grey): each pixel looked up on the board, four times."""
    fine = 2
    width, height = camera.size
    v, u = np.mgrid[: height * fine, : width * fine].astype(np.float64)
    pixels = np.stack([(u + 0.5) / fine - 0.5, (v + 0.5) / fine - 0.5], axis=-1).reshape(-1, 1, 2)
    rays = cv2.undistortPoints(pixels, camera.matrix, camera.distortion).reshape(-1, 2)
    turn = cv2.Rodrigues(rotation)[0]
    plane = np.column_stack([turn[:, 0], turn[:, 1], shift])
    met = np.column_stack([rays, np.ones(len(rays))]) @ np.linalg.inv(plane).T
    mm = met[:, :2] / met[:, 2:]
    maps = ((mm + margin_mm) * px_per_mm - 0.5).astype(np.float32).reshape(*u.shape, 2)
    soft = cv2.GaussianBlur(artwork, (0, 0), 0.6)
    big = cv2.remap(soft, maps, None, cv2.INTER_LINEAR, borderValue=150)
    image = cv2.resize(big, (width, height), interpolation=cv2.INTER_AREA)
    image = cv2.GaussianBlur(image, (0, 0), blur_px).astype(np.float64)
    noisy = 20 + 0.8 * image + rng.normal(0, 2.0, image.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)


WALK = (
    (-1, -1, "left"), (0, -1, "upper"), (1, -1, "right"), (1, 0, "left"), (1, 1, "lower"),
    (0, 1, "upper"), (-1, 1, "right"), (-1, 0, "lower"), (0, 0, ""), (-1, -1, "upper"),
    (1, -1, "lower"), (1, 1, "right"), (-1, 1, "left"), (0, 0, "left"), (0, 0, "right"),
)  # fmt: skip
LEAN = {"left": (0, -1), "right": (0, 1), "upper": (1, 0), "lower": (-1, 0), "": (0, 0)}


def walk(board, camera=CAMERA, tilt_deg=24.0, fill=0.52):
    """Poses as a person shows a board who does as told: every corner of the picture, every tilt."""
    middle = board.points_mm.mean(axis=0)
    half = np.array(board.size_mm) / 2
    out = []
    for across, down, side in WALK:
        rotation = np.radians(tilt_deg) * np.array([*LEAN[side], 0.0])
        turn = cv2.Rodrigues(rotation)[0]
        far = board.size_mm[0] * camera.fx / (fill * camera.image_width)
        edge = 0.5 * np.array(camera.size) / [camera.fx, camera.fy] * far - 0.95 * half
        place = np.array([across * edge[0], down * edge[1], far])
        out.append((rotation, place - turn @ middle))
    return out


def artwork_of(board, per_mm=6, margin_mm=10):
    """A ChArUco board with its white margin (grey), as printed.

    The board's first inner corner lies one square in from its edge.
    """
    size = tuple(round(side * per_mm) for side in board.size_mm)
    inner = charuco_board(board).generateImage(size, marginSize=0)
    pad = margin_mm * per_mm
    return cv2.copyMakeBorder(inner, pad, pad, pad, pad, cv2.BORDER_CONSTANT, value=255)
