"""The needle: a bar of taught colour and width on a line through the pivot.

All places are in the needle's own plane (at its height above the scale), u along the needle
from the pivot, v across it. Its direction there is its direction on the scale.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dials import TaughtDial
from vision.dial_marks import sample
from vision.dial_pose import Float, PlanePose
from vision.dial_profiles import Stripes, linear, match_stripe

_ANGLES = 1080  # directions tried
_RINGS = 40
_ROWS = 120  # along the needle in the fit
_ACROSS = 21
_CHROMA = 0.35  # share of colour in a needle that suffices to tell it by colour alone


@dataclass(frozen=True, slots=True, eq=False)
class NeedleLook:
    """What a needle looks like; lengths in mm, widths against u."""

    height_mm: float
    step: Float
    """(3,) linear BGR from face to needle, over the marks' contrast."""
    u_mm: Float
    half_width_mm: Float
    hub_mm: float
    rim_mm: float
    """Beyond this radius marks may be mixed up with the needle."""

    @property
    def tip_mm(self) -> float:
        """How far the needle reaches in front of the pivot."""
        return float(self.u_mm[self.half_width_mm > 0].max(initial=0.0))

    @property
    def tail_mm(self) -> float:
        """How far it reaches behind the pivot."""
        return float(-self.u_mm[self.half_width_mm > 0].min(initial=0.0))

    def width_at(self, u_mm: Float) -> Float:
        """Return half widths at places along the needle."""
        return np.asarray(np.interp(u_mm, self.u_mm, self.half_width_mm, left=0.0, right=0.0))


def telling_axis(step: Float) -> Float:
    """Return the unit colour axis that tells a needle of colour step `step` from all else.

    Without grey, so blind to ink and shadow, where the needle has colour enough.
    """
    chroma = step - step.mean()
    chosen = chroma if np.linalg.norm(chroma) > _CHROMA * np.linalg.norm(step) else step
    return np.asarray(chosen / np.linalg.norm(chosen))


@dataclass(frozen=True, slots=True, eq=False)
class NeedleFit:
    """A needle line and how well it fits."""

    angle_rad: float
    """Direction of the tip in the plane's frame."""
    sigma_rad: float
    miss_mm: float
    """Signed distance of the line from the pivot."""
    sigma_miss_mm: float
    strength: float
    """Contrast over the taught contrast: 1 in good light, less under glare or in a shadow."""
    front_share: float
    """Share of the front rows that fit the line as a needle."""
    tail_share: float
    scatter_px: float
    px_per_mm: float
    rows: int
    score: float


def needle_look(dial: TaughtDial) -> NeedleLook:
    """Return the look of a taught dial's needle."""
    return NeedleLook(
        dial.needle_height_mm,
        dial.needle_step,
        dial.needle_reach_mm,
        dial.needle_half_width_mm,
        dial.hub_mm,
        float(np.max(dial.mark_inner_mm)),
    )


def _smooth_round(values: Float, reach: int) -> Float:
    padded = np.concatenate([values[:, -reach:], values, values[:, :reach]], axis=1)
    flat = padded.reshape(len(padded), padded.shape[1], -1)
    out = cv2.blur(flat, (2 * reach + 1, 1))[:, reach:-reach]
    return np.asarray(out).reshape(values.shape)


