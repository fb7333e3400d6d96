"""Which pixels of a picture the needle covers."""

import numpy as np
from numpy.typing import NDArray

from vision.dial_needle import Line, NeedleLook
from vision.dial_pose import Float, PlanePose


def covered(
    pose: PlanePose, look: NeedleLook, line: Line, at_px: Float, wider_px: float
) -> NDArray[np.bool_]:
    """Return which pixels (n, 2) a needle on `line`, at its own height, covers.

    It is taken as wider and longer by `wider_px` on each side.
    """
    used = look.half_width_mm > 0
    u, half = look.u_mm[used], look.half_width_mm[used]
    way = np.array([np.cos(line[0]), np.sin(line[0])])
    aside = np.array([-way[1], way[0]])
    middle = u[:, None] * way + line[1] * aside
    spine = pose.project(middle, -look.height_mm)
    edge = pose.project(middle + half[:, None] * aside, -look.height_mm)
    width = np.linalg.norm(edge - spine, axis=1)
    along = spine[-1] - spine[0]
    along /= np.linalg.norm(along)
    arm = at_px - spine[0]
    place, off = arm @ along, np.abs(arm @ np.array([-along[1], along[0]]))
    places = (spine - spine[0]) @ along
    inside = (place > -wider_px) & (place < places[-1] + wider_px)
    return np.asarray(inside & (off < np.interp(place, places, width) + wider_px))
