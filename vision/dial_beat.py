"""Pull a rough pose of a scale onto its marks by their rhythm around the ring.

Round the ring the marks are a wave of known count: its phase in each sector says how far
the pose is off sideways (unwrapped, so it may be off by more than a mark), its fall with
the radius says where the rim is.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from readings.median import median
from vision.dial_marks import ScaleLook, look_at_rings
from vision.dial_pose import Evidence, Float, PlanePose, refine_pose

_SECTORS = 24
_PER_MARK = 8  # samples for each mark round the ring
_RINGS = 17
_PATIENCE = 2  # rounds after which a pose that is still out of time is given up
_NOISE = 0.07
_CLEAR = 0.35  # coherence that only a scale reaches
_TOGETHER = 0.9  # unison of a pose that is within a pixel or two
_SPAN = 0.14  # rings reach this share of the radius to both sides of the rim


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A pose whose marks beat in time with the scale's; its turn is known modulo one mark."""

    pose: PlanePose
    coherence: float
    """Share of the ring's contrast that beats in time, 0 to 1."""
    unison: float
    """How far the parts of the ring beat together, 0 to 1."""

    @property
    def locked(self) -> bool:
        """Whether only a scale in its place beats like this."""
        return self.coherence > _CLEAR and self.unison > _TOGETHER


@dataclass(frozen=True, slots=True, eq=False)
class Beat:
    """The rhythm in k sectors: their angles, complex sums, and the rim's radius (k,) in mm."""

    angle_rad: Float
    sums: NDArray[np.complex128]
    rim_mm: Float
    coherence: float
    unison: float


def _ring_values(image: NDArray[np.uint8], pose: PlanePose, look: ScaleLook) -> NDArray[np.float32]:
    """Return (rings, count * _PER_MARK) high-passed grey values about the rim, clipped."""
    count = len(look.angle_rad) * _PER_MARK
    angle = 2 * np.pi * np.arange(count) / count
    radii = look.outer_mm * np.linspace(1 - _SPAN, 1 + _SPAN, _RINGS)
    values = look_at_rings(image, pose.project_rings(radii, angle)).astype(np.float32)
    edge = 2 * _PER_MARK
    padded = np.concatenate([values[:, -edge:], values, values[:, :edge]], axis=1)
    smooth = cv2.blur(padded, (2 * _PER_MARK + 1, 1))[:, edge:-edge]
    values = (values - smooth) * np.float32(look.sign)
    limit = 3.0 * median(np.abs(values[::2, ::3]).ravel()) + 1e-6
    return np.asarray(np.clip(values, -limit, limit))


def _rims(power: Float, radii: Float, outer_mm: float) -> Float:
    """Return where each sector's beat (rings, k) ends outwards: its steepest fall."""
    width = 3
    summed = np.cumsum(np.concatenate([np.zeros((1, power.shape[1])), power]), axis=0)
    inside = summed[width:-width] - summed[: -2 * width]
    outside = summed[2 * width :] - summed[width:-width]
    fall = inside - np.abs(outside)
    best = np.argmax(fall, axis=0)
    step = radii[1] - radii[0]
    rim = radii[best + width] - step / 2
    weak = fall.max(axis=0) < 0.2 * median(fall.max(axis=0))
    rim[weak] = outer_mm
    return np.asarray(rim)


