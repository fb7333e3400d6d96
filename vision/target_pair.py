"""Two printed targets in one picture: one turns, the other stands still and holds the frame."""

from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from calibration.targets import REACH, Target
from readings import BadInputError, CollarAngle, Frame, Reading
from vision.target_datum import DatumPlace, place_in_datum
from vision.target_reader import TargetReader, TargetSight

Float = NDArray[np.float64]

TURNING, STANDING = 0, 1
"""Numbers of the target on what turns, and of the one that stands still."""
NOMINAL_MM = 60.0
"""Size with which they are read; places are scaled to the size that was measured."""


@dataclass(frozen=True, slots=True, eq=False)
class TargetPair:
    """Both targets as they were seen."""

    turning: TargetSight
    standing: TargetSight

    def place(self, size_mm: float, height_mm: float) -> DatumPlace:
        """Return where the turning target is, for targets of a size and at a height (mm).

        Raises
        ------
        BadInputError
            If the still target's plane is not known, or seen from its edge.
        """
        share = size_mm / NOMINAL_MM
        found = place_in_datum(self.turning, self.standing, height_mm=height_mm / share)
        return DatumPlace(
            found.number,
            found.datum,
            share * found.place_mm,
            share**2 * found.covariance_mm2,
            found.turn_rad,
            found.u_turn_rad,
        )


class PairReader:
    """Reads both targets; the turn of one against the other is told like a collar's angle."""

    def __init__(self, camera: CameraModel | None) -> None:
        targets = tuple(Target(number, NOMINAL_MM) for number in (TURNING, STANDING))
        self._reader = None if camera is None else TargetReader(targets, camera)

    def read(self, frame: Frame) -> tuple[Reading, CollarAngle | None, TargetPair | None]:
        """Return a reading without numbers and why, the turn, and the pair where it is whole."""
        if self._reader is None:
            return _without(frame, "camera not calibrated")
        if frame.image is None:
            return _without(frame, *(frame.flags or ("unreadable file",)))
        try:
            seen = {sight.number: sight for sight in self._reader.read(frame.image)}
        except BadInputError:
            return _without(frame, "wrong size")
        if len(seen) < 2:
            return _without(frame, "targets not seen")
        pair = TargetPair(seen[TURNING], seen[STANDING])
        if pair.standing.tilt_rad is None:
            return _without(frame, "target seen squarely")
        along = pair.standing.pose.rotation.T @ pair.turning.pose.rotation[:, 0]
        collar = CollarAngle(
            frame.t_s,
            -float(np.arctan2(along[1], along[0])),
            hypot(pair.turning.u_turn_rad, pair.standing.u_turn_rad),
            2,
            np.stack([_outline(pair.turning), _outline(pair.standing)]),
        )
        return Reading("refused", frame.t_s, flags=("target, no dial",)), collar, pair


def _outline(sight: TargetSight) -> Float:
    reach = REACH * NOMINAL_MM
    corners = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * reach
    return sight.pose.project(corners)


def _without(frame: Frame, *flags: str) -> tuple[Reading, None, None]:
    return Reading("refused", frame.t_s, flags=tuple(flags)), None, None
