"""Read a printed target: where its centre lies, how it is turned and tilted, how surely.

The markers tell number and a first pose; the edges of the discs, measured across all round,
settle it through the camera model, so that no ellipse's centre stands in for the circle's.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.boards import DICTIONARY
from calibration.camera import CameraModel
from calibration.targets import MARKERS, Target
from readings.median import median
from vision.dial_marks import look_up
from vision.dial_pose import Evidence, PlanePose, PoseFit, refine_pose
from vision.dial_profiles import match_ends

Float = NDArray[np.float64]
Grey = NDArray[np.uint8]

_ANGLES = 48
_SAMPLES = 15
_BLURS_PX = tuple(0.6 * 1.25**k for k in range(9))
_LEAST_MARKERS = 2
_LEAST_SHARE = 0.5
"""Share of the edges round the discs that must be seen."""
_CLEARER = 0.8
"""A tilt is told where its edges scatter by so much less than the mirrored one's."""
_MOST_SCATTER_PX = 0.35
_CORNER_SIGMA_PX = 0.4
_LEAST_SIGMA_PX = 0.02
"""An edge that scatters by less is not known to: print and lens see to it."""
_REPEATS = 0.85
"""Neighbouring edges are seen in part by the same pixels, but not wholly: found on drawn views."""
_COMMON_EDGE_PX = 0.02
"""What all edges may lie further out by (k = 1): it makes the target look nearer, not aside."""


@dataclass(frozen=True, slots=True, eq=False)
class TargetSight:
    """One target in one picture.

    Attributes
    ----------
    centre_px, sigma_px
        (2,) of the centre, and its standard uncertainty (k = 1) each way.
    place_mm, sigma_mm
        (3,) of the centre in the camera's frame: right, down, away.
    turn_rad, u_turn_rad
        How far the target is turned in its plane, clockwise as seen.
    tilt_rad
        Between its normal and the line of sight; None where the mirrored tilt fits as well.
    pose, covariance
        The plane as it was found, and (6, 6) of its steps (see `PlanePose.moved`).
    u_scale
        By what share all its lengths may look too long (k = 1): edges that blur outwards.
    """

    number: int
    centre_px: Float
    sigma_px: Float
    place_mm: Float
    sigma_mm: Float
    turn_rad: float
    u_turn_rad: float
    tilt_rad: float | None
    pose: PlanePose
    covariance: Float
    u_scale: float
    edges: int
    blur_px: float


class TargetReader:
    """Reads the targets it knows."""

    def __init__(self, targets: tuple[Target, ...], camera: CameraModel) -> None:
        self._targets = {target.number: target for target in targets}
        self._camera = camera
        words = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
        parameters = cv2.aruco.DetectorParameters()
        parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
        self._detector = cv2.aruco.ArucoDetector(words, parameters)

    def read(self, image: NDArray[np.uint8]) -> tuple[TargetSight, ...]:
        """Return what is seen of the known targets, by number; those too hidden are left out.

        Raises
        ------
        BadInputError
            If the picture is not of the camera model's size.
        """
        self._camera.demand_size(image)
        gray = image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
        gray = np.asarray(gray, dtype=np.uint8)
        found, numbers, _ = self._detector.detectMarkers(gray)
        if numbers is None:
            return ()
        seen: dict[int, dict[int, Float]] = {}
        for corners, name in zip(found, np.asarray(numbers).ravel().tolist(), strict=True):
            number, k = divmod(int(name), MARKERS)
            if number in self._targets:
                seen.setdefault(number, {})[k] = np.asarray(corners, np.float64).reshape(4, 2)
        sights = (self._sight(gray, self._targets[n], marks) for n, marks in sorted(seen.items()))
        return tuple(sight for sight in sights if sight is not None)

    def _sight(self, gray: Grey, target: Target, marks: dict[int, Float]) -> TargetSight | None:
        if len(marks) < _LEAST_MARKERS:
            return None
        starts = self._starts(target, marks)
        fits = [fit for pose in starts if (fit := settle(gray, pose, target, marks)) is not None]
        if not fits:
            return None
        fits.sort(key=lambda one: _scatter(one[0]))
        best, blur = fits[0]
        if _scatter(best) > _MOST_SCATTER_PX:
            return None
        apart = [_scatter(f) for f, _ in fits[1:] if _other_tilt(f.pose, best.pose)]
        told = _scatter(best) < _CLEARER * min(apart, default=np.inf)
        return _told(target, best, blur, told=told)

    def _starts(self, target: Target, marks: dict[int, Float]) -> list[PlanePose]:
        """Return both poses that the markers' corners allow."""
        flat = np.concatenate([target.corners_mm(k) for k in marks])
        seen = np.concatenate(list(marks.values()))
        points = np.column_stack([flat, np.zeros(len(flat))])
        camera = self._camera
        _, turns, shifts, _ = cv2.solvePnPGeneric(
            points, seen, camera.matrix, camera.distortion, flags=cv2.SOLVEPNP_IPPE
        )
        return [
            PlanePose(camera, np.asarray(cv2.Rodrigues(r)[0], np.float64), np.ravel(t))
            for r, t in zip(turns, shifts, strict=True)
        ]


