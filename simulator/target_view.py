"""Printed targets as a camera sees them: one on the end of a bar that turns, one that stands still.

Each pixel of a target is traced back to its paper through the bench's own lens; what is printed
there is averaged over the pixel.
"""

import math
from functools import lru_cache

import cv2
import numpy as np

from calibration.sheets import Disc, Words, target_sheet
from simulator.canvas import BRIGHT_IRON, CAST_IRON, STEEL, Canvas, Image
from simulator.hand import hand_over
from simulator.optics import (
    Float,
    Place,
    PlaneMap,
    camera_model,
    facing_axes,
    project,
    through,
    window_round,
)
from simulator.painter import Scene
from simulator.spec import BenchSpec
from simulator.work_scenery import box

TURNING, STANDING = 0, 1
"""Numbers of the target on the bar's end and of the one that stands still."""
SIZE_MM = 60.0
_PAPER_HALF_MM = 27.0
_PER_MM = 16
_PAPER, _INK = 228.0, 30.0
_FINE = 3
_BLUR_PX = 0.7
_NOISE_MARGIN_PX = 64
_STANDS_AT, _STANDS_AWAY_MM = (0.30, 0.60), 400.0
_ASLANT_DEG, _ASLANT_TOWARDS_DEG = 24.0, 80.0


def still_place(spec: BenchSpec) -> Place:
    """Return where the still target's paper is: x right and y up as it is printed, z out of it."""
    camera = camera_model(spec)
    at = _STANDS_AT[0] * camera.image_width, _STANDS_AT[1] * camera.image_height
    origin = through(camera, at, _STANDS_AWAY_MM)
    return Place(facing_axes(origin, _ASLANT_DEG, _ASLANT_TOWARDS_DEG, 0.0), origin)


class TargetPainter:
    """Draws both targets; `end_place` tells where the bar's end stands at an angle."""

    def __init__(self, spec: BenchSpec, rng: np.random.Generator, bar: "TurningBar") -> None:
        self._spec, self._rng, self._bar = spec, rng, bar
        self._camera = camera_model(spec)
        self._still = still_place(spec)
        self._behind: tuple[float, Image] | None = None
        self._last: tuple[Scene, float, Image] | None = None

    def paint(self, scene: Scene) -> Image:
        """Return the picture (height, width, 3), read-only; the same object for the same scene."""
        height_mm = self._bar.height_mm
        if self._last is not None and self._last[:2] == (scene, height_mm):
            return self._last[2]
        image = self._scenery(height_mm).copy()
        end = self._bar.end_place(self._still, -scene.collar_rad)
        self._print(image, end, TURNING)
        if scene.covered:
            self._hand(image, end)
        image = self._seen(image)
        image.flags.writeable = False
        self._last = scene, height_mm, image
        return image

    def _scenery(self, height_mm: float) -> Image:
        """Return bed, bar and the still target, painted once for each height of the bar's end."""
        if self._behind is None or self._behind[0] != height_mm:
            canvas = Canvas(self._camera)
            box(canvas, self._still, (-400.0, -400.0, -30.0), (500.0, 400.0, -4.0), CAST_IRON)
            box(canvas, self._still, (-38.0, -38.0, -4.0), (38.0, 38.0, -0.2), BRIGHT_IRON)
            end = self._bar.end_place(self._still, 0.0)
            foot = -height_mm - 4.0
            bar = [(44.0, foot), (44.0, -1.5), (42.5, -0.1), (0.0, -0.1)]
            canvas.turned(end, bar, STEEL)
            size = (self._camera.image_width, self._camera.image_height)
            small = cv2.resize(canvas.colour, size, interpolation=cv2.INTER_AREA)
            image = np.asarray(small, dtype=np.uint8)
            self._print(image, self._still, STANDING)
            self._behind = height_mm, image
        return self._behind[1]

    def _print(self, image: Image, place: Place, number: int) -> None:
        half = _PAPER_HALF_MM
        corners = [[x, y, 0.0] for x in (-half, half) for y in (-half, half)]
        pixels = project(self._camera, place.to_camera(corners))
        window = window_round(self._camera, pixels, 2, _FINE)
        x, y = PlaneMap(self._camera, place, 0.0, window).on(window)
        art = _art(number)
        middle = (len(art) - 1) / 2
        ink = cv2.remap(
            art,
            x * np.float32(_PER_MM) + np.float32(middle),
            np.float32(middle) - y * np.float32(_PER_MM),
            cv2.INTER_LINEAR,
        )
        on = np.asarray(np.maximum(np.abs(x), np.abs(y)) <= half, dtype=np.float32)
        size = (window.width, window.height)
        cover = cv2.resize(on, size, interpolation=cv2.INTER_AREA)[..., None]
        inked = np.asarray(ink * on, dtype=np.float32)
        grey = cv2.resize(inked, size, interpolation=cv2.INTER_AREA)[..., None]
        target = image[window.rows, window.columns]
        target[:] = np.rint(target * (1 - cover) + grey).astype(np.uint8)

    def _hand(self, image: Image, end: Place) -> None:
        ring = [[30 * math.cos(a), 30 * math.sin(a), 0.0] for a in np.linspace(0, 6.28, 20)]
        window = window_round(self._camera, project(self._camera, end.to_camera(ring)), 0)
        hand_over(window, self._spec.image_width, self._spec.image_height).paint(image)

    def _seen(self, image: Image) -> Image:
        """Return it through the lens' blur, with the sensor's noise."""
        soft = cv2.GaussianBlur(image, (0, 0), _BLUR_PX)
        if self._spec.noise_grey <= 0:
            return np.asarray(soft, dtype=np.uint8)
        noise = _noise(image.shape[0], image.shape[1], self._spec.noise_grey)
        top, left = (int(n) for n in self._rng.integers(0, _NOISE_MARGIN_PX, 2))
        part = noise[top : top + image.shape[0], left : left + image.shape[1]]
        return np.asarray(cv2.add(soft, part, dtype=cv2.CV_8U), dtype=np.uint8)


