"""Where the needle may point: every direction about the pivot, by taught colour and length."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.dial_needle import NeedleLook, telling_axis
from vision.dial_pose import Float, PlanePose
from vision.dial_profiles import linear

_ANGLES = 720
_RINGS = 24
_APART = 8  # directions to both sides that belong to one candidate


@dataclass(frozen=True, slots=True, eq=False)
class NeedleField:
    """Where to look for a needle about one pose, prepared once while the pose is held."""

    look: NeedleLook
    radii_mm: Float
    x_px: NDArray[np.float32]
    y_px: NDArray[np.float32]


def needle_field(pose: PlanePose, look: NeedleLook) -> NeedleField:
    """Prepare rings from the hub to the tip, in the needle's plane."""
    radii = np.linspace(look.hub_mm, min(look.tip_mm, look.rim_mm), _RINGS)
    angle = 2 * np.pi * np.arange(_ANGLES) / _ANGLES
    return NeedleField(look, radii, *pose.project_rings(radii, angle, -look.height_mm))


def _smooth_round(values: NDArray[np.float32], reach: int) -> NDArray[np.float32]:
    padded = np.concatenate([values[:, -reach:], values, values[:, :reach]], axis=1)
    return np.asarray(cv2.blur(padded, (2 * reach + 1, 1))[:, reach:-reach])


def likeness(image: NDArray[np.uint8], field: NeedleField, mark_light: float) -> Float:
    """Return (rings, directions) how much each place looks like the needle, 0 to 1.

    `mark_light` is the marks' contrast in this picture, by which the needle's is judged.
    """
    seen = cv2.remap(
        image, field.x_px, field.y_px, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    axis = telling_axis(field.look.step)
    level = (linear(np.asarray(seen, dtype=np.uint8)) @ axis).astype(np.float32)
    return step_from_face(level, float(field.look.step @ axis) * mark_light).astype(np.float64)


def step_from_face(level: NDArray[np.float32], full: float) -> NDArray[np.float32]:
    """Return (rings, directions) how far levels step from the face beside, over a full step."""
    step = level - _smooth_round(level, _ANGLES // 16)
    return np.asarray(np.clip(step / np.float32(full), -0.5, 1.2), dtype=np.float32)


def _top(score: NDArray[Any], best: int) -> float:
    """Return how far beside its highest value a score's top lies, by a parabola."""
    before, top, after = (float(score[(best + k) % len(score)]) for k in (-1, 0, 1))
    bend = before - 2 * top + after
    near = bend < -1e-6 and min(before, after) > 0
    return 0.5 * (before - after) / bend if near else 0.0


def candidates(
    like: NDArray[np.floating[Any]], field: NeedleField, *, count: int = 3, fine: bool = False
) -> list[tuple[float, float]]:
    """Return up to `count` directions (rad) with their scores, the best first.

    `fine` ones lie between the grid's directions. A direction scores by how many rings look like
    the needle there, front and tail.
    """
    tail = field.radii_mm < field.look.tail_mm
    present = np.clip(like, 0.0, 1.0)
    back = np.roll(present[tail].sum(axis=0), _ANGLES // 2) / len(like)
    score = _smooth_round((present.mean(axis=0) + back)[None].astype(np.float32), 1)[0]
    out: list[tuple[float, float]] = []
    for _ in range(count):
        best = int(np.argmax(score))
        beside = _top(score, best) if fine else 0.0
        out.append((2 * np.pi * (best + beside) / _ANGLES, float(score[best])))
        score[np.arange(best - _APART, best + _APART + 1) % _ANGLES] = -1.0
    return out
