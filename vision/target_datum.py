"""A target's place in another plane: that of a datum target, or one parallel to it.

The ray through a target's centre is cut with the datum's plane, so a place across the plane
is as sure as the centre is in the picture, however unsure the target's own distance is.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readings import BadInputError
from vision.dial_pose import PlanePose
from vision.target_reader import TargetSight

Float = NDArray[np.float64]

_STEP = 1e-6
_LEAST_SLOPE = 0.1
"""A plane seen more nearly from its edge than this (6 degrees) gives no place."""
HIGHEST_MM = 1000.0


@dataclass(frozen=True, slots=True, eq=False)
class DatumPlace:
    """Where a target's centre lies in a datum target's frame.

    Attributes
    ----------
    number, datum
        Of the target and of the datum target.
    place_mm
        (2,) right and down as the datum target is printed, from its centre.
    covariance_mm2
        (2, 2), k = 1: the target's centre, the datum's pose and its scale. A camera model's own
        uncertainty is in neither.
    turn_rad, u_turn_rad
        How far the target is turned against the datum, clockwise as printed; u leaves out
        what a lean of the target against the datum's plane adds.
    """

    number: int
    datum: int
    place_mm: Float
    covariance_mm2: Float
    turn_rad: float
    u_turn_rad: float

    @property
    def sigma_mm(self) -> Float:
        """(2,) standard uncertainties."""
        return np.asarray(np.sqrt(np.diag(self.covariance_mm2)), dtype=np.float64)


def place_in_datum(sight: TargetSight, datum: TargetSight, *, height_mm: float = 0.0) -> DatumPlace:
    """Return a target's place in the plane `height_mm` above a datum target's paper.

    Raises
    ------
    BadInputError
        If the datum's tilt cannot be told from its mirror image, so that its plane is not
        known; if the plane is seen from its edge; or if the height cannot be.
    """
    if not abs(height_mm) <= HIGHEST_MM:
        msg = f"a height of {height_mm:g} mm cannot be: give up to {HIGHEST_MM:g} mm."
        raise BadInputError(msg)
    if datum.tilt_rad is None:
        msg = (
            f"the tilt of datum target {datum.number} cannot be told from its mirror image: "
            "look at it 15 degrees or more aslant, or from nearer."
        )
        raise BadInputError(msg)
    base = _cut(datum.pose, sight.centre_px, height_mm)
    slopes = np.empty((2, 8))
    for j in range(2):
        moved = sight.centre_px + _STEP * np.eye(2)[j]
        slopes[:, j] = (_cut(datum.pose, moved, height_mm) - base) / _STEP
    for j in range(6):
        pose = datum.pose.moved(_STEP * np.eye(6)[j])
        slopes[:, 2 + j] = (_cut(pose, sight.centre_px, height_mm) - base) / _STEP
    own = np.zeros((8, 8))
    own[:2, :2] = np.diag(sight.sigma_px**2)
    own[2:, 2:] = datum.covariance
    along = datum.pose.rotation.T @ sight.pose.rotation[:, 0]
    return DatumPlace(
        number=sight.number,
        datum=datum.number,
        place_mm=base,
        covariance_mm2=slopes @ own @ slopes.T + datum.u_scale**2 * np.outer(base, base),
        turn_rad=float(np.arctan2(along[1], along[0])),
        u_turn_rad=float(np.hypot(sight.u_turn_rad, datum.u_turn_rad)),
    )


def _cut(pose: PlanePose, pixel: Float, height_mm: float) -> Float:
    """Return where the ray of a pixel meets the plane above a pose's, in its frame (2,)."""
    ray = np.append(pose.camera.undistort(pixel[None])[0], 1.0)
    normal = pose.rotation[:, 2]
    towards_camera = -np.sign(normal @ pose.translation)
    middle = pose.translation + towards_camera * height_mm * normal
    slope = float(normal @ ray) / float(np.linalg.norm(ray))
    if abs(slope) < _LEAST_SLOPE:
        msg = "the datum's plane is seen from its edge: look down on it."
        raise BadInputError(msg)
    hit = ray * float(normal @ middle) / float(normal @ ray)
    return np.asarray((pose.rotation.T @ (hit - middle))[:2], dtype=np.float64)
