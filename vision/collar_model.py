"""A collar as a cylinder in front of a pinhole: where each edge of each marker is seen.

Lengths are in cylinder radii: neither the collar's size nor its distance need be known.
A place on the strip is (q, z): q in radians round the strip, rising with the marker
number, marker k centred at q = k times the pitch; z along the axis. It is seen at the azimuth
ψ = q - α from the generator that faces the camera, α being the collar's angle.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel

Float = NDArray[np.float64]
Index = NDArray[np.intp]

_HUBER = 1.5
_GN_ROUNDS = 6
CORNERS = np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])
"""(q, z) signs of a marker's corners, in the order in which the detector names them."""


@dataclass(frozen=True, slots=True, eq=False)
class CollarPose:
    """Where the collar stands: seven numbers.

    Attributes
    ----------
    centre
        (3,) the strip's middle on the axis, camera frame, in radii.
    axis
        (3,) unit vector along the axis, so that q rises to the right when it points up.
    half_rad, half_height
        Half of a marker's side round the strip (rad) and along the axis (radii).
    """

    centre: Float
    axis: Float
    half_rad: float
    half_height: float

    def frame(self) -> tuple[Float, Float]:
        """Return the unit vectors towards the camera and to the right of it."""
        towards = -self.centre + (self.centre @ self.axis) * self.axis
        towards = towards / np.linalg.norm(towards)
        (ax, ay, az), (tx, ty, tz) = self.axis.tolist(), towards.tolist()
        right = np.array([ay * tz - az * ty, az * tx - ax * tz, ax * ty - ay * tx])
        return towards, right

    def place(self, psi: Float, z: Float) -> Float:
        """Return points (n, 3) in the camera frame at azimuths ψ and heights z."""
        towards, right = self.frame()
        return np.asarray(
            self.centre
            + np.cos(psi)[:, None] * towards
            + np.sin(psi)[:, None] * right
            + z[:, None] * self.axis
        )

    def seen(self, psi: Float, z: Float) -> Float:
        """Return normalised image points (n, 2)."""
        points = self.place(psi, z)
        return np.asarray(points[:, :2] / points[:, 2:])

    def facing(self, psi: Float, z: Float) -> Float:
        """Return the cosine between surface normal and line of sight, (n,), negative behind."""
        towards, right = self.frame()
        normal = np.cos(psi)[:, None] * towards + np.sin(psi)[:, None] * right
        sight = -self.place(psi, z)
        return np.asarray(np.sum(normal * sight, axis=1) / np.linalg.norm(sight, axis=1))

    def packed(self) -> Float:
        """Return the numbers that a fit moves, (8,)."""
        return np.concatenate([self.centre, self.axis, [self.half_rad, self.half_height]])


def unpacked(numbers: Float) -> CollarPose:
    """Return the pose of `packed` numbers; the axis is made a unit vector again."""
    axis = numbers[3:6] / np.linalg.norm(numbers[3:6])
    return CollarPose(numbers[:3], axis, float(numbers[6]), float(numbers[7]))


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """Points seen on marker edges in one picture; all arrays have n rows.

    Attributes
    ----------
    marker
        (n,) number of the marker.
    side
        (n, 2) place on the marker in half sides, q and z between -1 and 1.
    normal
        (n, 2) signs of q and z across the edge: which way out of the marker.
    seen
        (n, 2) normalised image points.
    """

    marker: Index
    side: Float
    normal: Float
    seen: Float

    def __len__(self) -> int:
        return len(self.marker)


def strip_places(marks: Marks, pose: CollarPose, pitch_rad: float) -> tuple[Float, Float]:
    """Return (q, z) of marks on the strip."""
    q = marks.marker * pitch_rad + marks.side[:, 0] * pose.half_rad
    return q, marks.side[:, 1] * pose.half_height


def residuals(
    marks: Marks, pose: CollarPose, angle_rad: float | Float, pitch_rad: float
) -> tuple[Float, Float]:
    """Return how far each mark is seen outside its edge, and that by the angle, (n,) each.

    Normalised units; `angle_rad` is one angle, or one a mark.
    """
    q, z = strip_places(marks, pose, pitch_rad)
    psi = q - angle_rad
    towards, right = pose.frame()
    cos, sin = np.cos(psi)[:, None], np.sin(psi)[:, None]
    point = pose.centre + cos * towards + sin * right + z[:, None] * pose.axis
    here = point[:, :2] / point[:, 2:]
    round_ = _image_step(here, point, cos * right - sin * towards)
    up = _image_step(here, point, pose.axis[None, :])
    tangent = np.where(marks.normal[:, :1] != 0, up, round_)
    across = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    out = marks.normal[:, :1] * round_ + marks.normal[:, 1:] * up
    length = np.sqrt(np.sum(tangent**2, axis=1)) * np.sign(np.sum(across * out, axis=1))
    across /= length[:, None]
    miss = np.sum((marks.seen - here) * across, axis=1)
    return miss, np.sum(round_ * across, axis=1)


def _image_step(here: Float, point: Float, step: Float) -> Float:
    """Return how the image point moves as the point in space does, (n, 2)."""
    return np.asarray((step[:, :2] - here * step[:, 2:]) / point[:, 2:])


@dataclass(frozen=True, slots=True, eq=False)
class AngleFit:
    """The collar's angle in one picture: scatter in normalised units, marks that agree."""

    angle_rad: float
    sigma_rad: float
    scatter: float
    agreeing: NDArray[np.bool_]