def listen(image: NDArray[np.uint8], pose: PlanePose, look: ScaleLook) -> Beat:
    """Measure the rhythm of the marks about a rough pose."""
    count = len(look.angle_rad)
    sectors = min(_SECTORS, count // 4)
    values = _ring_values(image, pose, look)
    radii = look.outer_mm * np.linspace(1 - _SPAN, 1 + _SPAN, _RINGS)
    size = values.shape[1]
    angle = 2 * np.pi * np.arange(size) / size
    turn = 2 * np.pi * np.arange(_PER_MARK) / _PER_MARK
    wave = np.stack([np.cos(turn), -np.sin(turn)], axis=1).astype(np.float32)
    waves = np.einsum("rmp,pc->rmc", values.reshape(_RINGS, count, _PER_MARK), wave)
    marks = np.round(np.arange(sectors + 1) * count / sectors).astype(int)
    parts = np.add.reduceat(waves, marks[:-1], axis=1).astype(np.float64)
    beats = parts[..., 0] + 1j * parts[..., 1]
    bounds = marks * _PER_MARK
    middle = (angle[bounds[:-1]] + angle[bounds[1:] - 1]) / 2
    marked = (radii > float(np.max(look.inner_mm))) & (radii < look.outer_mm)
    sums = beats[marked].sum(axis=0)
    total = np.sqrt(np.mean(values[marked] ** 2)) * size * marked.sum() / np.sqrt(2) + 1e-9
    power = np.real(beats * np.exp(-1j * np.angle(sums)))
    sound = float(np.abs(sums.sum()))
    unison = sound / (float(np.abs(sums).sum()) + 1e-9)
    return Beat(middle, sums, _rims(power, radii, look.outer_mm), sound / float(total), unison)


def _unwrapped(sums: NDArray[np.complex128]) -> Float:
    """Return phases (k,) unwrapped once around the ring, from where it is heard least.

    Where a finger hides marks the phase may slip by a whole one; there the ring is cut.
    """
    strength = np.abs(sums)
    around = strength + np.roll(strength, 1) + np.roll(strength, -1)
    cut = int(np.argmin(around))
    phase = np.roll(np.unwrap(np.roll(np.angle(sums), -cut)), cut)
    whole = 2 * np.pi * round(float(phase[np.argmax(strength)]) / (2 * np.pi))
    return np.asarray(phase - whole)


def _beat_evidence(pose: PlanePose, look: ScaleLook, beat: Beat) -> Evidence:
    """Return the sectors' sideways places, and the rim's place outwards, as observations."""
    shift = -_unwrapped(beat.sums) / len(look.angle_rad)
    out = np.stack([np.cos(beat.angle_rad), np.sin(beat.angle_rad)], axis=1)
    side = np.stack([-out[:, 1], out[:, 0]], axis=1)
    points = look.outer_mm * out
    base = pose.project(points)
    radius_px = float(np.mean(np.linalg.norm(base - base.mean(axis=0), axis=1)))
    moved = pose.project(
        points * np.cos(shift)[:, None] + look.outer_mm * side * np.sin(shift)[:, None]
    )
    rim = pose.project(beat.rim_mm[:, None] * out)
    along = []
    for way in (side, out):
        delta = pose.project(points + 1e-3 * way) - base
        along.append(delta / np.linalg.norm(delta, axis=1)[:, None])
    strength = np.abs(beat.sums)
    weak = np.clip((median(strength) + 1e-9) / (strength + 1e-9), 0.5, 20.0)
    number = np.arange(len(points))
    return Evidence(
        np.concatenate([points, points]),
        np.concatenate([moved, rim]),
        np.concatenate(along),
        np.concatenate([0.004 * radius_px * weak, 0.012 * radius_px * weak]),
        np.concatenate([number, number + len(points)]).astype(np.intp),
        np.arange(2 * len(points)) >= len(points),
    )


def pull(
    image: NDArray[np.uint8], pose: PlanePose, look: ScaleLook, *, rounds: int = 4
) -> Candidate:
    """Return the pose pulled onto the marks by their rhythm, and how well they then beat."""
    beat = listen(image, pose, look)
    for done in range(rounds):
        if done == _PATIENCE and beat.coherence < _NOISE:
            break
        seen = _beat_evidence(pose, look, beat)
        try:
            moved = refine_pose(
                pose, seen, free_camera=False, rounds=2, reweights=3, limit=4.0
            ).pose
        except np.linalg.LinAlgError:
            break
        if not np.all(np.isfinite(moved.translation)) or moved.translation[2] <= 0:
            break
        pose, beat = moved, listen(image, moved, look)
        if beat.coherence > _CLEAR and beat.unison > _TOGETHER:
            break
    return Candidate(pose, beat.coherence, beat.unison)
