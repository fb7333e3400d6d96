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

_COARSE_BLUR_PX = 2.2
_BLURS_PX = tuple(0.6 * 1.2**k for k in range(13))  # 0.6 to 5.3


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
    seen = sample_sideways(image, pose, look, _COARSE_BLUR_PX)
    noise = [float(np.median(seen.offsets(blur).noise)) for blur in _BLURS_PX]
    return _BLURS_PX[int(np.argmin(noise))]


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
    blur_px: float | None = None,
    rounds: int = 3,
) -> ScaleFit | None:
    """Fit a pose to all marks of a grey picture; None where there are too few.

    Starts wide (a broad blur sees further), then uses the picture's own blur, estimated
    unless `blur_px` gives it.
    """
    got = None
    if blur_px is None:
        for _ in range(2):
            got = _measure(image, pose, look, _COARSE_BLUR_PX, free_camera=False)
            if got is None:
                return None
            pose = got[0].pose
        blur_px = estimate_blur(image, pose, look)
    for _ in range(rounds):
        got = _measure(image, pose, look, blur_px, free_camera=free_camera)
        if got is None:
            return None
        pose = got[0].pose
    return None if got is None else summarise(*got, blur_px)
