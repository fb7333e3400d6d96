"""Find a collar's markers in a picture, and a first idea of how the collar stands."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.collars import Collar
from vision.collar_model import CORNERS, CollarPose, Float, Index, Marks, fit_pose

Grey = NDArray[np.uint8]

_DICTIONARIES = {"4x4_50": cv2.aruco.DICT_4X4_50}
_SHARES = (0.28, 0.32, 0.36, 0.40, 0.44)
_TILTS = (-0.5, -0.15, 0.15, 0.5)
_ROUGH_PX = 1.0
_TRACKING_WINDOW_PX = 15


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Detected markers: numbers (m,), corners (m, 4, 2) in pixels as the detector names them."""

    numbers: Index
    corners_px: Float

    def __len__(self) -> int:
        return len(self.numbers)

    def turned(self, quarters: int) -> Float:
        """Return the corners with the marker turned so that numbers rise to its right."""
        return np.roll(self.corners_px, -quarters, axis=1)


class MarkerFinder:
    """OpenCV's marker detector for one collar's dictionary.

    Where the collar is being followed one threshold window does (not `thorough`); where
    that finds nothing the thorough search follows.
    """

    def __init__(self, collar: Collar, *, thorough: bool = True) -> None:
        dictionary = cv2.aruco.getPredefinedDictionary(_DICTIONARIES[collar.dictionary])
        parameters = cv2.aruco.DetectorParameters()
        parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
        parameters.minMarkerPerimeterRate = 0.02
        if not thorough:
            parameters.adaptiveThreshWinSizeMin = _TRACKING_WINDOW_PX
            parameters.adaptiveThreshWinSizeMax = _TRACKING_WINDOW_PX
        self._detector = cv2.aruco.ArucoDetector(dictionary, parameters)
        self._markers = collar.markers

    def find(self, grey: Grey, offset_px: tuple[int, int] = (0, 0)) -> Found:
        """Return the collar's markers in `grey`, whose top left pixel lies at `offset_px`."""
        corners, numbers, _ = self._detector.detectMarkers(grey)
        if numbers is None or len(corners) == 0:
            return Found(np.zeros(0, dtype=np.intp), np.zeros((0, 4, 2)))
        ids = np.asarray(numbers).ravel().astype(np.intp)
        quads = np.asarray([np.asarray(c).reshape(4, 2) for c in corners], dtype=np.float64)
        keep = (ids < self._markers) & (np.bincount(ids, minlength=ids.max() + 1)[ids] == 1)
        order = np.argsort(ids[keep])
        return Found(ids[keep][order], quads[keep][order] + np.array(offset_px))


def quarter_turn(found: Found, markers: int) -> int | None:
    """Return how many quarter turns bring the markers' right to where numbers rise.

    None where no two neighbours are in sight.
    """
    place = dict(zip(found.numbers.tolist(), found.corners_px, strict=True))
    votes = np.zeros(4)
    for number, corners in place.items():
        nearby = place.get((number + 1) % markers)
        if nearby is None:
            continue
        step = nearby.mean(axis=0) - corners.mean(axis=0)
        sides = np.roll(corners, -1, axis=0) - corners
        votes += sides @ step / np.linalg.norm(step) / np.linalg.norm(sides, axis=1)
    return int(np.argmax(votes)) if votes.any() else None


def corner_marks(numbers: Index, corners: Float) -> Marks:
    """Return the corners (m, 4, 2) as marks on both edges that meet there."""
    marker = np.repeat(numbers, 8)
    side = np.tile(np.repeat(CORNERS, 2, axis=0), (len(numbers), 1))
    across = np.tile(np.array([[1.0, 0.0], [0.0, 1.0]]), (4 * len(numbers), 1))
    seen = np.repeat(corners.reshape(-1, 2), 2, axis=0)
    return Marks(marker, side, across * np.sign(side), seen)


def first_pose(
    numbers: Index, corners: Float, pitch_rad: float, focal_px: float
) -> tuple[CollarPose, float] | None:
    """Return pose and angle from one picture's corners (m, 4, 2), normalised, m >= 2.

    Along the strip a point is seen at ``m + ρ sin(q - α)``: linear in what is unknown once
    the markers' share of the pitch is tried out. The lean towards the camera is tried
    from both sides and decided by the strip's bend. None where no start leads anywhere.
    """
    flat = _flat_start(numbers, corners, pitch_rad)
    if flat is None:
        return None
    marks = corner_marks(numbers, corners)
    noise = _ROUGH_PX / focal_px
    tried = [
        fit_pose([(marks, flat.angle_rad)], flat.pose(tilt), pitch_rad, noise) for tilt in _TILTS
    ]
    pose, angles, loss = min(tried, key=lambda t: t[2])
    sound = pose.centre[2] > 1.0 and 0.1 < pose.half_rad / pitch_rad < 0.5 and loss < 30.0
    return (pose, angles[0]) if sound else None


@dataclass(frozen=True, slots=True, eq=False)
class _Flat:
    along: Float
    up: Float
    middle: Float
    radius: float
    angle_rad: float
    half_rad: float

    def pose(self, tilt: float) -> CollarPose:
        depth = 1.0 / self.radius + 1.0
        sight = np.append(self.middle, 1.0)
        axis = np.append(self.up, 0.0) * np.cos(tilt) + np.array([0, 0, np.sin(tilt)])
        return CollarPose(sight * depth, axis, self.half_rad, self.half_rad)


def _flat_start(numbers: Index, corners: Float, pitch_rad: float) -> _Flat | None:
    up = (corners[:, 0] + corners[:, 1] - corners[:, 2] - corners[:, 3]).sum(axis=0)
    up /= np.linalg.norm(up)
    right = (corners[:, 1] + corners[:, 2] - corners[:, 0] - corners[:, 3]).sum(axis=0)
    along = np.array([-up[1], up[0]])
    along *= np.sign(along @ right)
    seen, height = (corners @ along).ravel(), (corners @ up).mean()
    best: tuple[float, _Flat] | None = None
    for share in _SHARES:
        half = share * pitch_rad
        q = (numbers[:, None] * pitch_rad + CORNERS[None, :, 0] * half).ravel()
        columns = np.column_stack([np.ones_like(q), np.sin(q), np.cos(q)])
        beta, _, rank, _ = np.linalg.lstsq(columns, seen, rcond=None)
        radius = float(np.hypot(beta[1], beta[2]))
        if rank < 3 or radius <= 0:
            continue
        miss = float(np.sum((columns @ beta - seen) ** 2))
        angle = float(np.arctan2(-beta[2], beta[1]))
        middle = beta[0] * along + height * up
        if best is None or miss < best[0]:
            best = miss, _Flat(along, up, middle, radius, angle, half)
    return best[1] if best is not None else None
