"""Light and sensor for drawn dials: the workshop behind, linear light, blur, noise, storage."""

import math
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.canvas import Image
from simulator.dial_view import DialView, Finger
from simulator.optics import Float, Window

Soft = NDArray[np.float32]
_SCENES = 5
_MARGIN_PX = 64
_SKIN = np.array([0.17, 0.26, 0.48], np.float32)


def workshop(view: DialView) -> Soft:
    """Return what stands behind the dial (height, width, 3), out of focus, in linear light."""
    camera = view.camera
    scene = _scene(view.scene % _SCENES, camera.image_width, camera.image_height)
    flips = view.scene // _SCENES
    rng = np.random.default_rng(view.scene)
    tinted_scene = tinted(scene, rng.uniform(0.5, 1.6) * rng.uniform(0.85, 1.15, 3))
    return np.asarray(cv2.flip(tinted_scene, flips % 3 - 1), dtype=np.float32)


def tinted(light: Soft, gains: Float) -> Soft:
    """Return light with each colour times its gain (3,)."""
    return np.asarray(cv2.transform(light, np.diag(gains).astype(np.float32)), dtype=np.float32)


@lru_cache(maxsize=3 * _SCENES)
def _scene(number: int, width: int, height: int) -> Soft:
    """Paint a table with brush strokes and a few blocks and pins lying about."""
    rng = np.random.default_rng(1000 + number)
    image = _table(rng, width, height)
    for _ in range(int(rng.integers(3, 8))):
        _block(image, rng, width)
    for _ in range(int(rng.integers(1, 5))):
        _pin(image, rng, width)
    return np.asarray(cv2.GaussianBlur(image, (0, 0), width / 700), dtype=np.float32)


