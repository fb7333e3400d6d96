"""Settle a scale's pose on all its marks: from a rough pose to a hundredth of a division."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readings.median import median
from vision.dial_marks import (
    MarkScan,
    ScaleLook,
    Sideways,
    evidence,
    sample_sideways,
    scan_marks,
)
from vision.dial_pose import PlanePose, PoseFit, refine_pose
from vision.dial_profiles import match_bars
from vision.quick import spread

COARSE_BLUR_PX = 2.2
_COARSE = (0.7, 0.14, COARSE_BLUR_PX)
"""A rough look's blur: so much of the marks' pitch, between two limits in pixels."""
_AT_REST_PX = 0.1  # a move of the rim after which the next one is under 0.03 px
_CLOSE = 0.85  # poses whose merit is within this share of the best are looked at finely
_BLUR_MARKS = 20  # enough marks to tell the blur by
_APART_PX = 4.0  # by which a tilt moves marks, nearer ones against farther ones
_AGREE = 0.9  # merit over observations that only the right tilt reaches
_CHOOSING_MARKS = 60  # enough to settle which of two mirrored tilts it is
_ROUGH_MARKS = 40  # enough to choose between poses by
BLURS_PX = tuple(0.6 * 1.2**k for k in range(13))  # 0.6 to 5.3


@dataclass(frozen=True, slots=True, eq=False)
class ScaleFit:
    """A settled pose and how well the marks agree with it."""

    fit: PoseFit
    scan: MarkScan
    blur_px: float
    share: float
    """Share of the mark bands that were used."""
    scatter_px: float
    """Robust scatter of the used bands across the marks."""

    @property
    def agreement(self) -> float:
        """How well what was seen agrees with the pose, 0 to 1: 0.75 and more in its place."""
        return self.fit.merit / max(1, len(self.fit.residual_px))

    @property
    def pose(self) -> PlanePose:
        """The settled pose."""
        return self.fit.pose


def estimate_blur(image: NDArray[np.uint8], pose: PlanePose, look: ScaleLook) -> float:
    """Return the Gaussian blur (px) under which the marks' profiles fit best."""
    seen = sample_sideways(image, pose, look.thinned(_BLUR_MARKS), COARSE_BLUR_PX)
    noise: dict[int, float] = {}
    _blur_noise(seen, range(0, len(BLURS_PX), 3), noise)
    best = min(noise, key=noise.__getitem__)
    near = range(max(0, best - 2), min(len(BLURS_PX), best + 3))
    _blur_noise(seen, [k for k in near if k not in noise], noise)
    return BLURS_PX[min(noise, key=noise.__getitem__)]


def _blur_noise(seen: Sideways, which: Sequence[int], noise: dict[int, float]) -> None:
    """Note how badly profiles fit under some of the blurs."""
    count, trials = len(seen.v_px), len(which)
    tried = match_bars(
        np.tile(seen.v_px, (trials, 1)),
        np.tile(seen.profiles, (trials, 1)),
        np.tile(seen.half_px, trials),
        np.repeat([BLURS_PX[k] for k in which], count)[:, None],
    )
    for k, one in zip(which, tried.noise.reshape(trials, count), strict=True):
        noise[k] = median(one)


def _measure(
    image: NDArray[np.uint8],
    pose: PlanePose,
    look: ScaleLook,
    blur_px: float,
    *,
    free_camera: bool,
    linearisations: int,
) -> tuple[PoseFit, MarkScan] | None:
    scan = scan_marks(image, pose, look, blur_px)
    if scan.usable.sum() < 16:
        return None
    try:
        seen = evidence(scan, pose)
        fit = refine_pose(pose, seen, free_camera=free_camera, rounds=linearisations)
    except np.linalg.LinAlgError:
        return None
    sane = np.all(np.isfinite(fit.pose.translation)) and fit.pose.translation[2] > 0
    return (fit, scan) if sane else None