def settle(
    gray: Grey, pose: PlanePose, target: Target, marks: dict[int, Float]
) -> tuple[PoseFit, float] | None:
    """Fit a pose to the discs' edges; None where too few are seen.

    The edges do not tell how the target is turned: the markers' corners hold that.
    """
    held = _corners(target, marks)
    blur = None
    for radii in (target.radii_mm[:2], target.radii_mm):
        seen = _edges(gray, pose, target, radii, blur)
        if seen is None:
            return None
        edges, blur = seen
        evidence = _together(edges, held)
        try:
            fit = refine_pose(pose, evidence, free_camera=False, rounds=2)
            own = max(_scatter(fit, len(edges.sigma_px)), _LEAST_SIGMA_PX)
            edges = replace(edges, sigma_px=np.maximum(edges.sigma_px, own))
            evidence = _together(edges, held)
            fit = refine_pose(pose, evidence, free_camera=False, rounds=2)
        except np.linalg.LinAlgError:
            return None
        pose, count = fit.pose, len(edges.sigma_px)
        if not (np.isfinite(pose.translation).all() and pose.translation[2] > 0):
            return None
    few = PoseFit(fit.pose, fit.covariance, fit.residual_px[:count], fit.weight[:count], fit.merit)
    return None if blur is None else (few, blur)


def _corners(target: Target, marks: dict[int, Float]) -> Evidence:
    """Return the markers' corners as observations, across and down."""
    flat = np.concatenate([target.corners_mm(k) for k in marks])
    seen = np.concatenate(list(marks.values()))
    n = len(flat)
    along = np.repeat(np.eye(2), n, axis=0)
    return Evidence(
        np.tile(flat, (2, 1)),
        np.tile(seen, (2, 1)),
        along,
        np.full(2 * n, _CORNER_SIGMA_PX),
        np.arange(2 * n, dtype=np.intp),
        np.ones(2 * n, dtype=bool),
    )


def _together(edges: Evidence, corners: Evidence) -> Evidence:
    first = len(edges.sigma_px)
    return Evidence(
        np.concatenate([edges.points_mm, corners.points_mm]),
        np.concatenate([edges.seen_px, corners.seen_px]),
        np.concatenate([edges.along, corners.along]),
        np.concatenate([edges.sigma_px, corners.sigma_px]),
        np.concatenate([edges.group, corners.group + first]),
        np.concatenate([edges.rim, corners.rim]),
    )