class TurningBar:
    """A bar that turns about an axis of its own, a target stuck on its end a little off it.

    `at_mm` and `lean` are the axis in the still target's frame: where it meets the plane of
    that paper, and how far it goes aside for each mm of height.
    """

    def __init__(self, rng: np.random.Generator) -> None:
        self.at_mm = np.array([118.0, 22.0]) + rng.uniform(-4.0, 4.0, 2)
        self.lean = rng.uniform(-0.003, 0.003, 2)
        self.height_mm = 0.0
        self._stick()
        self._rng = rng

    def _stick(self, rng: np.random.Generator | None = None) -> None:
        draw = rng or np.random.default_rng(5)
        self._arm_mm = draw.uniform(0.3, 1.5, 2)
        self._turned_rad = float(draw.uniform(-3.0, 3.0))
        self._wobble = draw.uniform(-0.004, 0.004, 2)

    def set_height(self, height_mm: float) -> None:
        """Put in a bar whose end stands at another height; its target is stuck anew."""
        self.height_mm = height_mm
        self._stick(self._rng)

    def axis_at(self, height_mm: float) -> Float:
        """Return where the axis is (2,) at a height above the still target's paper."""
        return np.asarray(self.at_mm + self.lean * height_mm)

    def end_place(self, still: Place, turned_rad: float) -> Place:
        """Return where the target on the bar's end is, in the camera's frame."""
        axis = np.array([*self.lean, 1.0])
        axis /= np.linalg.norm(axis)
        x = np.array([1.0, 0.0, 0.0]) - axis[0] * axis
        x /= np.linalg.norm(x)
        frame = np.column_stack([x, np.cross(axis, x), axis])
        spin = _about_z(turned_rad)
        stuck = _about_z(self._turned_rad) @ _tilted(*self._wobble)
        foot = np.array([*self.axis_at(self.height_mm), self.height_mm])
        origin = foot + frame @ spin @ np.array([*self._arm_mm, 0.0])
        return Place(still.axes @ frame @ spin @ stuck, still.to_camera(origin[None])[0])


def _about_z(angle: float) -> Float:
    cos, sin = math.cos(angle), math.sin(angle)
    return np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])


def _tilted(x: float, y: float) -> Float:
    return np.asarray(cv2.Rodrigues(np.array([x, y, 0.0]))[0])


@lru_cache(maxsize=4)
def _art(number: int) -> Image:
    """Return the paper's grey, `_PER_MM` pixels a mm, its middle in the middle."""
    sheet = target_sheet(number, SIZE_MM, "a4")
    middle = sheet.width_mm / 2, sheet.height_mm / 2
    half = _PAPER_HALF_MM + 1.0
    n = round(2 * half * _PER_MM)
    grid = (np.arange(n) + 0.5) / _PER_MM - half
    grey = np.full((n, n), _PAPER)
    for shape in sheet.shapes:
        if isinstance(shape, Words):
            continue
        x, y = shape.x - middle[0], shape.y - middle[1]
        if isinstance(shape, Disc):
            away = np.hypot(grid[None] - x, grid[:, None] - y)
            share = np.clip((shape.radius - away) * _PER_MM + 0.5, 0, 1)
        else:
            share = np.outer(_within(grid, y, shape.height), _within(grid, x, shape.width))
        grey += share * ((_INK if shape.black else _PAPER) - grey)
    return np.asarray(grey, dtype=np.float32)


def _within(grid: Float, start: float, length: float) -> Float:
    begun = np.clip((grid - start) * _PER_MM + 0.5, 0, 1)
    return np.asarray(begun * np.clip((start + length - grid) * _PER_MM + 0.5, 0, 1))


@lru_cache(maxsize=2)
def _noise(height: int, width: int, sigma_grey: float) -> Image:
    shape = (height + _NOISE_MARGIN_PX, width + _NOISE_MARGIN_PX, 3)
    noise = np.random.default_rng(31).standard_normal(shape, dtype=np.float32)
    return np.asarray(np.rint(noise * np.float32(sigma_grey)), dtype=np.int16)