def _table(rng: np.random.Generator, width: int, height: int) -> Soft:
    long = np.ascontiguousarray(rng.normal(0.0, 1.0, (2 * width // 6, 24)), dtype=np.float32)
    strokes = cv2.resize(long, (2 * width, 2 * width), interpolation=cv2.INTER_CUBIC)
    turn = cv2.getRotationMatrix2D((width, width), float(rng.uniform(0, 180)), 1.0)
    turn[:, 2] += np.array([width / 2, height / 2]) - width
    grain = cv2.warpAffine(strokes, turn, (width, height), borderMode=cv2.BORDER_REFLECT)
    left, right = rng.uniform(0.7, 1.3, 2).tolist()
    level = 0.12 * (1 + 0.10 * grain) * np.linspace(left, right, width)
    return np.ascontiguousarray(level[..., None] * rng.uniform(0.85, 1.15, 3), dtype=np.float32)


def _block(image: Soft, rng: np.random.Generator, width: int) -> None:
    """Draw a block as three faces of unequal light, with its shadow."""
    middle = rng.uniform((0, 0), image.shape[1::-1])
    turn, up = rng.uniform(0, math.pi), rng.uniform(-0.06, 0.06, 2) * width
    size = rng.uniform(0.03, 0.11, 2) * width
    box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * size
    spin = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    base = box @ spin + middle
    colour = rng.uniform(0.02, 0.5) * rng.uniform(0.85, 1.15, 3)
    shade = np.zeros(image.shape[:2], np.float32)
    cv2.fillConvexPoly(shade, _corners(base + rng.uniform(-20, 20, 2)), (1.0,))
    image *= 1 - 0.5 * cv2.GaussianBlur(shade, (0, 0), 9)[..., None]
    for side in range(4):
        ends = base[[side, (side + 1) % 4]]
        wall = np.vstack([ends, ends[::-1] + up])
        cv2.fillConvexPoly(image, _corners(wall), (colour * (0.3 + 0.15 * side)).tolist())
    cv2.fillConvexPoly(image, _corners(base + up), colour.tolist())


def _corners(points_px: Float) -> NDArray[np.int32]:
    return np.asarray(np.rint(points_px), dtype=np.int32)


def _pin(image: Soft, rng: np.random.Generator, width: int) -> None:
    middle = tuple(int(v) for v in rng.uniform((0, 0), image.shape[1::-1]))
    radius = int(rng.uniform(0.012, 0.03) * width)
    colour = rng.uniform(0.08, 0.5) * rng.uniform(0.85, 1.15, 3)
    for share, tone in ((1.0, 0.5), (0.85, 1.0), (0.5, 0.9)):
        cv2.circle(image, middle, max(1, int(radius * share)), (tone * colour).tolist(), -1)


def linear(image: Image) -> Soft:
    """Return painted colours as linear light."""
    return np.asarray(cv2.LUT(image, _to_linear()), dtype=np.float32)


@lru_cache(maxsize=1)
def _to_linear() -> Soft:
    return ((np.arange(256) / 255.0) ** 2.2).astype(np.float32)


def lay_finger(light: Soft, finger: Finger, exposure: float) -> None:
    """Draw a finger before everything, near and round, so a little soft."""
    window = _finger_window(finger, light.shape[1], light.shape[0])
    if window is None:
        return
    x = np.arange(window.left, window.left + window.width, dtype=np.float32)[None, :]
    y = np.arange(window.top, window.top + window.height, dtype=np.float32)[:, None]
    start, end = np.array(finger.start_px), np.array(finger.end_px)
    long = float(np.linalg.norm(end - start))
    way = (end - start) / long
    along = np.clip((x - start[0]) * way[0] + (y - start[1]) * way[1], 0, long)
    off_x, off_y = x - start[0] - along * way[0], y - start[1] - along * way[1]
    off = np.hypot(off_x, off_y) / finger.half_px
    soft = np.clip((1 - off) * finger.half_px / 2.5 + 0.5, 0, 1)[..., None]
    round_ = np.sqrt(np.clip(1 - off**2, 0, 1)) - 0.25 * off_y / finger.half_px
    skin = (0.15 + 0.75 * round_)[..., None] * _SKIN * exposure
    part = light[window.rows, window.columns]
    halo = np.clip(1.35 - off, 0, 0.35) / 0.35
    part *= (1 - 0.35 * halo * (off > 0.9))[..., None].astype(np.float32)
    part += soft * (skin - part)


def _finger_window(finger: Finger, width: int, height: int) -> Window | None:
    ends = np.array([finger.start_px, finger.end_px])
    margin = 1.4 * finger.half_px + 4
    low = np.maximum(np.floor(ends.min(axis=0) - margin), 0).astype(int)
    high = np.minimum(np.ceil(ends.max(axis=0) + margin), [width - 1, height - 1]).astype(int)
    if np.any(high <= low):
        return None
    size = high - low + 1
    return Window(int(low[0]), int(low[1]), int(size[0]), int(size[1]))


def blurred(light: Soft, view: DialView, sharp: Window | None) -> Soft:
    """Return what the lens makes of the light: its own blur everywhere, defocus as a disc.

    Where only a window matters (the dial), the rest is blurred more cheaply.
    """
    if view.focus_px > 0:
        kernel = _disc(round(view.focus_px, 2))
        rough = cv2.blur(light, (2 * int(view.focus_px) + 1,) * 2)
        if sharp is not None:
            part = np.ascontiguousarray(light[sharp.rows, sharp.columns])
            rough[sharp.rows, sharp.columns] = cv2.filter2D(part, -1, kernel)
        light = np.asarray(rough, dtype=np.float32)
    return np.asarray(cv2.GaussianBlur(light, (0, 0), view.lens_px), dtype=np.float32)


@lru_cache(maxsize=64)
def _disc(radius: float) -> Soft:
    fine, reach = 8, math.ceil(radius) + 1
    at = (np.arange((2 * reach + 1) * fine) + 0.5) / fine - reach - 0.5
    inside = (np.hypot(at[:, None], at[None, :]) < radius).astype(np.float32)
    disc = cv2.resize(inside, (2 * reach + 1,) * 2, interpolation=cv2.INTER_AREA)
    return np.asarray(disc / disc.sum(), dtype=np.float32)


_GRAIN = np.array([[0.0, 0.25, 0.0], [0.25, 1.0, 0.25], [0.0, 0.25, 0.0]], np.float32)
"""How a colour mosaic's missing places are made up: from the four beside."""
_COLOURED = 0.15
"""Share of the noise that is each channel's own: stored pictures keep little of it."""


def stored(light: Soft, view: DialView, rng: np.random.Generator) -> Image:
    """Return the sensor's picture (uint8): noise in linear light, then the camera's gamma."""
    share, root, floor = view.noise
    height, width = light.shape[:2]
    grain = _grain(height, width)
    top, left = (int(n) for n in rng.integers(0, _MARGIN_PX, 2))
    part = grain[top : top + height, left : left + width]
    sigma = cv2.sqrt(cv2.addWeighted(light, root**2, light, 0.0, floor**2))
    sigma = cv2.scaleAdd(light, share, sigma)
    noisy = np.maximum(cv2.add(light, cv2.multiply(part, sigma)), np.float32(0))
    return np.asarray(cv2.convertScaleAbs(cv2.pow(noisy, 1 / view.gamma), alpha=255), np.uint8)


@lru_cache(maxsize=3)
def _grain(height: int, width: int) -> Soft:
    """Return noise (rows, columns, 3) of unit size, as a camera passes it on.

    It has gone through the mosaic, so neighbours share it, and nearly all of it is brightness:
    its correlation is 0.4 with the pixel beside, 0.1 with the one across the corner.
    """
    rng = np.random.default_rng(52)
    shape = (height + _MARGIN_PX, width + _MARGIN_PX, 4)
    kernel = _GRAIN / np.linalg.norm(_GRAIN)
    own = cv2.filter2D(rng.standard_normal(shape, dtype=np.float32), -1, kernel)
    bright, coloured = math.sqrt(1 - _COLOURED), math.sqrt(_COLOURED)
    return np.asarray(bright * own[..., :1] + coloured * own[..., 1:], dtype=np.float32)
