"""Draws what the camera sees: the still machine once, and in each picture what moved."""

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from simulator.canvas import Image
from simulator.face import CASE_RADIUS_MM
from simulator.hand import Hand, hand_over
from simulator.needle import Needle
from simulator.optics import camera_model, project, window_round
from simulator.scenery import (
    axis_place,
    dial_place,
    foreground,
    look_of,
    panorama,
    panorama_start,
)
from simulator.spec import GRADUATION_MM, MARKS_PER_TURN, BenchSpec
from simulator.strip import Strip

_NOISE_MARGIN_PX = 128
_STILL_VIEW_RAD = 0.9
"""Which part of the workshop stands behind a camera that does not ride."""


@dataclass(frozen=True, slots=True)
class Scene:
    """What decides the picture."""

    reading_mm: float
    collar_rad: float
    fitted: bool = True
    covered: bool = False


class Painter:
    """Draws scenes of one bench; `rng` moves the sensor's noise from picture to picture."""

    def __init__(self, spec: BenchSpec, rng: np.random.Generator) -> None:
        self._spec, self._rng = spec, rng
        camera = camera_model(spec)
        self._camera, self._dial = camera, dial_place(camera, spec)
        self._needle = Needle(camera, self._dial, spec)
        self._strip = Strip(camera, axis_place(camera), spec.collar_markers)
        self._panorama = panorama(spec.image_width, spec.image_height)
        self._hand: Hand | None = None
        self._base: tuple[tuple[int, bool], Image] | None = None
        self._last: tuple[Scene, Image] | None = None

    def paint(self, scene: Scene) -> Image:
        """Return the picture (height, width, 3), read-only; the same object for the same scene."""
        if self._last is not None and self._last[0] == scene:
            return self._last[1]
        image = self._composed(scene)
        self._add_noise(image)
        image.flags.writeable = False
        self._last = scene, image
        return image

    def _composed(self, scene: Scene) -> Image:
        """Return a new picture without the sensor's noise."""
        image = self._behind(scene).copy()
        if self._spec.collar:
            self._strip.paint(image, scene.collar_rad)
        if scene.fitted:
            self._needle.paint(image, needle_rad(scene.reading_mm))
        if scene.covered:
            self._hand_now().paint(image)
        return image

    def _behind(self, scene: Scene) -> Image:
        """Return the machine before the workshop; riding, the workshop goes by."""
        width = self._spec.image_width
        turn_rad = scene.collar_rad if self._spec.layout == "riding" else _STILL_VIEW_RAD
        key = panorama_start(turn_rad, width), scene.fitted
        if self._base is None or self._base[0] != key:
            front = foreground(look_of(self._spec, fitted=scene.fitted))
            view = self._panorama[:, key[0] : key[0] + width]
            self._base = key, front.before(view)
        return self._base[1]

    def _hand_now(self) -> Hand:
        if self._hand is None:
            angles = np.linspace(0.0, 2 * math.pi, 60)
            ring = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(60)])
            pixels = project(self._camera, self._dial.to_camera(ring * CASE_RADIUS_MM))
            window = window_round(self._camera, pixels, 0)
            self._hand = hand_over(window, self._spec.image_width, self._spec.image_height)
        return self._hand

    def _add_noise(self, image: Image) -> None:
        if self._spec.noise_grey <= 0:
            return
        height, width = image.shape[:2]
        top, left = (int(n) for n in self._rng.integers(0, _NOISE_MARGIN_PX, 2))
        brighter, darker = _noise(height, width, self._spec.noise_grey)
        rows, columns = slice(top, top + height), slice(left, left + width)
        cv2.add(image, brighter[rows, columns], dst=image)
        cv2.subtract(image, darker[rows, columns], dst=image)


def needle_rad(reading_mm: float) -> float:
    """Return where the needle points, clockwise from the zero mark as the face is seen."""
    return 2 * math.pi * reading_mm / (GRADUATION_MM * MARKS_PER_TURN)


@lru_cache(maxsize=2)
def _noise(height: int, width: int, sigma_grey: float) -> tuple[Image, Image]:
    """Return noise larger than a picture, as what it adds and what it takes away."""
    shape = (height + _NOISE_MARGIN_PX, width + _NOISE_MARGIN_PX, 3)
    rng = np.random.default_rng(47)
    noise = np.rint(rng.standard_normal(shape, dtype=np.float32) * np.float32(sigma_grey))
    return np.clip(noise, 0, 255).astype(np.uint8), np.clip(-noise, 0, 255).astype(np.uint8)
