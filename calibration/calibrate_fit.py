"""The fit of one camera to views of a board, by OpenCV, and what each view says for itself."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.boards import View
from calibration.camera import CameraModel
from readings import BadInputError

Float = NDArray[np.float64]

_STEP = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A camera, and for each view the board's rotation vector and shift (mm), (3,) each.

    `sigmas` are OpenCV's standard deviations of the camera's numbers, `rms` the root mean
    square of all distances in pixels.
    """

    camera: CameraModel
    rms: float
    rotations: list[Float]
    shifts: list[Float]
    sigmas: Float
    residual: Float
    """(views,) root mean square of each view's distances, pixels."""


def fit_views(views: Sequence[View]) -> Fit:
    """Return the camera that fits the views best.

    Raises
    ------
    BadInputError
        If they do not tell one.
    """
    size = views[0].size
    objects = [view.points_mm.astype(np.float32) for view in views]
    images = [view.points_px.astype(np.float32).reshape(-1, 1, 2) for view in views]
    try:
        rms, matrix, lens, rotations, shifts, sigmas, _, residual = cv2.calibrateCameraExtended(
            objects, images, size, np.eye(3), np.zeros(5)
        )
    except cv2.error as error:
        msg = (
            "the views do not tell a camera: all may be face on or the same. Tilt the board by "
            "20 to 40 degrees to every side."
        )
        raise BadInputError(msg) from error
    k = np.asarray(lens).ravel()
    fx, fy, cx, cy = matrix[0, 0], matrix[1, 1], matrix[0, 2], matrix[1, 2]
    camera = CameraModel(*size, *map(float, (fx, fy, cx, cy)), *map(float, k[:5]))
    return Fit(
        camera,
        float(rms),
        [np.asarray(one, dtype=np.float64).ravel() for one in rotations],
        [np.asarray(one, dtype=np.float64).ravel() for one in shifts],
        np.asarray(sigmas, dtype=np.float64).ravel(),
        np.asarray(residual, dtype=np.float64).ravel(),
    )


def pose_of(view: View, camera: CameraModel) -> tuple[Float, Float]:
    """Return a board's rotation vector and shift (mm), (3,) each, as a known camera sees it."""
    _, rotation, shift = cv2.solvePnP(
        view.points_mm, view.points_px, camera.matrix, camera.distortion
    )
    return (
        np.asarray(rotation, dtype=np.float64).ravel(),
        np.asarray(shift, dtype=np.float64).ravel(),
    )


def own_focus(view: View, rotation: Float, shift: Float, fit: Fit) -> tuple[float, float]:
    """Return by how much (logarithm) one view's own focal length differs, and its sigma.

    One Gauss-Newton step from the common solution in the pose and the focal length.
    """
    camera = fit.camera
    seen, jacobian = cv2.projectPoints(
        view.points_mm, rotation, shift, camera.matrix, camera.distortion
    )
    rest = (view.points_px - seen.reshape(-1, 2)).ravel()
    pose = jacobian[:, :6]
    focus = jacobian[:, 6] * camera.fx + jacobian[:, 7] * camera.fy
    columns = np.column_stack([pose, focus])
    step, *_ = np.linalg.lstsq(columns, rest, rcond=None)
    normal = np.linalg.pinv(columns.T @ columns)
    left = rest - columns @ step
    noise = float(np.sqrt(left @ left / max(len(rest) - 7, 1)))
    return log(max(1.0 + float(step[6]), 1e-3)), noise * float(np.sqrt(max(normal[6, 6], 0.0)))


def distances_mm(fit: Fit) -> tuple[float, float]:
    """Return the nearest and farthest that the board stood from the camera."""
    far = [float(np.linalg.norm(shift)) for shift in fit.shifts]
    return min(far), max(far)


def direction_of(rotation: Float) -> Float:
    """Return a board's direction (3,) away from the camera."""
    normal = np.asarray(cv2.Rodrigues(rotation)[0][:, 2], dtype=np.float64)
    return normal if normal[2] > 0 else -normal


def print_stretch(views: Sequence[View], fit: Fit) -> tuple[float, float]:
    """Return by how much (a share) the print is longer down than across, and its sigma.

    One Gauss-Newton step from the common solution in the camera, all poses and the stretch:
    views turned by different angles tell a stretched board from a stretched picture. Each
    view's pose is its own, so it is projected out of the view's rows before they are joined.
    """
    parts = [
        _without_pose(*each, fit) for each in zip(views, fit.rotations, fit.shifts, strict=True)
    ]
    rows = np.vstack(parts)
    columns, wanted = rows[:, :-1], rows[:, -1]
    sizes = np.linalg.norm(columns, axis=0)  # terms of very different size
    step, *_ = np.linalg.lstsq(columns / sizes, wanted, rcond=None)
    left = wanted - columns / sizes @ step
    free = len(wanted) - 6 * len(views) - columns.shape[1]
    noise = float(np.sqrt(left @ left / max(free, 1)))
    spread = np.linalg.pinv((columns / sizes).T @ (columns / sizes))[-1, -1]
    return float(step[-1] / sizes[-1]), noise * float(np.sqrt(max(spread, 0.0)) / sizes[-1])


def _without_pose(view: View, rotation: Float, shift: Float, fit: Fit) -> Float:
    """Return a view's slopes by the camera's nine numbers and the stretch, then its residuals.

    (2 n, 11) without the part that a change of the board's pose could make.
    """
    camera = fit.camera
    pixels, jacobian = cv2.projectPoints(
        view.points_mm, rotation, shift, camera.matrix, camera.distortion
    )
    longer = view.points_mm * [1.0, 1.0 + _STEP, 1.0]
    moved, _ = cv2.projectPoints(longer, rotation, shift, camera.matrix, camera.distortion)
    stretch = (moved - pixels).ravel() / _STEP
    rest = (view.points_px - pixels.reshape(-1, 2)).ravel()
    columns = np.column_stack([jacobian[:, 6:15], stretch, rest])
    pose, _ = np.linalg.qr(jacobian[:, :6])
    return np.asarray(columns - pose @ (pose.T @ columns), dtype=np.float64)
