"""Find a taught dial anywhere in one picture, from nothing: its scale, turned to its zero."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from calibration.dials import TaughtDial
from vision.dial_find import find_scale
from vision.dial_judge import judge_scale, judge_turn
from vision.dial_marks import ScaleLook
from vision.dial_pose import PlanePose, guessed_camera
from vision.dial_rotation import ScaleTurn, turn_of
from vision.dial_scale import ScaleFit, choose_pose, settle

SHRINKS = (2, 1, 4)
"""How much to shrink a picture `_WIDTH_PX` wide for the search, the likeliest first."""
_WIDTH_PX = 1280
_DENSE = 150  # marks a turn from which a picture is searched at twice the size
_FLAT = 0.35
_AGREEMENT = 0.55  # between marks and pose: 0.3 where it slipped by a mark, 0.75 in its place
_HEARD = 0.2  # coherence worth a closer look


def find_dial(
    gray: NDArray[np.uint8],
    dial: TaughtDial,
    look: ScaleLook,
    camera: CameraModel | None,
    shrinks: Sequence[int] = SHRINKS,
) -> ScaleFit | str:
    """Return a dial's scale settled at its zero, or the name of the flag that refuses it.

    `camera` is freed in the fit where it is None.
    """
    height, width = gray.shape
    model = camera or guessed_camera(width, height)
    flags = []
    for shrink in _shrinks_of(gray, shrinks, dial.marks_per_turn):
        for candidate in find_scale(gray, model, look, shrink=shrink)[:1]:
            if candidate.coherence < _HEARD:
                continue
            found = _settled(gray, candidate.pose, dial, look, free_camera=camera is None)
            if not isinstance(found, str):
                return found
            flags.append(found)
    return next((f for f in flags if f != "no dial"), "no dial")


def _shrinks_of(gray: NDArray[np.uint8], shrinks: Sequence[int], marks: int) -> list[int]:
    """Return by how much to shrink this picture: wide ones more, none twice by the same."""
    size = max(gray.shape) / (_WIDTH_PX if marks < _DENSE else 2 * _WIDTH_PX)
    return list(dict.fromkeys(max(1, round(shrink * size)) for shrink in shrinks))


def _starts(pose: PlanePose, look: ScaleLook) -> list[PlanePose]:
    """Return a rough pose and, where it is an answer of its own, its mirrored tilt.

    Tilted by less than about its radius over its distance, a scale has one best tilt only.
    """
    nearness = look.outer_mm / float(np.linalg.norm(pose.translation))
    flat = pose.tilt_rad() < _FLAT * nearness
    return [pose] if flat else [pose, pose.mirrored()]


def _settled(
    gray: NDArray[np.uint8],
    pose: PlanePose,
    dial: TaughtDial,
    look: ScaleLook,
    *,
    free_camera: bool,
) -> ScaleFit | str:
    """Settle a rough pose or its mirrored tilt, whichever is better, and turn it to zero."""
    rough = choose_pose(gray, _starts(pose, look), look, free_camera=free_camera)
    if rough is None:
        return "no dial"
    free, blur = free_camera, rough.blur_px
    turn, pose = _to_zero(gray, rough.pose, dial)
    scale = settle(gray, pose, look, free_camera=free, blur_px=blur)
    flag = judge_scale(scale)
    if scale is None or flag is not None:
        return flag or "no dial"
    if judge_turn(turn) is not None:  # the rough pose was too rough for its numerals
        turn, pose = _to_zero(gray, scale.pose, dial)
        scale = settle(gray, pose, look, free_camera=free, blur_px=blur)
        if scale is None or judge_scale(scale) is not None:
            return "scale hidden"
    doubtful = scale.agreement < _AGREEMENT
    return judge_turn(turn) or ("scale hidden" if doubtful else scale)


def _to_zero(
    gray: NDArray[np.uint8], pose: PlanePose, dial: TaughtDial
) -> tuple[ScaleTurn, PlanePose]:
    """Return how far a pose must turn to its zero by the numerals, and the turned pose."""
    turn = turn_of(gray, pose, dial)
    return turn, pose.turned(dial.rising * 2 * np.pi * turn.marks / dial.marks_per_turn)
