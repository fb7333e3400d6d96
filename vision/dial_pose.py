"""The pose of a dial's plane before the camera, refined on what was seen of its marks.

Plane frame: origin at the scale's centre, x towards the zero mark, y a quarter turn
clockwise from it as seen in the picture, z away from the camera. Lengths in mm. A point
above the scale (the needle) has a negative z. Planes of different height map onto each other
by a shift and a scaling, which keep every direction: a needle's direction is free of parallax.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from vision.quick import spread

Float = NDArray[np.float64]

GUESSED_FOCAL = 1.15
"""Focal length over picture width where no camera model is known (47 degrees across)."""
_FOCAL_PRIOR = 0.25  # one sigma of the logarithm of that guess
_DISTANCE_PRIOR = 0.01  # one sigma of a step of the distance, over itself
_MOST_ZOOM = 0.3  # of the logarithm of the focal length, in one step
_MOST_K1 = 0.3
_K1_PRIOR = 0.04  # one sigma of the first radial term of an unknown lens


def guessed_camera(width: int, height: int) -> CameraModel:
    """Return the camera assumed where none is known: to be freed in the fit."""
    focal = GUESSED_FOCAL * width
    return CameraModel(width, height, focal, focal, (width - 1) / 2, (height - 1) / 2)


def rotation_matrix(vector: Float) -> Float:
    """Return the (3, 3) rotation of a rotation vector (3,) in radians."""
    matrix, _ = cv2.Rodrigues(np.asarray(vector, dtype=np.float64))
    return np.asarray(matrix, dtype=np.float64)


def inverse3(matrix: Float) -> Float:
    """Return the inverse of a regular (3, 3) matrix, at a tenth of LAPACK's overhead."""
    return np.asarray(cv2.invert(matrix)[1])


