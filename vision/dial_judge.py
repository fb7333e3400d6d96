"""Which poses and needles may be believed, and how far.

Scale and needle are judged apart: a perfect scale says nothing about the needle.
"""

import numpy as np
from numpy.typing import NDArray

from calibration.dials import TaughtDial
from vision.dial_needle import NeedleFit
from vision.dial_pose import Float, PlanePose
from vision.dial_rotation import ScaleTurn
from vision.dial_scale import ScaleFit
from vision.quick import wrapped_rad

MIN_SHARE = 0.40
"""Share of the marks that must agree on a pose."""
MAX_SCATTER_PX = 0.60
"""Marks scatter by 0.03 to 0.2 px in a usable picture, by 1 px and more in a hopeless blur."""
MAX_STRAIN = 4.0
"""Scatter over the marks' own noise: 1 to 3 where every mark is taken for itself; ..."""
MAX_STRAIN_PITCH = 0.025
"""... part of a scale taken a mark further on also scatters by more than this share of a pitch."""
MAX_GAPS = 0.25
"""Marks missing between two that are seen: more says that this is another scale."""
MIN_TURN_SCORE = 0.28
MIN_TURN_MARGIN = 0.08
MIN_FRONT = 0.50
"""Share of the needle's length in front of the pivot that must be in sight."""
MIN_STRENGTH = 0.35
"""Contrast over the taught one: shadows and glare lie below."""
MIN_EVIDENCE = 0.35
"""Share of the front in sight times contrast, where the tail is seen too; ..."""
MIN_EVIDENCE_FRONT = 0.5
"""... where it is not: the edge of a reflection, a finger or a shadow has no tail; ..."""
MIN_EVIDENCE_SMEARED = 0.8
"""... where it is not and the front is smeared: a wedge of light between reflections; ..."""
MIN_EVIDENCE_TAILLESS = 0.4
"""... and where the taught needle has none."""
MIN_TAIL = 0.15
MAX_MISS_PX = 3.0
MAX_MISS_SHARE = 0.015
"""How far the needle's line may pass from the pivot: pixels, or share of the scale's radius."""
MAX_NEEDLE_SCATTER_PX = 0.9
MAX_SIGMA_DIVISIONS = 0.11
"""A reading that is less sure than this is refused: half a division is over four sigmas off."""
STILL_FRONT = 0.85
"""A still needle fits along this share of its front and more; below it, smear is tried."""
_SMEARED_DOUBT = 1.75
"""A needle's shadow is smeared into it: over a division and more, its sigma is as much wider."""
_FLOOR_DIVISIONS = 0.0012  # print of the scale, lens
_ROWS_DOUBT = 1.55  # what print and narrow shadows add to a needle's rows beyond their scatter
_LEAN_PX = 0.0086  # what may shift a tip unseen by rows and shading
_SHARP_PX = 0.9  # a wider blur takes in more of what stands beside the needle: so much more lean
_STEP = 1e-6


def judge_scale(scale: ScaleFit | None) -> str | None:
    """Return the flag against a settled scale, None where it may be believed."""
    if scale is None:
        return "no dial"
    if scale.scatter_px > MAX_SCATTER_PX:
        return "out of focus"
    if scale.share < MIN_SHARE or slipped(scale):
        return "scale hidden"
    return "no dial" if gaps(np.asarray(scale.scan.usable.any(axis=1))) > MAX_GAPS else None


def slipped(scale: ScaleFit) -> bool:
    """Return whether part of the marks may have been taken for their neighbours.

    A pose bent so that one side lies a mark further on fits most marks; they then scatter by a
    share of the pitch, far beyond their own noise.
    """
    ends = scale.pose.project(scale.scan.ends_mm)
    pitch_px = float(np.median(np.linalg.norm(np.diff(ends, axis=0), axis=1)))
    usable = scale.scan.usable.ravel()
    own_px = float(np.median(scale.scan.sideways.sigma_px[usable])) if usable.any() else 0.0
    return scale.scatter_px > max(MAX_STRAIN * own_px, MAX_STRAIN_PITCH * pitch_px)


def gaps(seen: NDArray[np.bool_]) -> float:
    """Return the share of marks missing among those whose neighbours are both seen.

    A finger, a mirror or the bezel hides marks side by side; every second mark missing means
    that the scale has other marks than the taught one.
    """
    between = np.roll(seen, 1) & np.roll(seen, -1)
    return float(np.mean(~seen[between])) if between.any() else 1.0


def judge_turn(turn: ScaleTurn) -> str | None:
    """Return the flag against a scale's turn, None where it may be believed."""
    if turn.score < MIN_TURN_SCORE or turn.margin < MIN_TURN_MARGIN:
        return "ambiguous rotation"
    return None


