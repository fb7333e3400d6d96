"""The hand of a turns counter: its direction, by its taught look turned about its pivot.

The hand is as small as ten pixels, so its direction comes from its whole area: a patch about
the counter's centre, in the hand's plane, compared with the taught look at every direction.
What the needle covers is left out.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from readings.median import median
from vision.dial_counter_ring import parabola_top
from vision.dial_cover import covered
from vision.dial_marks import sample
from vision.dial_needle import Line, NeedleLook, telling_axis
from vision.dial_pose import Float, PlanePose
from vision.dial_profiles import linear

HAND_HEIGHT = 0.3
"""Height of the hand over the scale, of the needle's: dials are built so, and a little matters
little to its direction."""
COLUMNS = 120
RINGS = 12
_INNER, _OUTER = 0.06, 0.76  # of the circle's radius: beyond it stand the counter's marks
_SIDE = 33  # rows and columns of a patch
_WIDE = 15  # cells of a median filter that a hand vanishes in but a reflection's edge does not
_APART = 15  # directions to both sides that belong to one peak
_STEPS = 42.0  # grey levels for one hand's contrast, in the median filter
_CLEAR = 0.8  # an agreement from which nothing else is tried
_SYSTEMATIC_RAD = 0.035  # shadow, height and print: what directions scatter by in good light
_ALIKE = 3.0  # cells of a patch err together: their sum scatters as much wider

_grid = np.linspace(-1.0, 1.0, _SIDE)
_CELLS = np.stack(np.meshgrid(_grid, _grid), axis=-1)
_ring = np.linspace(_INNER, _OUTER, RINGS)[:, None]
_way = 2 * np.pi * np.arange(COLUMNS) / COLUMNS
_COLUMN = ((_ring * np.cos(_way) + 1) * (_SIDE - 1) / 2).astype(np.float32)
_ROW = ((_ring * np.sin(_way) + 1) * (_SIDE - 1) / 2).astype(np.float32)
AREA = np.repeat(_ring, COLUMNS, axis=1)
"""(RINGS, COLUMNS) how much of the face each place of a turned patch stands for."""


@dataclass(frozen=True, slots=True, eq=False)
class PatchGrid:
    """Where the patch about a counter's centre lies in the picture, prepared once a pose."""

    pose: PlanePose
    needle: NeedleLook
    centre_mm: Float
    radius_mm: float
    pixels: Float
    """(side, side, 2)."""


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """What is seen about a counter's centre, and which of it is in the open."""

    light: Float
    """(side, side, 3)."""
    open: NDArray[np.bool_] | None
    """(side, side); None where all of it is."""

    @property
    def in_open(self) -> NDArray[np.bool_]:
        """(side, side), whether or not anything is covered."""
        return np.ones((_SIDE, _SIDE), dtype=bool) if self.open is None else self.open


@dataclass(frozen=True, slots=True, eq=False)
class HandLook:
    """A hand's look (RINGS, COLUMNS) from direction 0, prepared for comparing."""

    hand: Float
    spectrum: NDArray[np.complex128]
    squared: NDArray[np.complex128]
    """Spectrum of the look's square."""


@dataclass(frozen=True, slots=True)
class HandFit:
    """A hand's direction and how well its look agrees there."""

    angle_rad: float
    sigma_rad: float
    score: float
    """Correlation with the taught look, 1 where it is the same."""
    margin: float
    """How much it is above that at any quite different direction."""
    strength: float
    """Contrast over the taught one."""
    seen: float
    """Share of the hand that lies in the open."""


def patch_grid(
    pose: PlanePose, needle: NeedleLook, centre_mm: Float, radius_mm: float
) -> PatchGrid:
    """Prepare the patch about a counter's centre, in its hand's plane."""
    points = (centre_mm + radius_mm * _CELLS).reshape(-1, 2)
    pixels = pose.project(points, -HAND_HEIGHT * needle.height_mm)
    return PatchGrid(pose, needle, centre_mm, radius_mm, pixels.reshape(_SIDE, _SIDE, 2))


def see_patch(image: NDArray[np.uint8], grid: PatchGrid, line: Line, blur_px: float) -> Patch:
    """Sample the patch about a counter; `line` is where the needle lies."""
    light = linear(sample(image, grid.pixels))
    if _far_from(line, grid):
        return Patch(light, None)
    at = grid.pixels.reshape(-1, 2)
    hidden = covered(grid.pose, grid.needle, line, at, 1.5 + blur_px)
    return Patch(light, ~hidden.reshape(_SIDE, _SIDE))


def _far_from(line: Line, grid: PatchGrid) -> bool:
    """Return whether the needle surely covers nothing of the counter, at tilts to 45 degrees."""
    way = np.array([np.cos(line[0]), np.sin(line[0])])
    along = float(grid.centre_mm @ way)
    aside = abs(float(grid.centre_mm @ np.array([-way[1], way[0]])) - line[1])
    look = grid.needle
    reach = 1.2 * grid.radius_mm + 1.2 * look.height_mm + float(look.half_width_mm.max())
    return aside > reach or not -look.tail_mm - reach < along < look.tip_mm + reach


def turned(patch: NDArray[np.float32]) -> Float:
    """Return a patch as (RINGS, COLUMNS): a turn of it becomes a shift of columns."""
    return np.asarray(cv2.remap(patch, _COLUMN, _ROW, cv2.INTER_LINEAR), dtype=np.float64)


