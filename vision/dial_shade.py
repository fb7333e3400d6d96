"""Light and shadow beside a needle, and what they may shift its direction by.

A shadow that lies against one edge of a needle moves that edge as it is seen, all along, so that
no row contradicts another: the rows' own scatter does not show it. What does show is that the
face beside one edge is darker than beside the other, or grows darker towards it.
"""

import numpy as np

from readings.median import median
from vision.dial_needle import NeedleFit, NeedleView, line_points

_ROWS = 32
_BESIDE_PX = np.array([2.5, 3.5, 6.5, 7.5])
"""Two places near to an edge, two farther off."""
_UNEQUAL_PX = 0.3  # a tip's shift where one side is darker by all of the needle's contrast
_STEEPER_PX = 0.3  # the same where it darkens by as much from far to near


def shade_px(view: NeedleView, fit: NeedleFit, reach_mm: float) -> float:
    """Return the k = 1 shift of a needle's tip, in pixels, that shading beside it leaves open.

    Judged along the needle's front up to `reach_mm`, by medians: print under it does not count.
    """
    look = view.look
    u = np.linspace(look.hub_mm, min(look.tip_mm, look.rim_mm, reach_mm), _ROWS)
    edge = look.width_at(u) + np.abs(u) * (fit.smear_rad / 2)
    right = edge[:, None] + _BESIDE_PX / fit.px_per_mm
    aside = np.concatenate([-right, right, np.zeros((_ROWS, 1))], axis=1)
    places = line_points(fit.angle_rad, fit.miss_mm, u[:, None], aside)
    light = view.light(places) @ (look.step / float(np.linalg.norm(look.step)))
    left_near, left_far, right_near, right_far = 0.5 * (light[:, 0:-1:2] + light[:, 1:-1:2]).T
    contrast = abs(median((left_far + right_far) / 2 - light[:, -1])) + 1e-9
    unequal = abs(median(left_near - right_near)) / contrast
    steeper = abs(median(left_far - left_near - right_far + right_near)) / contrast
    return float(np.hypot(_UNEQUAL_PX * min(unequal, 1.0), _STEEPER_PX * min(steeper, 1.0)))