def _least_evidence(fit: NeedleFit, dial: TaughtDial) -> float:
    if fit.tail_share > MIN_TAIL:
        return MIN_EVIDENCE
    reach = dial.needle_reach_mm[dial.needle_half_width_mm > 0]
    tailless = -float(reach.min(initial=0.0)) <= dial.hub_mm
    if tailless:
        return MIN_EVIDENCE_TAILLESS
    return MIN_EVIDENCE_SMEARED if fit.smear_rad else MIN_EVIDENCE_FRONT


def judge_needle(fit: NeedleFit | None, dial: TaughtDial) -> str | None:
    """Return the flag against a needle, None where it may be believed."""
    if fit is None or fit.front_share < MIN_FRONT or fit.strength < MIN_STRENGTH:
        return "needle hidden"
    if fit.front_share * min(fit.strength, 1.0) < _least_evidence(fit, dial):
        return "needle hidden"
    own = _own_sigma_rad(fit, dial) * dial.marks_per_turn / (2 * np.pi)
    if fit.scatter_px > MAX_NEEDLE_SCATTER_PX or own > MAX_SIGMA_DIVISIONS:
        return "needle blurred"
    allowed_mm = max(MAX_MISS_PX / fit.px_per_mm, MAX_MISS_SHARE * dial.radius_mm)
    if abs(fit.miss_mm) > allowed_mm + 3 * fit.sigma_miss_mm:
        return "needle off pivot"
    return None


def _bearing(pose: PlanePose, rays: Float, height_mm: float) -> float:
    """Return the direction in the plane of a line through two rays at the needle's height."""
    H = np.linalg.inv(pose.homography(-height_mm))
    scaled = rays @ H[:, :2].T + H[:, 2]
    (x0, y0), (x1, y1) = scaled[:, :2] / scaled[:, 2:]
    return float(np.arctan2(y1 - y0, x1 - x0))


def pose_sigma_rad(scale: ScaleFit, needle: NeedleFit, height_mm: float, reach_mm: float) -> float:
    """Return the part of the direction's sigma that comes from the pose, by its covariance."""
    pose = scale.pose
    way = np.array([np.cos(needle.angle_rad), np.sin(needle.angle_rad)])
    aside = needle.miss_mm * np.array([-way[1], way[0]])
    ends = pose.project(np.array([aside, aside + reach_mm * way]), -height_mm)
    rays = pose.camera.undistort(ends)
    size = len(scale.fit.covariance)
    base = _bearing(pose, rays, height_mm)
    slope = np.empty(size)
    for j, step in enumerate(_STEP * np.eye(size)):
        moved = pose.moved(step)
        seen = rays if j < 6 else moved.camera.undistort(ends)
        slope[j] = wrapped_rad(_bearing(moved, seen, height_mm) - base)
    slope /= _STEP
    return float(np.sqrt(max(float(slope @ scale.fit.covariance @ slope), 0.0)))


def reach_mm(dial: TaughtDial) -> float:
    """Return how far from the pivot a needle's direction is judged."""
    return 0.8 * dial.radius_mm


def _own_sigma_rad(needle: NeedleFit, dial: TaughtDial) -> float:
    """Return what the needle's own rows leave open of its direction."""
    smear = needle.smear_rad * dial.marks_per_turn / (2 * np.pi)
    smeared = 1.0 + (_SMEARED_DOUBT - 1.0) * min(smear, 1.0)
    return needle.sigma_rad * _ROWS_DOUBT * smeared


def sigma_divisions(
    scale: ScaleFit,
    needle: NeedleFit,
    dial: TaughtDial,
    pose_rad: float | None = None,
    *,
    shade_px: float = 0.0,
) -> float:
    """Return the reading's k = 1 uncertainty: needle, shading, pose, a floor for print and lens.

    `pose_rad` is the pose's part where it is known already; `shade_px` what shading may shift
    the tip by, from `vision.dial_shade`.
    """
    reach = reach_mm(dial)
    if pose_rad is None:
        pose_rad = pose_sigma_rad(scale, needle, dial.needle_height_mm, reach)
    own = _own_sigma_rad(needle, dial)
    spread = max(1.0, scale.blur_px / _SHARP_PX)
    lean = np.hypot(_LEAN_PX, shade_px) * spread / (reach * needle.px_per_mm)
    angle = float(np.sqrt(own**2 + pose_rad**2 + lean**2))
    return float(np.hypot(angle * dial.marks_per_turn / (2 * np.pi), _FLOOR_DIVISIONS))
