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
from vision.dial_rotation import turn_of
from vision.dial_scale import ScaleFit, choose_pose, settle

SHRINKS = (2, 1, 4)
"""How much to shrink a picture for the search: the ways to try, the likeliest first."""
_FLAT = 0.35
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
    for shrink in shrinks:
        for candidate in find_scale(gray, model, look, shrink=shrink)[:1]:
            if candidate.coherence < _HEARD:
                continue
            found = _settled(gray, candidate.pose, dial, look, free_camera=camera is None)
            if not isinstance(found, str):
                return found
            flags.append(found)
    return next((f for f in flags if f != "no dial"), "no dial")


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
    turn = turn_of(gray, rough.pose, dial)
    pose = rough.pose.turned(dial.rising * 2 * np.pi * turn.marks / dial.marks_per_turn)
    scale = settle(gray, pose, look, free_camera=free_camera, blur_px=rough.blur_px)
    flag = judge_scale(scale) or judge_turn(turn)
    return flag or scale or "no dial"