@dataclass(frozen=True, slots=True, eq=False)
class PlanePose:
    """Rotation (3, 3) and translation (3,) from the plane's frame to the camera's."""

    camera: CameraModel
    rotation: Float
    translation: Float

    def homography(self, z_mm: float = 0.0) -> Float:
        """Return the (3, 3) map from (x, y, 1) at height `z_mm` to the normalised picture."""
        H = self.rotation.copy()
        H[:, 2] = H[:, 2] * z_mm + self.translation
        return H

    def project(self, points_mm: Float, z_mm: float = 0.0) -> Float:
        """Return pixels (n, 2) of plane points (n, 2) at height `z_mm`."""
        H = self.homography(z_mm)
        scaled = points_mm @ H[:, :2].T + H[:, 2]
        return self.camera.distort(scaled[:, :2] / scaled[:, 2:])

    def project_rings(
        self, radii_mm: Float, angle_rad: Float, z_mm: float = 0.0
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return pixel columns and rows (radii, angles) of a polar grid, to 1e-3 px."""
        H = self.homography(z_mm)
        ray = H[:, :2] @ np.stack([np.cos(angle_rad), np.sin(angle_rad)])
        radius = radii_mm.astype(np.float32)[:, None]
        x, y, depth = (
            radius * one.astype(np.float32) + np.float32(shift)
            for one, shift in zip(ray, H[:, 2], strict=True)
        )
        u, v = self.camera.distort_xy(x / depth, y / depth)
        return np.asarray(u, dtype=np.float32), np.asarray(v, dtype=np.float32)

    def locate(self, points_px: Float, z_mm: float = 0.0) -> Float:
        """Return the plane points (n, 2) at height `z_mm` that pixels (n, 2) look at."""
        rays = self.camera.undistort(points_px)
        H = inverse3(self.homography(z_mm))
        scaled = rays @ H[:, :2].T + H[:, 2]
        return np.asarray(scaled[:, :2] / scaled[:, 2:])

    def tilt_rad(self) -> float:
        """Return the angle between the line of sight to the centre and the plane's normal."""
        sight = self.translation / np.linalg.norm(self.translation)
        return float(np.arccos(np.clip(self.rotation[:, 2] @ sight, -1.0, 1.0)))

    def turned(self, angle_rad: float) -> "PlanePose":
        """Return the pose whose x axis lies `angle_rad` further clockwise."""
        turn = rotation_matrix(np.array([0.0, 0.0, angle_rad]))
        return replace(self, rotation=self.rotation @ turn)

    def mirrored(self) -> "PlanePose":
        """Return the pose with the tilt's sign turned, which fits almost as well when far away."""
        sight = self.translation / np.linalg.norm(self.translation)
        normal = self.rotation[:, 2]
        other = 2.0 * (normal @ sight) * sight - normal
        axis = np.cross(normal, other)
        sine = float(np.linalg.norm(axis))
        angle = float(np.arctan2(sine, normal @ other))
        swing = rotation_matrix(axis * (angle / sine)) if sine > 1e-9 else np.eye(3)
        return replace(self, rotation=swing @ self.rotation)

    def moved(self, step: Float) -> "PlanePose":
        """Return the pose after a small step.

        Three rotations in the plane's frame (rad), three shifts over the distance, and for a
        free camera the logarithm of its focal length and k1. A longer focal length takes the
        plane farther away by as much, so that its picture keeps its size.
        """
        distance = float(np.linalg.norm(self.translation))
        camera, translation = self.camera, self.translation + distance * step[3:6]
        if len(step) > 6:
            gain = float(np.exp(np.clip(step[6], -_MOST_ZOOM, _MOST_ZOOM)))
            k1 = float(np.clip(camera.k1 + step[7], -_MOST_K1, _MOST_K1))
            camera = replace(camera, fx=camera.fx * gain, fy=camera.fy * gain, k1=k1)
            translation[2] += self.translation[2] * (gain - 1.0)
        return PlanePose(camera, self.rotation @ rotation_matrix(step[:3]), translation)


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What was seen: n plane points, their pixels, the image direction measured along, sigma."""

    points_mm: Float
    seen_px: Float
    along: Float
    """(n, 2) unit vectors: only this component of `seen_px` was measured."""
    sigma_px: Float
    group: NDArray[np.intp]
    """(n,) index of the mark each belongs to: marks are dropped whole."""
    rim: NDArray[np.bool_]
    """(n,) whether it was measured outwards, at the rim, instead of across a mark."""


@dataclass(frozen=True, slots=True, eq=False)
class PoseFit:
    """A refined pose with its covariance and what each observation said."""

    pose: PlanePose
    covariance: Float
    """(6, 6), or (8, 8) with a free camera, of the step parameters of `PlanePose.moved`."""
    residual_px: Float
    weight: Float
    """(n,) robust weights in [0, 1]."""
    merit: float
    """Observations that agree, each counted by how well: what poses of one scale compare by."""


def _through_lens(pose: PlanePose, normalised: Float, along: Float) -> Float:
    """Return (n, 2) derivatives of the pixels along `along` to the normalised coordinates."""
    ux, uy, vx, vy = pose.camera.distort_slopes(normalised[:, 0], normalised[:, 1])
    u, v = along.T
    return np.stack([u * ux + v * vx, u * uy + v * vy], axis=1)


def pose_jacobian(pose: PlanePose, points_mm: Float, along: Float, size: int) -> Float:
    """Return (n, size) derivatives of the pixels along `along` to the step parameters."""
    R = pose.rotation
    inside = points_mm @ R[:, :2].T + pose.translation
    depth = inside[:, 2:]
    normalised = inside[:, :2] / depth
    lens = _through_lens(pose, normalised, along)
    slope = np.concatenate([lens, -np.sum(lens * normalised, axis=1, keepdims=True)], axis=1)
    slope /= depth
    out = np.empty((len(points_mm), size))
    a, b, c = (slope @ R).T  # along the plane's own axes; a turn e takes a point p to e x p
    x, y = points_mm.T
    out[:, 0], out[:, 1], out[:, 2] = c * y, -c * x, b * x - a * y
    out[:, 3:6] = slope * float(np.linalg.norm(pose.translation))
    if size > 6:
        r2 = np.sum(normalised**2, axis=1)
        offset = pose.camera.distort(normalised) - (pose.camera.cx, pose.camera.cy)
        out[:, 6] = np.sum(offset * along, axis=1) + slope[:, 2] * pose.translation[2]
        focal = np.array([pose.camera.fx, pose.camera.fy])
        out[:, 7] = np.sum(normalised * r2[:, None] * focal * along, axis=1)
    return out


def _residuals(pose: PlanePose, seen: Evidence) -> Float:
    return np.asarray(np.sum((seen.seen_px - pose.project(seen.points_mm)) * seen.along, axis=1))


def robust_weights(scaled: Float, group: NDArray[np.intp], limit: float) -> Float:
    """Return Tukey weights of scaled residuals; the worst of a group speaks for the whole."""
    worst = np.zeros(int(group.max(initial=-1)) + 1)
    np.maximum.at(worst, group, np.abs(scaled))
    u = np.minimum(worst[group] / limit, 1.0)
    return np.asarray((1.0 - u * u) ** 2)


def _spread(scaled: Float, kinds: list[NDArray[np.intp]]) -> Float:
    """Return (n,) robust standard deviations, not under 1: sideways and rim apart.

    From a rough pose the rim may be off by more than the marks' sides; judged by their spread it
    would be thrown out whole, and nothing else holds the scale's size.
    """
    out = np.ones(len(scaled))
    for kind in kinds:
        out[kind] = max(1.0, spread(scaled[kind]))
    return out


def _kinds(seen: Evidence) -> list[NDArray[np.intp]]:
    """Return the indices of what was seen at the rim and of what was seen across marks."""
    return [kind for kind in (np.flatnonzero(seen.rim), np.flatnonzero(~seen.rim)) if kind.size]


def _prior(pose: PlanePose, size: int) -> tuple[Float, Float]:
    """Return the (size,) information and gradient that hold a step back.

    Marks without ends in sight say nothing of the scale's distance: it stays where it is. A
    free camera is held to its guess.
    """
    info, pull = np.zeros(size), np.zeros(size)
    info[5] = 1 / _DISTANCE_PRIOR**2
    if size > 6:
        guess = GUESSED_FOCAL * pose.camera.image_width
        info[6:] = 1 / _FOCAL_PRIOR**2, 1 / _K1_PRIOR**2
        pull[6:] = -np.log(pose.camera.fx / guess) * info[6], -pose.camera.k1 * info[7]
    return info, pull


_SETTLED = 2e-6  # a step (rad, shares of the distance) that no reweighting need follow
_LINEAR = 3e-4  # a step whose square moves no mark by 1e-3 px


def _reweighted(
    J: Float,
    scaled: Float,
    seen: Evidence,
    prior: tuple[Float, Float],
    limit: float,
    reweights: int,
) -> tuple[Float, Float]:
    """Return the step that fits linearised residuals robustly, and its information matrix."""
    info, pull = np.diag(prior[0]), prior[1]
    step, kinds = np.zeros(J.shape[1]), _kinds(seen)
    for _ in range(reweights):
        rest = scaled - J @ step
        wide = _spread(rest, kinds)
        share = robust_weights(rest / wide, seen.group, limit) / wide**2
        weighted = J.T * share
        normal = weighted @ J + info
        last, step = step, np.asarray(np.linalg.solve(normal, weighted @ scaled + pull))
        if np.abs(step - last)[:6].max() < _SETTLED:
            break
    return step, normal


def refine_pose(
    pose: PlanePose,
    seen: Evidence,
    *,
    free_camera: bool,
    rounds: int = 4,
    reweights: int = 4,
    limit: float = 4.5,
) -> PoseFit:
    """Fit the pose to what was seen of the marks: Gauss-Newton, Tukey weights by whole marks.

    `limit` is where a mark's weight reaches zero, in robust standard deviations; `rounds` are
    linearisations at most, each of so many `reweights` at most.

    Raises
    ------
    numpy.linalg.LinAlgError
        If fewer observations than parameters carry weight.
    """
    size = 8 if free_camera else 6
    scaled = _residuals(pose, seen) / seen.sigma_px
    for _ in range(rounds):
        J = pose_jacobian(pose, seen.points_mm, seen.along, size) / seen.sigma_px[:, None]
        prior = _prior(pose, size)
        step, normal = _reweighted(J, scaled, seen, prior, limit, reweights)
        pose = pose.moved(step)
        scaled = _residuals(pose, seen) / seen.sigma_px
        if np.abs(step[:6]).max() < _LINEAR:
            break
    weight = robust_weights(scaled / _spread(scaled, _kinds(seen)), seen.group, limit)
    covariance = np.asarray(np.linalg.inv(normal), np.float64)
    merit = float(np.sum(np.maximum(1.0 - (scaled / limit) ** 2, 0.0)))
    return PoseFit(pose, covariance, scaled * seen.sigma_px, weight, merit)
