"""Settle a scale's pose on all its marks: from a rough pose to a hundredth of a division."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.dial_marks import (
    MarkScan,
    ScaleLook,
    evidence,
    sample_sideways,
    scan_marks,
)
from vision.dial_pose import PlanePose, PoseFit, refine_pose

COARSE_BLUR_PX = 2.2
_CLOSE = 0.9  # poses whose merit is within this share of the best are looked at finely
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
    def pose(self) -> PlanePose:
        """The settled pose."""
        return self.fit.pose


def estimate_blur(image: NDArray[np.uint8], pose: PlanePose, look: ScaleLook) -> float:
    """Return the Gaussian blur (px) under which the marks' profiles fit best."""
    seen = sample_sideways(image, pose, look, COARSE_BLUR_PX)
    noise = [float(np.median(seen.offsets(blur).noise)) for blur in BLURS_PX]
    return BLURS_PX[int(np.argmin(noise))]


def _measure(
    image: NDArray[np.uint8],
    pose: PlanePose,
    look: ScaleLook,
    blur_px: float,
    *,
    free_camera: bool,
) -> tuple[PoseFit, MarkScan] | None:
    scan = scan_marks(image, pose, look, blur_px)
    if scan.usable.sum() < 16:
        return None
    try:
        fit = refine_pose(pose, evidence(scan, pose), free_camera=free_camera)
    except np.linalg.LinAlgError:
        return None
    sane = np.all(np.isfinite(fit.pose.translation)) and fit.pose.translation[2] > 0
    return (fit, scan) if sane else None


def summarise(fit: PoseFit, scan: MarkScan, blur_px: float) -> ScaleFit:
    """Return a fit with the share of the mark bands it used and their scatter."""
    sideways = int(scan.usable.sum())
    used = fit.weight[:sideways] > 0.1
    rest = np.abs(fit.residual_px[:sideways][used])
    scatter = 1.4826 * float(np.median(rest)) if used.any() else np.inf
    return ScaleFit(fit, scan, blur_px, float(used.sum() / scan.usable.size), scatter)


def settle(
    image: NDArray[np.uint8],
    pose: PlanePose,
    look: ScaleLook,
    *,
    free_camera: bool,
    blur_px: float,
    rounds: int = 2,
) -> ScaleFit | None:
    """Fit a pose to all marks of a grey picture whose blur is known; None where too few."""
    got = None
    for _ in range(rounds):
        got = _measure(image, pose, look, blur_px, free_camera=free_camera)
        if got is None:
            return None
        pose = got[0].pose
    return None if got is None else summarise(*got, blur_px)


def settle_roughly(image: NDArray[np.uint8], pose: PlanePose, look: ScaleLook) -> ScaleFit | None:
    """Fit a rough pose to all marks with a broad blur, which sees further."""
    return settle(image, pose, look, free_camera=False, blur_px=COARSE_BLUR_PX)


def settle_best(
    image: NDArray[np.uint8], starts: list[PlanePose], look: ScaleLook, *, free_camera: bool
) -> ScaleFit | None:
    """Fit from several rough poses; the one with which most marks agree, None where none.

    At low tilt a mirrored tilt fits nearly as well: what is close is settled finely before it
    is decided.
    """
    rough = [fit for fit in (settle_roughly(image, pose, look) for pose in starts) if fit]
    if not rough:
        return None
    best = max(fit.fit.merit for fit in rough)
    close = [fit for fit in rough if fit.fit.merit > _CLOSE * best]
    blur = estimate_blur(image, max(close, key=lambda f: f.fit.merit).pose, look)
    fine = [
        fit
        for one in close
        if (fit := settle(image, one.pose, look, free_camera=free_camera, blur_px=blur))
    ]
    return max(fine, key=lambda f: f.fit.merit, default=None)