def open_share(patch: Patch) -> Float:
    """Return (RINGS, COLUMNS) 1 where a place is in the open, else 0."""
    return (turned(patch.in_open.astype(np.float32)) > 0.99).astype(np.float64)


def hand_level(patch: Patch, step: Float, mark_light: float) -> NDArray[np.float32]:
    """Return how much each cell differs from the face towards the hand, 1 for a full hand."""
    axis = telling_axis(step)
    level = patch.light @ (axis / (float(step @ axis) * mark_light))
    bare = level[::2, ::2][patch.in_open[::2, ::2]]
    face = median(bare) if bare.size else 0.0
    return np.asarray(level - face, dtype=np.float32)


def _clipped(level: NDArray[np.float32]) -> Float:
    return turned(np.clip(level, -0.5, 1.3))


def _without_edges(level: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return a level freed of reflections with sharp edges: what a wide median filter keeps."""
    steps = np.clip(level * _STEPS + 3 * _STEPS, 0, 255).astype(np.uint8)
    ground = cv2.medianBlur(steps, _WIDE)
    return np.asarray((steps.astype(np.float32) - ground) / _STEPS, dtype=np.float32)


def hand_look(hand: Float) -> HandLook:
    """Prepare a hand's look (RINGS, COLUMNS) for comparing."""
    spectra = (np.conj(np.fft.rfft(one, axis=1)) for one in (hand, hand * hand))
    return HandLook(hand, *spectra)


def _together(a: Float, spectrum: NDArray[np.complex128]) -> Float:
    """Return the sum of products (COLUMNS,) of `a` with a look at each direction."""
    return np.fft.irfft((np.fft.rfft(a, axis=1) * spectrum).sum(axis=0), COLUMNS)


@dataclass(frozen=True, slots=True, eq=False)
class Agreement:
    """How a patch compares with a hand at each direction (COLUMNS,)."""

    score: Float
    """Weighted correlation."""
    contrast: Float
    noise: Float
    """Mean square of what is left."""


def agreement(level: Float, weight: Float | None, look: HandLook) -> Agreement:
    """Compare a turned patch with a hand at every direction; no weights where all is open."""
    w = AREA if weight is None else weight * AREA
    total = float(w.sum()) + 1e-12
    apart = level - float((w * level).sum()) / total
    weighted = w * apart
    spread = float((weighted * apart).sum()) + 1e-12
    if weight is None:
        hands: Float | float = float((w * look.hand).sum())
        squares: Float | float = float((w * look.hand**2).sum())
    else:
        hands, squares = _together(w, look.spectrum), _together(w, look.squared)
    power = np.maximum(squares - hands**2 / total, 1e-9)
    shared = _together(weighted, look.spectrum)
    score = shared / np.sqrt(power * spread)
    left = np.maximum(1.0 - score**2, 0.0) * (spread / total)
    return Agreement(score, shared / power, left)


def turn_back(values: Float, angle_rad: float) -> Float:
    """Return (RINGS, COLUMNS) shifted so that what lay at `angle_rad` lies at 0."""
    wave = np.arange(COLUMNS // 2 + 1)
    spectrum = np.fft.rfft(values, axis=1) * np.exp(1j * wave * angle_rad)
    return np.fft.irfft(spectrum, COLUMNS, axis=1)


def _fit(level: Float, weight: Float | None, look: HandLook) -> HandFit:
    seen = agreement(level, weight, look)
    best = int(np.argmax(seen.score))
    apart = np.abs((np.arange(COLUMNS) - best + COLUMNS // 2) % COLUMNS - COLUMNS // 2)
    angle = (best + parabola_top(seen.score, best)) * 2 * np.pi / COLUMNS
    there = np.roll(look.hand, best, axis=1)
    w = AREA if weight is None else weight * AREA
    slope = (np.roll(there, -1, axis=1) - np.roll(there, 1, axis=1)) * COLUMNS / (4 * np.pi)
    told = float(seen.contrast[best] ** 2 * (w * slope * slope).sum()) + 1e-12
    own = _ALIKE * np.sqrt(float(seen.noise[best]) / told)
    whole = float((AREA * there * there).sum()) + 1e-12
    return HandFit(
        float(angle),
        float(np.hypot(own, _SYSTEMATIC_RAD)),
        float(seen.score[best]),
        float(seen.score[best] - seen.score[apart > _APART].max()),
        float(seen.contrast[best]),
        float((w * there * there).sum()) / whole,
    )


def fit_hand(patch: Patch, step: Float, mark_light: float, look: HandLook) -> HandFit:
    """Return the hand's direction in a patch.

    Where it agrees badly as it is, the patch is freed of reflections first.
    """
    level = hand_level(patch, step, mark_light)
    weight = None if patch.open is None else open_share(patch)
    fit = _fit(_clipped(level), weight, look)
    if fit.score > _CLEAR:
        return fit
    other = _fit(_clipped(_without_edges(level)), weight, look)
    return max(fit, other, key=lambda one: one.score)


def first_level(patch: Patch, step: Float, mark_light: float) -> Float:
    """Return (RINGS, COLUMNS) of a patch as a hand's share of each place, as in `fit_hand`."""
    return _clipped(hand_level(patch, step, mark_light))
