"""What is printed on a drawn dial's face, as ink from 0 to 255 in finely divided pictures.

The marks are computed for each texel from its own place, so their directions are exact. Each
picture is kept in several sizes: sampled where a texel is as large as a pixel or a little
larger, its edges keep their place.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.canvas import Image
from simulator.dial_design import Counter, DialDesign, Letters
from simulator.lettering import strokes

Soft = NDArray[np.float32]
SIZE = 2048
REACH = 1.1
"""Half a picture's width, in radii of the scale."""
PER_RADIUS = SIZE / 2 / REACH
_SHRINKS = (1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0)
_DIRT_SIZE = 768


@dataclass(frozen=True, slots=True, eq=False)
class Print:
    """The face's ink: what turns with the scale, what may stand, and its dirt.

    Attributes
    ----------
    ring, inner
        Pictures of marks and numerals, and of words and counter, finest first.
    dirt
        What share of the light the face still throws back.
    """

    ring: tuple[Image, ...]
    inner: tuple[Image, ...]
    dirt: Soft


def print_face(design: DialDesign) -> Print:
    """Print a face."""
    return Print(_sizes(_ring(design)), _sizes(_inner(design)), _dirt(design.dirt))


def sample(pictures: tuple[Image, ...], x: Soft, y: Soft, per_radius_px: float) -> Image:
    """Return ink at places x right, y up (in radii), about `per_radius_px` samples a radius."""
    shrink = PER_RADIUS / per_radius_px
    level = min(sum(s < shrink for s in _SHRINKS), len(_SHRINKS) - 1)
    size = len(pictures[level])
    per, middle = size / 2 / REACH, (size - 1) / 2
    return np.asarray(
        cv2.remap(pictures[level], middle + per * x, middle - per * y, cv2.INTER_LINEAR),
        dtype=np.uint8,
    )


def sample_dirt(dirt: Soft, x: Soft, y: Soft) -> Soft:
    """Return the dirt's share of light at places in radii."""
    per, middle = _DIRT_SIZE / 2 / REACH, (_DIRT_SIZE - 1) / 2
    out = cv2.remap(dirt, middle + per * x, middle - per * y, cv2.INTER_LINEAR)
    return np.asarray(out, dtype=np.float32)


def _sizes(finest: Image) -> tuple[Image, ...]:
    sizes = [2 * round(SIZE / shrink / 2) for shrink in _SHRINKS]
    return tuple(
        np.asarray(cv2.resize(finest, (size, size), interpolation=cv2.INTER_AREA), dtype=np.uint8)
        for size in sizes
    )


def _ring(design: DialDesign) -> Image:
    art = np.zeros((SIZE, SIZE), np.uint8)
    _print_marks(art, design)
    _print_numerals(art, design)
    return art