def summarise(fit: PoseFit, scan: MarkScan, blur_px: float) -> ScaleFit:
    """Return a fit with the share of the mark bands it used and their scatter."""
    sideways = int(scan.usable.sum())
    used = fit.weight[:sideways] > 0.1
    rest = np.abs(fit.residual_px[:sideways][used])
    scatter = spread(rest) if used.any() else np.inf
    return ScaleFit(fit, scan, blur_px, float(used.sum() / scan.usable.size), scatter)


def _moved_px(one: PlanePose, other: PlanePose, look: ScaleLook) -> float:
    """Return how far the rim moved between two poses, pixels."""
    angle = np.pi / 2 * np.arange(4)
    rim = look.outer_mm * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return float(np.abs(one.project(rim) - other.project(rim)).max())


def settle(
    image: NDArray[np.uint8],
    pose: PlanePose,
    look: ScaleLook,
    *,
    free_camera: bool,
    blur_px: float,
    rounds: int = 4,
) -> ScaleFit | None:
    """Fit a pose to all marks of a grey picture whose blur is known; None where too few.

    `rounds` at most: a pose that a round hardly moved needs no other.
    """
    got = None
    for _ in range(rounds):
        got = _measure(image, pose, look, blur_px, free_camera=free_camera, linearisations=1)
        if got is None:
            return None
        last, pose = pose, got[0].pose
        if _moved_px(last, pose, look) < _AT_REST_PX:
            break
    return None if got is None else summarise(*got, blur_px)


def _pitch_px(pose: PlanePose, look: ScaleLook) -> float:
    """Return the distance of neighbouring marks where no tilt shortens it, pixels."""
    return look.pitch_mm * pose.camera.fx / float(np.linalg.norm(pose.translation))


def _settle_roughly(image: NDArray[np.uint8], pose: PlanePose, look: ScaleLook) -> ScaleFit | None:
    """Fit a rough pose to some of the marks with a broad blur, which sees further."""
    some = look.thinned(_ROUGH_MARKS)
    blur = float(np.clip(_COARSE[1] * _pitch_px(pose, look), _COARSE[0], _COARSE[2]))
    got = _measure(image, pose, some, blur, free_camera=False, linearisations=2)
    return None if got is None else summarise(*got, blur)


def _sure(fit: ScaleFit, outer_mm: float) -> bool:
    """Return whether a rough fit is so tilted and so good that no mirrored tilt can be."""
    pose = fit.pose
    nearness = outer_mm / float(np.linalg.norm(pose.translation))
    apart = pose.tilt_rad() * nearness * nearness * pose.camera.fx
    return apart > _APART_PX and fit.agreement > _AGREE


def choose_pose(
    image: NDArray[np.uint8], starts: list[PlanePose], look: ScaleLook, *, free_camera: bool
) -> ScaleFit | None:
    """Look at rough poses with a broad blur, then finely; the one with which most marks agree.

    At low tilt a mirrored tilt fits nearly as well: what is close is settled finely before it
    is decided. None where too few marks agree with any.
    """
    rough: list[ScaleFit] = []
    for start in starts:
        fit = _settle_roughly(image, start, look)
        rough += [fit] if fit else []
        if fit is not None and _sure(fit, look.outer_mm):
            break
    if not rough:
        return None
    best = max(rough, key=lambda f: f.fit.merit)
    close = [fit for fit in rough if fit.fit.merit > _CLOSE * best.fit.merit]
    blur = estimate_blur(image, best.pose, look)
    some = look.thinned(_CHOOSING_MARKS)
    fine = [
        fit
        for one in close
        if (fit := settle(image, one.pose, some, free_camera=free_camera, blur_px=blur, rounds=1))
    ]
    return max(fine, key=lambda f: f.fit.merit, default=None)


def settle_best(
    image: NDArray[np.uint8], starts: list[PlanePose], look: ScaleLook, *, free_camera: bool
) -> ScaleFit | None:
    """Choose the best of several rough poses and settle it; None where none fits."""
    best = choose_pose(image, starts, look, free_camera=free_camera)
    if best is None:
        return None
    return settle(image, best.pose, look, free_camera=free_camera, blur_px=best.blur_px)
