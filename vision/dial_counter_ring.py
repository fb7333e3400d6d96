"""Where a turns counter is: its printed circle inside the scale.

In teaching it is looked for everywhere on the face; in reading its distance from the dial's
centre is known, so one unrolled ring tells its bearing.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.dial_marks import sample
from vision.dial_pose import Float, PlanePose
from vision.quick import spread

_FACE = 241  # rows and columns of the flattened face that teaching looks at
_REACH = 0.74  # share of the scale's radius that a counter's circle may reach out to
_RINGS = (0.09, 0.27)  # of the scale's radius: circles looked for
_LINE = 0.9  # width (sigma) of a printed circle, in cells of the flattened face
_BESIDE = 3.2  # how far beside it the bare face is looked at, cells
_WHOLE = 0.7  # share of a circle that must be seen
_SIDES = 72  # places round a circle at which its line is sought
_OUT = 0.12  # how far from it, of its radius
_BEARINGS = 512
_ROWS = 24
_SPAN = 1.15  # of the circle's radius, to both sides of its centre
_LINE_SHARE = 0.035  # width (sigma) of the circle's line in the unrolled ring, of its radius
_NEAR = 0.04  # of a turn: peaks within it belong together


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """A counter's circle in the scale's plane."""

    centre_mm: Float
    radius_mm: float

    @property
    def distance_mm(self) -> float:
        """From the dial's centre to the circle's."""
        return float(np.hypot(*self.centre_mm))

    @property
    def bearing_rad(self) -> float:
        """Direction of the circle's centre from the dial's."""
        return float(np.arctan2(self.centre_mm[1], self.centre_mm[0]))


@dataclass(frozen=True, slots=True)
class Bearing:
    """Where a known counter is seen, and how sure that is."""

    angle_rad: float
    score: float
    """Correlation of the unrolled ring with a circle there."""
    margin: float
    """How much it is above the best elsewhere."""


def _flattened(gray: NDArray[np.uint8], pose: PlanePose, reach_mm: float, sign: float) -> Float:
    """Return the face seen square on, freed of shading; ink counts up whatever its colour."""
    grid = np.linspace(-reach_mm, reach_mm, _FACE)
    points = np.stack(np.meshgrid(grid, grid), axis=-1).reshape(-1, 2)
    seen = sample(gray, pose.project(points).reshape(_FACE, _FACE, 2)).astype(np.float32)
    level = np.log(seen + np.float32(4.0))
    ink = sign * (level - cv2.GaussianBlur(level, (0, 0), 4.0))
    limit = 3.0 * spread(ink[:: _FACE // 40].ravel())
    return np.asarray(np.clip(ink, -limit, limit) / max(limit, 1e-6), dtype=np.float64)


def _ring_kernel(radius: float) -> NDArray[np.float32]:
    """Return a circle of unit weight, with its surroundings taken off, in cells."""
    half = int(radius + _BESIDE + 3)
    grid = np.arange(-half, half + 1)
    off = np.hypot(*np.meshgrid(grid, grid)) - radius
    line = np.exp(-0.5 * (off / _LINE) ** 2)
    beside = np.exp(-0.5 * ((np.abs(off) - _BESIDE) / _LINE) ** 2)
    return np.asarray(line / line.sum() - beside / beside.sum(), dtype=np.float32)


def _best_circle(ink: Float) -> tuple[float, Float]:
    """Return radius and centre (column, row from the middle) of the clearest circle, in cells."""
    middle = _FACE // 2
    cells = middle / _REACH  # the scale's radius
    grid = np.arange(_FACE) - middle
    from_centre = np.hypot(*np.meshgrid(grid, grid))
    best, found = -np.inf, (0.0, np.zeros(2))
    for radius in np.arange(_RINGS[0] * cells, _RINGS[1] * cells, 0.75):
        score = cv2.filter2D(ink.astype(np.float32), -1, _ring_kernel(radius))
        inside = (from_centre + radius < middle) & (from_centre > radius)
        at = int(np.argmax(np.where(inside, score, -np.inf)))
        if score.ravel()[at] > best:
            row, column = divmod(at, _FACE)
            best, found = float(score.ravel()[at]), (radius, np.array([column, row]) - middle)
    return found


def _sharpened(gray: NDArray[np.uint8], pose: PlanePose, ring: Ring, sign: float) -> Ring | None:
    """Return a circle fitted to its line all round; None where too little of one is there."""
    angle = 2 * np.pi * np.arange(_SIDES) / _SIDES
    way = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    off = np.linspace(-_OUT, _OUT, 25)
    radii = ring.radius_mm * (1 + off)
    points = ring.centre_mm + radii[:, None, None] * way
    seen = sample(gray, pose.project(points.reshape(-1, 2)).reshape(*points.shape))
    level = sign * np.log(seen.astype(np.float64) + 4.0)
    ink = level - np.median(level, axis=0)
    at = np.argmax(ink, axis=0)
    peak = ink[at, np.arange(_SIDES)]
    there = (peak > 0.4 * np.median(peak)) & (np.abs(off[at]) < 0.9 * _OUT)
    ends = ring.centre_mm + radii[at][:, None] * way
    centre, radius, held = _fit_circle(ends, there, ring)
    return Ring(centre, radius) if np.mean(held) >= _WHOLE else None


def _fit_circle(
    points: Float, there: NDArray[np.bool_], ring: Ring
) -> tuple[Float, float, NDArray[np.bool_]]:
    """Fit a circle to points by small geometric steps, leaving out what does not follow."""
    centre, radius = ring.centre_mm, ring.radius_mm
    held = there
    for _ in range(6):
        arm = points - centre
        length = np.linalg.norm(arm, axis=1)
        rest = length - radius
        held = there & (np.abs(rest) < max(3.0 * spread(rest[there]), 0.01 * radius))
        if held.sum() < _SIDES // 3:
            break
        A = np.column_stack([arm / length[:, None], np.ones(len(points))])[held]
        step = np.asarray(np.linalg.lstsq(A, rest[held], rcond=None)[0], np.float64)
        centre, radius = centre + step[:2], radius + float(step[2])
    return centre, radius, held


def find_ring(
    gray: NDArray[np.uint8], pose: PlanePose, scale_mm: float, sign: float
) -> Ring | None:
    """Return the clearest printed circle inside a scale of radius `scale_mm`, None where none.

    `sign` is +1 where print is brighter than the face. A circle counts where 70 % of it is seen.
    """
    ink = _flattened(gray, pose, _REACH * scale_mm, sign)
    radius, middle = _best_circle(ink)
    cell = 2 * _REACH * scale_mm / (_FACE - 1)
    return _sharpened(gray, pose, Ring(middle * cell, radius * cell), sign)


@dataclass(frozen=True, slots=True, eq=False)
class RingSearch:
    """An unrolled ring about a dial's centre in which a counter at a known distance shows."""

    radii_mm: Float
    spectrum: NDArray[np.complex128]
    norm: float


