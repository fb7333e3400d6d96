"""Sub-pixel points on the edges of a collar's markers.

Where the pose is roughly known each edge is looked at across, and the step from paper to
ink located by the area under it, which a symmetric blur does not shift. Left and right
edges of a marker err the same way into the ink, so the angle does not follow exposure.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from calibration.camera import CameraModel
from vision.collar_find import Grey
from vision.collar_model import CollarPose, Float, Index, Marks

_PLACES = np.array([-0.72, -0.48, -0.24, 0.0, 0.24, 0.48, 0.72])
_MODULES = 6.0
"""Cells across a marker: four of code and the black border on either side."""
_REACH_MODULES = 0.8
_LEAST_REACH_PX, _MOST_REACH_PX = 1.75, 5.0
_SAMPLES = 17
_LEAST_FACING = 0.3
_LEAST_CONTRAST_SHARE = 0.4
_LEAST_CONTRAST_GREY = 12.0


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Where to look: n places on marker edges, pixel positions and unit vectors outwards."""

    marker: Index
    side: Float
    normal: Float
    at_px: Float
    outward_px: Float
    reach_px: Float


def _unit_plan() -> tuple[Float, Float]:
    """Return places and outward signs on one marker, (28, 2) each."""
    side, normal = [], []
    for sign in (-1.0, 1.0):
        for t in _PLACES:
            side += [(sign, t), (t, sign)]
            normal += [(sign, 0.0), (0.0, sign)]
    return np.array(side), np.array(normal)


_SIDE, _NORMAL = _unit_plan()


def plan_edges(
    numbers: Index, pose: CollarPose, angle_rad: float, pitch_rad: float, camera: CameraModel
) -> Plan:
    """Return where the edges of these markers should be, those in sight and large enough."""
    marker = np.repeat(numbers, len(_SIDE))
    side, normal = np.tile(_SIDE, (len(numbers), 1)), np.tile(_NORMAL, (len(numbers), 1))
    psi = marker * pitch_rad + side[:, 0] * pose.half_rad - angle_rad
    z = side[:, 1] * pose.half_height
    module = 2.0 / _MODULES * np.array([pose.half_rad, pose.half_height])
    beyond = normal * module
    along = np.abs(normal[:, ::-1]) * 0.1 * module
    at, out, next_to = (
        camera.project(pose.place(psi + step[:, 0], z + step[:, 1]))
        for step in (np.zeros_like(beyond), beyond, along)
    )
    tangent = next_to - at
    across = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    across /= np.linalg.norm(across, axis=1)[:, None]
    width = np.sum((out - at) * across, axis=1)
    reach = np.minimum(_REACH_MODULES * np.abs(width), _MOST_REACH_PX)
    good = (pose.facing(psi, z) > _LEAST_FACING) & (reach >= _LEAST_REACH_PX)
    outward = across * np.sign(width)[:, None]
    return Plan(marker[good], side[good], normal[good], at[good], outward[good], reach[good])


def measure_edges(grey: Grey, plan: Plan, camera: CameraModel) -> Marks | None:
    """Return the edge points found in a grey picture, None where fewer than eight are."""
    if len(plan.marker) == 0:
        return None
    steps = np.linspace(-1.0, 1.0, _SAMPLES)
    reach = plan.reach_px[:, None] * steps[None, :]
    x = plan.at_px[:, :1] + reach * plan.outward_px[:, :1]
    y = plan.at_px[:, 1:] + reach * plan.outward_px[:, 1:]
    profile = cv2.remap(grey, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR).astype(
        np.float64
    )
    height, width = grey.shape
    inside = (x.min(1) >= 1) & (y.min(1) >= 1) & (x.max(1) <= width - 2) & (y.max(1) <= height - 2)
    ink, paper = profile[:, :3].mean(axis=1), profile[:, -3:].mean(axis=1)
    contrast = paper - ink
    least = max(_LEAST_CONTRAST_SHARE * float(np.median(contrast)), _LEAST_CONTRAST_GREY)
    dark = (paper[:, None] - profile) / np.maximum(contrast, 1.0)[:, None]
    share = (dark[:, 1:-1].sum(axis=1) + (dark[:, 0] + dark[:, -1]) / 2) / (_SAMPLES - 1)
    offset = (2 * share - 1) * plan.reach_px
    good = inside & (contrast >= least) & (np.abs(2 * share - 1) < 0.7)
    if good.sum() < 8:
        return None
    found = plan.at_px[good] + offset[good, None] * plan.outward_px[good]
    return Marks(plan.marker[good], plan.side[good], plan.normal[good], camera.undistort(found))