def needle_likeness(
    image: NDArray[np.uint8], pose: PlanePose, look: NeedleLook, mark_light: float
) -> Float:
    """Return (rings, _ANGLES) how much each place about the pivot looks like the needle, 0 to 1.

    `mark_light` is the marks' contrast in this picture, by which the needle's is judged.

    Rings run evenly from the hub to the tip.
    """
    radii = np.linspace(look.hub_mm, min(look.tip_mm, look.rim_mm), _RINGS)
    angle = 2 * np.pi * np.arange(_ANGLES) / _ANGLES
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    points = (radii[:, None, None] * ring).reshape(-1, 2)
    pixels = pose.project(points, -look.height_mm).reshape(_RINGS, _ANGLES, 2)
    light = linear(sample(image, pixels))
    shade = _smooth_round(light, _ANGLES // 16)
    axis = telling_axis(look.step)
    step = (light - shade) @ axis / (float(look.step @ axis) * mark_light)
    return np.asarray(np.clip(step, -0.5, 1.2))


def needle_candidates(
    likeness: Float, look: NeedleLook, *, count: int = 3
) -> list[tuple[float, float]]:
    """Return up to `count` directions (rad) with their scores, the best first.

    A direction scores by how many rings look like the needle there, front and tail.
    """
    radii = np.linspace(look.hub_mm, min(look.tip_mm, look.rim_mm), _RINGS)
    tail = radii < look.tail_mm
    present = np.clip(likeness, 0.0, 1.0)
    front = present.mean(axis=0)
    back = np.roll(present[tail].sum(axis=0), _ANGLES // 2) / _RINGS
    score = cv2.blur((front + back)[None], (3, 1), borderType=cv2.BORDER_REFLECT).ravel()
    out: list[tuple[float, float]] = []
    for _ in range(count):
        best = int(np.argmax(score))
        out.append((2 * np.pi * best / _ANGLES, float(score[best])))
        width = _ANGLES // 60
        score[np.arange(best - width, best + width + 1) % _ANGLES] = -1.0
    return out


def _rows(look: NeedleLook) -> Float:
    """Return the places along the needle that a fit looks at: front first, then tail."""
    front = np.linspace(look.hub_mm, min(look.tip_mm, look.rim_mm), _ROWS)
    step = front[1] - front[0]
    tail = -np.arange(look.hub_mm, max(look.tail_mm, look.hub_mm), step)
    return np.concatenate([front, tail])


@dataclass(frozen=True, slots=True, eq=False)
class _Strip:
    """Row offsets about a line: places (m,), offsets in mm, sigmas, contrasts, noise, px/mm."""

    u_mm: Float
    offset_mm: Float
    sigma_mm: Float
    strength: Float
    noise: Float
    px_per_mm: Float


def line_points(angle_rad: float, miss_mm: float, u_mm: Float, v_mm: Float) -> Float:
    """Return plane points (m, n, 2) at (u, v) about a line."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    v = v_mm + miss_mm
    return np.stack([u_mm * c - v * s, u_mm * s + v * c], axis=-1)


def _scale_across(pose: PlanePose, look: NeedleLook, angle_rad: float, u_mm: Float) -> Float:
    """Return pixels per mm across the needle at each row.

    Rows are parallel in the plane; what matters is how far apart two lines along the needle
    are in the picture, measured at right angles to it.
    """
    z = -look.height_mm
    zero = np.zeros_like(u_mm)
    base = pose.project(line_points(angle_rad, 0.0, u_mm, zero), z)
    along = pose.project(line_points(angle_rad, 0.0, u_mm + 1e-2, zero), z) - base
    across = pose.project(line_points(angle_rad, 0.0, u_mm, zero + 1e-2), z) - base
    area = np.abs(along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0])
    return np.asarray(area / np.linalg.norm(along, axis=1) * 1e2)


def scan_rows(
    image: NDArray[np.uint8],
    pose: PlanePose,
    look: NeedleLook,
    line: tuple[float, float],
    blur_px: float,
    u_mm: Float,
) -> tuple[Stripes, Float]:
    """Measure the needle across at places along a line; also return pixels per mm there.

    Contrasts come in units of light along the needle's own colour step.
    """
    scale = _scale_across(pose, look, line[0], u_mm)
    half_px = look.width_at(u_mm) * scale
    span = half_px + 2.5 * blur_px + 2.5
    v_px = span[:, None] * np.linspace(-1.0, 1.0, _ACROSS)
    points = line_points(line[0], line[1], u_mm[:, None], v_px / scale[:, None])
    pixels = pose.project(points.reshape(-1, 2), -look.height_mm).reshape(*v_px.shape, 2)
    length = float(np.linalg.norm(look.step))
    profiles = linear(sample(image, pixels)) @ (look.step / length**2)
    return match_stripe(v_px, profiles, half_px, blur_px), scale


def _scan(
    image: NDArray[np.uint8],
    pose: PlanePose,
    look: NeedleLook,
    line: tuple[float, float],
    blur_px: float,
    mark_light: float,
) -> _Strip:
    u = _rows(look)
    seen, scale = scan_rows(image, pose, look, line, blur_px, u)
    limit = look.width_at(u) * scale + blur_px + 1.0
    return _Strip(
        u,
        np.clip(seen.offset_px, -limit, limit) / scale,
        seen.sigma_px / scale,
        seen.contrast / mark_light,
        seen.noise / mark_light,
        scale,
    )


def _good_rows(strip: _Strip) -> NDArray[np.bool_]:
    """Return the rows that look like the needle by strength, place and fit."""
    strong = strip.strength > 0.25
    if not np.any(strong):
        return strong
    noise = float(np.median(strip.noise[strong]))
    clean = strip.noise < 3.0 * noise
    return np.asarray(strong & clean & np.isfinite(strip.sigma_mm))


def _fit_line(strip: _Strip, good: NDArray[np.bool_]) -> tuple[Float, Float, Float, Float]:
    """Return (shift, slope), its covariance, row weights and scaled residuals, robustly."""
    A = np.stack([np.ones_like(strip.u_mm), strip.u_mm], axis=1)
    sigma = np.hypot(strip.sigma_mm, np.median(strip.sigma_mm[good]))
    base = np.where(good, 1.0 / sigma**2, 0.0)
    weight = base.copy()
    solved, normal = np.zeros(2), np.eye(2)
    rest = np.zeros_like(base)
    for _ in range(8):
        normal = (A * weight[:, None]).T @ A + 1e-12 * np.eye(2)
        solved = np.linalg.solve(normal, A.T @ (weight * strip.offset_mm))
        rest = (strip.offset_mm - A @ solved) / sigma
        spread = max(0.7, 1.4826 * float(np.median(np.abs(rest[good]))))
        u = np.minimum(np.abs(rest) / (4.0 * spread), 1.0)
        weight = base * (1 - u * u) ** 2
    return (
        solved,
        np.linalg.inv(normal) * max(spread, 1.0) ** 2,
        weight / np.maximum(base, 1e-12),
        rest,
    )


def fit_needle(
    image: NDArray[np.uint8],
    pose: PlanePose,
    look: NeedleLook,
    angle_rad: float,
    blur_px: float,
    mark_light: float,
    *,
    rounds: int = 4,
) -> NeedleFit | None:
    """Fit the needle as a free line from a first direction; None where nothing fits."""
    line = (angle_rad, 0.0)
    strip, good = None, None
    for _ in range(rounds):
        strip = _scan(image, pose, look, line, blur_px, mark_light)
        good = _good_rows(strip)
        if good.sum() < 12:
            return None
        solved, covariance, weight, rest = _fit_line(strip, good)
        line = (line[0] + float(np.arctan(solved[1])), line[1] + float(solved[0]))
        if abs(solved[1]) < 2e-6 and abs(solved[0]) < 1e-4:
            break
    assert strip is not None and good is not None
    held = good & (weight > 0.2)
    front = strip.u_mm > 0
    used = held & front
    if used.sum() < 8:
        return None
    rest_mm = strip.offset_mm - solved[0] - solved[1] * strip.u_mm
    scatter = 1.4826 * float(np.median(np.abs(rest_mm[good] * strip.px_per_mm[good])))
    return NeedleFit(
        angle_rad=float(line[0]),
        sigma_rad=float(np.sqrt(covariance[1, 1])),
        miss_mm=line[1],
        sigma_miss_mm=float(np.sqrt(covariance[0, 0])),
        strength=float(np.median(strip.strength[used])),
        front_share=float(used.sum() / front.sum()),
        tail_share=float((held & ~front).sum() / max(1, (~front).sum())),
        scatter_px=scatter,
        px_per_mm=float(np.median(strip.px_per_mm)),
        rows=int(held.sum()),
        score=float(used.sum() / front.sum()),
    )