def ring_search(distance_mm: float, ring_mm: float) -> RingSearch:
    """Prepare the search for a circle at a known distance from the dial's centre."""
    radii = np.linspace(distance_mm - _SPAN * ring_mm, distance_mm + _SPAN * ring_mm, _ROWS)
    angle = 2 * np.pi * np.arange(_BEARINGS) / _BEARINGS
    x, y = radii[:, None] * np.cos(angle), radii[:, None] * np.sin(angle)
    off = (np.hypot(x - distance_mm, y) - ring_mm) / (_LINE_SHARE * ring_mm)
    line = np.exp(-0.5 * off**2)
    beside = np.exp(-0.5 * (off - 3.0) ** 2) + np.exp(-0.5 * (off + 3.0) ** 2)
    kernel = line - 0.5 * beside
    spectrum = np.conj(np.fft.rfft(kernel, axis=1))
    return RingSearch(radii, spectrum, float(np.linalg.norm(kernel)))


def find_bearing(
    gray: NDArray[np.uint8], pose: PlanePose, search: RingSearch, sign: float
) -> Bearing:
    """Return at which bearing a counter's circle is seen about a settled pose."""
    angle = 2 * np.pi * np.arange(_BEARINGS) / _BEARINGS
    x, y = pose.project_rings(search.radii_mm, angle)
    seen = cv2.remap(gray, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    level = np.log(np.asarray(seen, dtype=np.float32) + np.float32(4.0))
    edge = 24
    round_ = np.concatenate([level[:, -edge:], level, level[:, :edge]], axis=1)
    ink = sign * (level - cv2.GaussianBlur(round_, (0, 0), 5.0, sigmaY=3.0)[:, edge:-edge])
    limit = 2.5 * spread(ink[::3].ravel()) + 1e-6
    ink = np.clip(ink, -limit, limit)
    together = (np.fft.rfft(ink, axis=1) * search.spectrum).sum(axis=0)
    score = np.fft.irfft(together, _BEARINGS) / (np.linalg.norm(ink) * search.norm + 1e-12)
    best = int(np.argmax(score))
    apart = np.abs((np.arange(_BEARINGS) - best + _BEARINGS // 2) % _BEARINGS - _BEARINGS // 2)
    elsewhere = float(score[apart > _NEAR * _BEARINGS].max())
    place = (best + parabola_top(score, best)) * 2 * np.pi / _BEARINGS
    return Bearing(float(place), float(score[best]), float(score[best]) - elsewhere)


def parabola_top(values: Float, at: int) -> float:
    """Return how far beside a maximum of a periodic series its parabola's top lies, in steps."""
    before, top, after = values[at - 1], values[at], values[(at + 1) % len(values)]
    bend = before - 2 * top + after
    return float(0.5 * (before - after) / bend) if bend < 0 else 0.0
