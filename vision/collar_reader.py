"""The angle of a collar of numbered markers, one picture after another.

Nothing need be known but the number of markers: how the cylinder stands, and how large
its markers are for its radius, is found from the first pictures and held while the camera
stays where it is, so that the angle alone is fitted afterwards.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from calibration.camera import CameraModel
from calibration.collars import Collar
from readings import CollarAngle, Frame, frozen_array
from vision.collar_edges import measure_edges, plan_edges
from vision.collar_find import Found, Grey, MarkerFinder, first_pose, quarter_turn
from vision.collar_model import (
    AngleFit,
    CollarPose,
    Float,
    Index,
    Marks,
    fit_angle,
    fit_pose,
    guessed_camera,
)

TURN_RAD = 2 * np.pi
_MARGIN_PX = 16
_LEARN_AT = (1, 2, 3, 4, 6, 8, 11, 14, 18)
"""Numbers of different pictures at which the pose is fitted anew."""
_DIFFERENT_RAD = 0.21
"""How far the collar must have turned, as a share of the pitch, to teach something new."""
_KNOCK_PX = 1.2
_KNOCKS = 3
_NOISE_PX = 0.15
_LOOK_AGAIN_PX = 0.5
_YOUNG_RAD = np.radians(0.29)
"""How far the angle may still shift while the pose rests on one picture; falls as 1/n."""


@dataclass(frozen=True, slots=True, eq=False)
class CollarSight:
    """What one picture shows of the collar, before any angle is stated."""

    t_s: float
    marks: Marks
    corners_px: Float
    pose: CollarPose
    """The pose as it was known when the picture was seen."""
    fit: AngleFit
    """The angle by that pose."""


class CollarReader:
    """Reads one collar. Keeps the place of the last sight and the pose learned so far.

    Parameters
    ----------
    collar
        The number of markers and their dictionary.
    camera
        The camera's model; without it a plain pinhole is assumed, which costs little.
    """

    def __init__(self, collar: Collar, camera: CameraModel | None = None) -> None:
        self._collar = collar
        self._given = camera
        self._finder = MarkerFinder(collar)
        self._tracker = MarkerFinder(collar, thorough=False)
        self.reset()

    def reset(self) -> None:
        """Forget where the collar is and how it stands."""
        self._camera: CameraModel | None = self._given
        self._box: tuple[int, int, int, int] | None = None
        self._pose: CollarPose | None = None
        self._quarters = 0
        self._lessons: list[tuple[Marks, float]] = []
        self._knocks = 0

    @property
    def settled(self) -> bool:
        """Whether the pose rests on as many pictures as it ever will."""
        return len(self._lessons) >= _LEARN_AT[-1]

    def read(self, frame: Frame) -> CollarAngle | None:
        """Return the angle in this picture, None where the collar is not seen."""
        sight = self.look(frame)
        return None if sight is None else self.angle(sight)

    def look(self, frame: Frame) -> CollarSight | None:
        """Return what this picture shows, learning the pose from it as well."""
        if frame.image is None:
            return None
        grey = np.asarray(cv2.cvtColor(frame.image, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
        camera = self._camera_for(grey)
        found = self._find(grey)
        if len(found) == 0 or not self._has_pose(found, camera):
            return None
        sight = self._measure(grey, found, camera, frame.t_s)
        if sight is not None:
            self._learn(sight, camera)
        return sight

    def angle(self, sight: CollarSight) -> CollarAngle | None:
        """Return the angle of a sight by the pose as it is known now."""
        if self._pose is None:
            return None
        fit = self._fit_again(sight)
        return CollarAngle(
            sight.t_s,
            fit.angle_rad % TURN_RAD,
            float(np.hypot(fit.sigma_rad, self._young_rad())),
            len(np.unique(sight.marks.marker)),
            frozen_array(sight.corners_px),
        )

    def _young_rad(self) -> float:
        return 0.0 if self.settled else _YOUNG_RAD / max(len(self._lessons), 1)

    def _fit_again(self, sight: CollarSight) -> AngleFit:
        """Return the fit of a sight by the present pose."""
        if self._pose is sight.pose or self._pose is None:
            return sight.fit
        return fit_angle(sight.marks, self._pose, sight.fit.angle_rad, self._collar.pitch_rad)

    def _camera_for(self, grey: Grey) -> CameraModel:
        if self._camera is None:
            self._camera = guessed_camera(*grey.shape)
        return self._camera

    def _find(self, grey: Grey) -> Found:
        if self._box is not None:
            left, top, right, bottom = self._box
            found = self._tracker.find(grey[top:bottom, left:right], (left, top))
            if len(found) > 0:
                return self._remember(found, grey)
        return self._remember(self._finder.find(grey), grey)

    def _remember(self, found: Found, grey: Grey) -> Found:
        if len(found) == 0:
            self._box = None
            return found
        low = found.corners_px.min(axis=(0, 1)) - self._margin(found)
        high = found.corners_px.max(axis=(0, 1)) + self._margin(found)
        left, top = (max(0, int(v)) for v in low)
        right, bottom = (int(v) for v in np.minimum(high + 1, grey.shape[::-1]))
        self._box = left, top, right, bottom
        return found

    def _margin(self, found: Found) -> Float:
        """Room for the next markers on either side to come into sight."""
        sides = np.linalg.norm(np.diff(found.corners_px, axis=1), axis=2)
        return np.full(2, _MARGIN_PX + float(sides.max()))

    def _has_pose(self, found: Found, camera: CameraModel) -> bool:
        if self._pose is not None:
            return True
        quarters = quarter_turn(found, self._collar.markers)
        if quarters is None:
            return False
        corners = camera.undistort(found.turned(quarters)).reshape(-1, 4, 2)
        first = first_pose(found.numbers, corners, self._collar.pitch_rad, camera.fx)
        if first is not None:
            self._pose, self._quarters = first[0], quarters
        return self._pose is not None

    def _measure(
        self, grey: Grey, found: Found, camera: CameraModel, t_s: float
    ) -> CollarSight | None:
        assert self._pose is not None
        rough = self._rough_angle(found, camera)
        if rough is None:
            return None
        angle = rough[0]
        marks, fit = self._look_at_edges(grey, rough[1], angle, camera)
        if marks is None or fit is None:
            return None
        moved_px = abs(fit.angle_rad - angle) * camera.fx / self._pose.centre[2]
        if moved_px > _LOOK_AGAIN_PX:
            marks, fit = self._look_at_edges(grey, rough[1], fit.angle_rad, camera)
            if marks is None or fit is None:
                return None
        used = np.isin(found.numbers, marks.marker)
        return CollarSight(t_s, _agreeing(marks, fit), found.corners_px[used], self._pose, fit)

    def _look_at_edges(
        self, grey: Grey, numbers: Index, angle_rad: float, camera: CameraModel
    ) -> tuple[Marks, AngleFit] | tuple[None, None]:
        assert self._pose is not None
        pitch = self._collar.pitch_rad
        marks = measure_edges(
            grey, plan_edges(numbers, self._pose, angle_rad, pitch, camera), camera
        )
        if marks is None:
            return None, None
        return marks, fit_angle(marks, self._pose, angle_rad, pitch)

    def _rough_angle(self, found: Found, camera: CameraModel) -> tuple[float, Index] | None:
        """Return the angle that most markers agree on, and the numbers of those markers."""
        assert self._pose is not None
        pitch = self._collar.pitch_rad
        centres = camera.undistort(found.corners_px.mean(axis=1))
        psi, miss = azimuths(self._pose, centres)
        angles = found.numbers * pitch - psi
        good = miss < 1.5 * self._pose.half_height
        if not good.any():
            return None
        gaps = np.abs(np.angle(np.exp(1j * (angles[:, None] - angles[None, :])))) < 0.3 * pitch
        votes = (gaps & good[None, :]).sum(axis=1) * good
        best = int(np.argmax(votes))
        near = gaps[best] & good
        turned = np.angle(np.exp(1j * (angles[near] - angles[best])))
        return float(angles[best] + np.median(turned)), found.numbers[near]

    def _learn(self, sight: CollarSight, camera: CameraModel) -> None:
        fit = sight.fit
        if self._lessons and fit.scatter * camera.fx > _KNOCK_PX:
            self._knocks += 1
            if self._knocks >= _KNOCKS:
                self.reset()
            return
        self._knocks = 0
        if self.settled or not self._is_new(fit.angle_rad):
            return
        self._lessons.append((sight.marks, fit.angle_rad))
        if len(self._lessons) in _LEARN_AT:
            self._fit_lessons(camera)

    def _is_new(self, angle_rad: float) -> bool:
        apart = [abs(np.angle(np.exp(1j * (angle_rad - known)))) for _, known in self._lessons]
        return min(apart, default=np.inf) > _DIFFERENT_RAD * self._collar.pitch_rad

    def _fit_lessons(self, camera: CameraModel) -> None:
        assert self._pose is not None
        pose, angles, _ = fit_pose(
            self._lessons, self._pose, self._collar.pitch_rad, _NOISE_PX / camera.fx
        )
        self._pose = pose
        self._lessons = [
            (marks, angle) for (marks, _), angle in zip(self._lessons, angles, strict=True)
        ]


def _agreeing(marks: Marks, fit: AngleFit) -> Marks:
    keep = fit.agreeing
    return Marks(marks.marker[keep], marks.side[keep], marks.normal[keep], marks.seen[keep])


def azimuths(pose: CollarPose, seen: Float) -> tuple[Float, Float]:
    """Return azimuth ψ and |z| where lines of sight (n, 2) meet the cylinder's near side.

    A line that misses the cylinder gets the azimuth of its limb and an infinite |z|.
    """
    towards, right = pose.frame()
    basis = np.column_stack([towards, right, pose.axis])
    ray = np.column_stack([seen, np.ones(len(seen))]) @ basis
    origin = -pose.centre @ basis
    a = np.sum(ray[:, :2] ** 2, axis=1)
    b = ray[:, :2] @ origin[:2]
    root = b**2 - a * (origin[:2] @ origin[:2] - 1.0)
    t = (-b - np.sqrt(np.maximum(root, 0.0))) / a
    hit = origin + t[:, None] * ray
    height = np.where(root >= 0, np.abs(hit[:, 2]), np.inf)
    return np.arctan2(hit[:, 1], hit[:, 0]), height