def _print_marks(art: Image, design: DialDesign) -> None:
    """Print the marks: their sides are straight lines, their ends arcs."""
    centre = (SIZE - 1) / 2
    at = (np.arange(SIZE, dtype=np.float32) - np.float32(centre)) / np.float32(PER_RADIUS)
    away = np.hypot(at[None, :], at[:, None])
    ring = np.flatnonzero((away > 1 - max(design.mark_depth) - 0.01) & (away < 1.01))
    radius = away.ravel()[ring]
    clockwise = np.arctan2(at[ring % SIZE], -at[ring // SIZE])
    step = 2 * math.pi / design.marks_per_turn
    nearest = np.rint(clockwise / step)
    beside = np.abs(radius * np.sin(clockwise - nearest * step))
    kind = _kinds(design)[nearest.astype(np.int64) % design.marks_per_turn]
    half, depth = np.array(design.mark_half)[kind], np.array(design.mark_depth)[kind]
    sides = np.clip(0.5 + (half - beside) * PER_RADIUS, 0, 1)
    ends = np.clip(0.5 + np.minimum(radius - (1 - depth), 1 - radius) * PER_RADIUS, 0, 1)
    art.ravel()[ring] = np.rint(255 * sides * ends).astype(np.uint8)


def _kinds(design: DialDesign) -> NDArray[np.int64]:
    """Return each mark's kind, counted clockwise: 0 ordinary, 1 fifth, 2 numbered."""
    mark = np.arange(design.marks_per_turn)
    kind = np.where(mark % 5 == 0, 1, 0)
    kind[mark % design.numbered_every == 0] = 2
    return kind


def _print_numerals(art: Image, design: DialDesign) -> None:
    letters = design.letters
    away = 1 - max(design.mark_depth) - 0.75 * letters.high
    for mark in range(0, design.marks_per_turn, design.numbered_every):
        counted = mark
        if design.numbering == "balanced":
            counted = min(mark, design.marks_per_turn - mark)
        value = counted // design.numbered_every * design.number_step
        at = design.rising * 2 * math.pi * mark / design.marks_per_turn
        middle = away * math.sin(at), away * math.cos(at)
        _write(art, f"{value:g}", letters, letters.high, middle, 0.0 if letters.upright else -at)


def _write(
    art: Image, text: str, letters: Letters, high: float, middle: tuple[float, float], turn: float
) -> None:
    lines = strokes(
        text,
        high,
        middle,
        turn,
        squared=letters.squared,
        wide=letters.wide,
        slant=letters.slant,
    )
    _pen(art, lines, letters.pen * high)


def _pen(art: Image, lines: list[NDArray[np.float64]], wide: float) -> None:
    centre = (SIZE - 1) / 2
    pen = max(1, round(wide * PER_RADIUS))
    for line in lines:
        pixels = np.column_stack(
            [centre + line[:, 0] * PER_RADIUS, centre - line[:, 1] * PER_RADIUS]
        )
        fine = np.round(pixels * 16).astype(np.int32)
        cv2.polylines(art, [fine], False, (255,), pen, cv2.LINE_AA, 4)


def _inner(design: DialDesign) -> Image:
    art = np.zeros((SIZE, SIZE), np.uint8)
    for text, middle, high in design.words:
        _write(art, text, design.letters, high, middle, 0.0)
    if design.counter is not None:
        _print_counter(art, design.counter)
    return art


def _print_counter(art: Image, counter: Counter) -> None:
    turn = np.linspace(0.0, 2 * math.pi, 90)
    ring = counter.radius * np.column_stack([np.sin(turn), np.cos(turn)])
    _pen(art, [ring + counter.centre], 0.006)
    for at in 2 * math.pi * np.arange(counter.turns) / counter.turns:
        way = np.array([math.sin(at), math.cos(at)])
        ends = np.array([0.8 if at else 0.66, 1.0])[:, None] * counter.radius * way
        _pen(art, [ends + counter.centre], 0.010)


def _dirt(seed: int) -> Soft:
    """Return specks, a stain and a few scratches, as a share of light."""
    out = np.ones((_DIRT_SIZE, _DIRT_SIZE), np.float32)
    if not seed:
        return out
    rng = np.random.default_rng(seed)
    for _ in range(int(rng.integers(4, 30))):
        middle = tuple(int(v) for v in rng.integers(0, _DIRT_SIZE, 2))
        cv2.circle(out, middle, int(rng.integers(1, 5)), (float(rng.uniform(0.5, 0.95)),), -1)
    for _ in range(int(rng.integers(0, 6))):
        ends = rng.integers(0, _DIRT_SIZE, 2), rng.integers(-150, 150, 2)
        start, end = tuple(ends[0].tolist()), tuple((ends[0] + ends[1]).tolist())
        cv2.line(out, start, end, (float(rng.uniform(0.7, 1.2)),), 1, cv2.LINE_AA)
    stain = cv2.resize(rng.uniform(0.85, 1.0, (6, 6)).astype(np.float32), (_DIRT_SIZE, _DIRT_SIZE))
    return np.asarray(cv2.GaussianBlur(out, (0, 0), 1.2) * stain, dtype=np.float32)