def _edges(
    gray: Grey, pose: PlanePose, target: Target, radii_mm: Float, blur_px: float | None
) -> tuple[Evidence, float] | None:
    """Measure edges of some discs across; return them and the blur under which they fit."""
    turn = 2 * np.pi * np.arange(_ANGLES) / _ANGLES
    out = np.tile(np.stack([np.cos(turn), np.sin(turn)], axis=1), (len(radii_mm), 1))
    points = np.repeat(radii_mm, _ANGLES)[:, None] * out * np.array(target.stretch)
    middle = pose.project(points)
    ahead = pose.project(points + 1e-3 * out) - middle
    scale = np.hypot(*ahead.T) * 1e3
    along = ahead / np.hypot(*ahead.T)[:, None]
    gap_px = 0.06 * target.size_mm * float(scale.min())
    half = float(np.clip(0.45 * gap_px, 1.5, 8.0))
    u_px = np.tile(half * np.linspace(-1, 1, _SAMPLES), (len(points), 1))
    x = (middle[:, :1] + u_px * along[:, :1]).astype(np.float32)[None]
    y = (middle[:, 1:] + u_px * along[:, 1:]).astype(np.float32)[None]
    profiles = look_up(gray, (x, y))
    near = _BLURS_PX[::2] if blur_px is None else [b for b in _BLURS_PX if _near(b, blur_px)]
    tried = [(match_ends(u_px, profiles, blur), blur) for blur in near]
    seen, blur = min(tried, key=lambda one: median(one[0].noise))
    contrast = np.abs(seen.contrast)
    good = (contrast > 0.4 * median(contrast)) & (np.abs(seen.offset_px) < 0.8 * half)
    good &= np.isfinite(seen.sigma_px)
    if good.mean() < _LEAST_SHARE:
        return None
    pooled = median(seen.sigma_px[good])
    sigma = np.maximum(np.hypot(seen.sigma_px[good], pooled) / np.sqrt(2), _LEAST_SIGMA_PX)
    place = middle[good] + seen.offset_px[good, None] * along[good]
    evidence = Evidence(
        points[good],
        place,
        along[good],
        sigma,
        np.arange(int(good.sum()), dtype=np.intp),
        np.zeros(int(good.sum()), dtype=bool),
    )
    return evidence, blur


def _near(blur_px: float, other_px: float) -> bool:
    return 0.75 < blur_px / other_px < 1.35


def _other_tilt(one: PlanePose, other: PlanePose) -> bool:
    return bool(one.rotation[:, 2] @ other.rotation[:, 2] < np.cos(np.radians(0.5)))


def _told(target: Target, fit: PoseFit, blur: float, *, told: bool) -> TargetSight:
    pose = fit.pose
    covariance = fit.covariance * _REPEATS**2
    centre = pose.project(np.zeros((1, 2)))[0]
    slopes = _slopes(pose)
    distance = float(np.linalg.norm(pose.translation))
    place = distance**2 * covariance[3:6, 3:6]
    radius_px = 0.2 * target.size_mm * pose.camera.fx / distance
    u_scale = _COMMON_EDGE_PX / radius_px
    place += np.outer(pose.translation, pose.translation) * u_scale**2
    return TargetSight(
        number=target.number,
        centre_px=centre,
        sigma_px=np.sqrt(np.diag(slopes @ covariance @ slopes.T)),
        place_mm=np.array(pose.translation),
        sigma_mm=np.sqrt(np.diag(place)),
        turn_rad=float(np.arctan2(pose.rotation[1, 0], pose.rotation[0, 0])),
        u_turn_rad=float(np.sqrt(covariance[2, 2])),
        tilt_rad=pose.tilt_rad() if told else None,
        pose=pose,
        covariance=covariance,
        u_scale=float(u_scale),
        edges=int((fit.weight > 0.1).sum()),
        blur_px=blur,
    )


def _scatter(fit: PoseFit, count: int | None = None) -> float:
    """Return the robust scatter of the (first `count`) edges about a fit, pixels."""
    return 1.4826 * median(np.abs(fit.residual_px[:count]))


def _slopes(pose: PlanePose) -> Float:
    """Return (2, 6) derivatives of the centre's pixel to the steps of the pose."""
    base = pose.project(np.zeros((1, 2)))[0]
    out = np.empty((2, 6))
    for j, step in enumerate(1e-6 * np.eye(6)):
        out[:, j] = (pose.moved(step).project(np.zeros((1, 2)))[0] - base) / 1e-6
    return out