def fit_angle(marks: Marks, pose: CollarPose, start_rad: float, pitch_rad: float) -> AngleFit:
    """Fit the angle alone, all marks jointly, robustly (Huber).

    Minimises the distances of the marks from the edges they lie on. The sigma is the
    larger of what the points' scatter and the markers' disagreement say.
    """
    angle = start_rad
    for _ in range(_GN_ROUNDS):
        miss, slope = residuals(marks, pose, angle, pitch_rad)
        scale = max(1.4826 * float(np.median(np.abs(miss))), 1e-9)
        weight = np.minimum(1.0, _HUBER * scale / np.maximum(np.abs(miss), 1e-12))
        gain = float(np.sum(weight * slope**2))
        step = -float(np.sum(weight * slope * miss)) / max(gain, 1e-12)
        angle += step
        if abs(step) < 1e-6:
            break
    agreeing = np.abs(miss) < 4.0 * scale
    return AngleFit(angle, _sigma(marks, miss, slope, weight, scale), scale, agreeing)


def _sigma(marks: Marks, miss: Float, slope: Float, weight: Float, scale: float) -> float:
    gain = np.sum(weight * slope**2)
    scatter = scale / np.sqrt(gain)
    numbers, which = np.unique(marks.marker, return_inverse=True)
    gains = np.bincount(which, weight * slope**2)
    parts = -np.bincount(which, weight * slope * miss) / np.maximum(gains, 1e-12)
    if len(numbers) < 3:
        return float(2 * scatter)
    share = gains / gain
    spread = np.sqrt(np.sum(share**2 * (parts - np.sum(share * parts)) ** 2))
    return float(max(scatter, spread * np.sqrt(len(numbers) / (len(numbers) - 1))))


def fit_pose(
    pictures: list[tuple[Marks, float]], start: CollarPose, pitch_rad: float, noise: float
) -> tuple[CollarPose, list[float], float]:
    """Fit one pose and an angle a picture to the marks of several pictures.

    Parameters
    ----------
    pictures
        Marks and starting angle of each.
    start
        Where to begin.
    pitch_rad
        Angle between neighbouring markers.
    noise
        Scatter of a mark in normalised units, where the loss turns from square to linear.

    Returns
    -------
    tuple
        Pose, angles, and the mean loss a mark (Huber's, in units of noise squared).
        Levenberg-Marquardt, reweighted as it goes.
    """
    marks = _joined([m for m, _ in pictures])
    which = np.repeat(np.arange(len(pictures)), [len(m) for m, _ in pictures])
    numbers = np.concatenate([start.packed(), [angle for _, angle in pictures]])
    scene = _Scene(marks, which, pitch_rad, noise)
    damping, loss = 1e-3, scene.loss(numbers)
    for _ in range(_LM_ROUNDS):
        gradient, normal = scene.normal(numbers)
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -gradient)
        trial = scene.loss(numbers + step)
        if trial < loss:
            done = loss - trial < _LM_ENOUGH * loss
            numbers, loss, damping = numbers + step, trial, damping / 5
            numbers[3:6] /= np.linalg.norm(numbers[3:6])
            if done:
                break
        else:
            damping *= 10
            if damping > 1e8:
                break
    return unpacked(numbers[:8]), numbers[8:].tolist(), loss / len(marks)


_LM_ROUNDS = 25
_LM_ENOUGH = 1e-4
_STEP = 1e-6


def _joined(parts: list[Marks]) -> Marks:
    names = ("marker", "side", "normal", "seen")
    return Marks(*(np.concatenate([getattr(m, name) for m in parts]) for name in names))


@dataclass(frozen=True, slots=True, eq=False)
class _Scene:
    """All marks of several pictures, and which picture each is from."""

    marks: Marks
    which: Index
    pitch_rad: float
    noise: float

    def misses(self, numbers: Float) -> tuple[Float, Float]:
        miss, slope = residuals(
            self.marks, unpacked(numbers[:8]), numbers[8:][self.which], self.pitch_rad
        )
        return miss / self.noise, slope / self.noise

    def loss(self, numbers: Float) -> float:
        away = np.abs(self.misses(numbers)[0])
        huber = np.where(away < _HUBER, away**2, 2 * _HUBER * away - _HUBER**2)
        return float(huber.sum())

    def normal(self, numbers: Float) -> tuple[Float, Float]:
        """Return gradient and normal matrix, a faint pull keeping what nothing fixes."""
        miss, slope = self.misses(numbers)
        weight = np.minimum(1.0, _HUBER / np.maximum(np.abs(miss), 1e-12))
        jacobian = np.zeros((len(miss), len(numbers)))
        for k in range(8):
            moved = numbers.copy()
            moved[k] += _STEP
            jacobian[:, k] = (self.misses(moved)[0] - miss) / _STEP
        jacobian[np.arange(len(miss)), 8 + self.which] = slope
        weighted = jacobian * weight[:, None]
        pull = np.diag(np.full(len(numbers), 1e-6 * len(miss)))
        return weighted.T @ miss, weighted.T @ jacobian + pull


def guessed_camera(height: int, width: int) -> CameraModel:
    """Return the plain pinhole assumed where no camera model is given."""
    focal = 1.2 * max(width, height)
    return CameraModel(width, height, focal, focal, (width - 1) / 2, (height - 1) / 2)
