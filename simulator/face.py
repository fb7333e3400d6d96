"""The dial's face: ivory, balanced 0-50-0, 100 divisions of 0.01 mm, our own drawing.

Everything whose place matters (the marks) is computed for each fine pixel from where the
pixel meets the face's plane; only the lettering is sampled from a drawing.
"""

import math
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.canvas import BLACKED, FINE, STEEL, Canvas, Image, smooth
from simulator.lettering import strokes
from simulator.optics import Float, Place, Window, on_plane, project, window_round
from simulator.spec import MARKS_PER_TURN, SCALE_OUTER_DIAMETER_MM

SCALE_RADIUS_MM = SCALE_OUTER_DIAMETER_MM / 2
FACE_RADIUS_MM = 18.8
CASE_RADIUS_MM = 21.6
_IVORY = np.array([204.0, 224.0, 232.0], np.float32)
_INK = np.array([38.0, 38.0, 34.0], np.float32)
_STEP_RAD = 2 * math.pi / MARKS_PER_TURN
_ART_PER_MM = 40.0
_ART_HALF_MM = 15.0
_NUMERAL_RADIUS_MM = 12.7

Soft = NDArray[np.float32]


def paint_dial(canvas: Canvas, place: Place) -> None:
    """Paint the dial without its needle: case, bezel, face."""
    canvas.turned(place, [(19.5, -9.0), (CASE_RADIUS_MM - 0.8, -7.5), (20.8, -1.0)], BLACKED)
    _paint_face(canvas, place)
    inner = [(19.9, 2.9), (19.2, 2.4), (FACE_RADIUS_MM, 0.0)]
    canvas.turned(place, inner, STEEL)
    outer = [(20.9, -1.2), (CASE_RADIUS_MM, -0.8), (CASE_RADIUS_MM, 1.6)]
    canvas.turned(place, outer, STEEL, knurls=120)
    canvas.turned(place, [(CASE_RADIUS_MM, 1.6), (20.9, 2.7), (19.9, 2.9)], STEEL)


def outline_window(canvas: Canvas, place: Place, radius_mm: float, margin_px: int) -> Window:
    """Return the window that holds a circle of the face's plane."""
    angles = np.linspace(0, 2 * math.pi, 90)
    ring = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(90)]) * radius_mm
    return window_round(canvas.camera, project(canvas.camera, place.to_camera(ring)), margin_px)


def _paint_face(canvas: Canvas, place: Place) -> None:
    window = outline_window(canvas, place, FACE_RADIUS_MM + 0.6, 2)
    fine = Window(window.left, window.top, window.width, window.height, FINE)
    met = on_plane(canvas.camera, place, 0.0, fine)
    x, y = met[..., 0], met[..., 1]
    radius = np.hypot(x, y)
    per_mm = FINE * _pixels_per_mm(canvas, place)
    ink = np.maximum(_marks(x, y, radius, per_mm), _lettering(x, y))
    colour = _IVORY * _light(x, y)[..., None]
    colour += (_INK - colour) * ink[..., None]
    inside = radius < FACE_RADIUS_MM + 0.4
    rows = slice(window.top * FINE, (window.top + window.height) * FINE)
    columns = slice(window.left * FINE, (window.left + window.width) * FINE)
    target = canvas.colour[rows, columns]
    target[inside] = np.clip(colour, 0, 255).astype(np.uint8)[inside]
    canvas.cover[rows, columns][inside] = 255


def _pixels_per_mm(canvas: Canvas, place: Place) -> float:
    return canvas.camera.fx / float(place.origin_mm[2])


def _marks(x: Float, y: Float, radius: Float, per_mm: float) -> Soft:
    """Return the marks' ink: a mark's edges are straight lines, its ends are arcs."""
    clockwise = np.arctan2(x, y)
    nearest = np.rint(clockwise / _STEP_RAD)
    beside_mm = np.abs(radius * np.sin(clockwise - nearest * _STEP_RAD))
    number = nearest.astype(np.int64) % MARKS_PER_TURN
    kind = np.where(number % 10 == 0, 2, np.where(number % 5 == 0, 1, 0))
    half_mm = np.array([0.075, 0.095, 0.13])[kind]
    inner_mm = np.array([16.6, 16.0, 15.2])[kind]
    sides = np.clip(0.5 + (half_mm - beside_mm) * per_mm, 0, 1)
    ends_mm = np.minimum(radius - inner_mm, SCALE_RADIUS_MM - radius)
    ends = np.clip(0.5 + ends_mm * per_mm, 0, 1)
    return np.asarray(sides * ends, dtype=np.float32)


def _lettering(x: Float, y: Float) -> Soft:
    art = _art()
    centre = (len(art) - 1) / 2
    map_x = (x * _ART_PER_MM + centre).astype(np.float32)
    map_y = (centre - y * _ART_PER_MM).astype(np.float32)
    return np.asarray(cv2.remap(art, map_x, map_y, cv2.INTER_LINEAR), dtype=np.float32)


@lru_cache(maxsize=1)
def _art() -> Soft:
    """Draw numerals and words, upright at the top of the face, as ink from 0 to 1."""
    size = int(2 * _ART_HALF_MM * _ART_PER_MM)
    art = np.zeros((size, size), np.uint8)
    for place in range(0, MARKS_PER_TURN, 10):
        value = min(place, MARKS_PER_TURN - place)
        at = place * _STEP_RAD
        middle = _NUMERAL_RADIUS_MM * math.sin(at), _NUMERAL_RADIUS_MM * math.cos(at)
        _letter(art, strokes(str(value), 2.3, middle, -at), 0.34)
    _letter(art, strokes("0.01 mm", 1.1, (0.0, -8.2), 0.0), 0.14)
    _letter(art, strokes("+", 1.7, (5.2, 6.2), 0.0), 0.22)
    _letter(art, strokes("-", 1.7, (-5.2, 6.2), 0.0), 0.22)
    return np.asarray(art / 255.0, dtype=np.float32)


def _letter(art: Image, lines: list[Float], pen_mm: float) -> None:
    """Draw lines given on the face in mm, y up."""
    centre = (len(art) - 1) / 2
    pen = round(pen_mm * _ART_PER_MM)
    for line in lines:
        pixels = np.column_stack(
            [centre + line[:, 0] * _ART_PER_MM, centre - line[:, 1] * _ART_PER_MM]
        )
        fine = np.round(pixels * 16).astype(np.int32)
        cv2.polylines(art, [fine], False, (255,), pen, cv2.LINE_AA, 4)


def _light(x: Float, y: Float) -> Soft:
    """Return how light falls on the face: a slope, and the bezel's soft shadow at upper left."""
    slope = 0.97 + 0.006 * (y - x) / math.sqrt(2)
    from_wall = FACE_RADIUS_MM - np.hypot(x - 0.9, y + 0.9)
    shadow = 1.0 - 0.30 * (1.0 - smooth(from_wall, -1.6, 1.6))
    return np.asarray(slope * shadow, dtype=np.float32)
