"""The direction of a rotation axis from the orbits of targets at two heights, seen by a camera.

Both orbits are told in the frame of a target that stands still: x right, y up as it is printed,
heights out of its paper. What errs alike for all places of an orbit (that target's own pose)
stands apart from the fit's scatter.
"""

from dataclasses import dataclass
from math import hypot, sqrt
from typing import Literal

import numpy as np

from sweeps.budget import BudgetLine
from sweeps.fourier import Float
from sweeps.orbit import OrbitResult
from sweeps.result import SweepFailure
from sweeps.slope import BUDGET_LENGTH_MM, Slope, slope_of

_LEAST_APART_MM = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class OrbitView:
    """How the orbit at one height was looked at.

    Attributes
    ----------
    height_mm, u_height_mm
        Of the turning target's paper over the still target's (k = 1).
    aside
        (2,) how far a place goes aside for each mm that the height is wrong.
    common_mm2
        (2, 2) covariance of what all places of the orbit err by alike.
    """

    height_mm: float
    u_height_mm: float
    aside: Float
    common_mm2: Float


@dataclass(frozen=True, slots=True, eq=False)
class OrbitAxis:
    """A rotation axis in the still target's frame; lengths in mm, `u_…` and covariance k = 1.

    `at_mm` is where it passes the first height; `lean_x` > 0 goes to the right going out.
    """

    at_mm: Float
    covariance_mm2: Float
    lean_x: Slope
    lean_y: Slope
    budget_x: tuple[BudgetLine, ...]
    budget_y: tuple[BudgetLine, ...]
    flags: tuple[str, ...]

    def __bool__(self) -> Literal[True]:
        return True


def axis_by_orbits(
    first: OrbitResult | SweepFailure,
    second: OrbitResult | SweepFailure,
    views: tuple[OrbitView, OrbitView],
    *,
    tilt_rad2: tuple[float, float] | None,
    u_scale_rel: float = 0.0,
) -> OrbitAxis | SweepFailure:
    """Return the axis through two orbits' centres.

    Parameters
    ----------
    tilt_rad2
        Variances of the still target's own tilt about its x and its y, where camera and still
        target stood at both heights as they did: then only the tilt goes into the lean. None
        where one of them was moved: then all that a place errs by counts at either height.
    u_scale_rel
        Relative uncertainty (k = 1) of the still target's printed size. It stretches where the
        rays meet that paper, and these foot points lie apart as the view is aslant.

    Returns
    -------
    OrbitAxis or SweepFailure
        A failure where either orbit is one, or the heights lie less than 10 mm apart.
    """
    for one in (first, second):
        if isinstance(one, SweepFailure):
            return one
    assert isinstance(first, OrbitResult)
    assert isinstance(second, OrbitResult)
    apart = views[1].height_mm - views[0].height_mm
    if not (np.isfinite(apart) and abs(apart) >= _LEAST_APART_MM):
        return SweepFailure("The two heights must be 10 mm apart or more: 80 mm is better.")
    orbits = (first, second)
    feet = [_foot(orbit, view) for orbit, view in zip(orbits, views, strict=True)]
    scale = [abs(float(way)) * u_scale_rel / abs(apart) for way in feet[1] - feet[0]]
    budgets = [
        (
            *_lean_lines(orbits, views, apart, k, tilt_rad2),
            BudgetLine("target scale", scale[k] * BUDGET_LENGTH_MM),
        )
        for k in (0, 1)
    ]
    lean = ((second.x_mm - first.x_mm) / apart, (second.y_mm - first.y_mm) / apart)
    view = views[0]
    sizes = np.outer(view.aside, view.aside) * view.u_height_mm**2
    sizes += np.outer(feet[0], feet[0]) * u_scale_rel**2
    return OrbitAxis(
        at_mm=np.array([first.x_mm, first.y_mm]),
        covariance_mm2=first.covariance + view.common_mm2 + sizes,
        lean_x=slope_of(lean[0], budgets[0]),
        lean_y=slope_of(lean[1], budgets[1]),
        budget_x=budgets[0],
        budget_y=budgets[1],
        flags=tuple(dict.fromkeys((*first.flags, *second.flags))),
    )


def _foot(orbit: OrbitResult, view: OrbitView) -> Float:
    """Return where the ray to an orbit's centre meets the still target's paper."""
    return np.array([orbit.x_mm, orbit.y_mm]) - view.height_mm * view.aside


def _lean_lines(
    orbits: tuple[OrbitResult, OrbitResult],
    views: tuple[OrbitView, OrbitView],
    apart_mm: float,
    k: int,
    tilt_rad2: tuple[float, float] | None,
) -> tuple[BudgetLine, ...]:
    """Return the budget of the lean along x (k = 0) or y, stated over `BUDGET_LENGTH_MM`."""
    over = BUDGET_LENGTH_MM / abs(apart_mm)
    fits = [
        BudgetLine("fit", over * sqrt(float(orbit.covariance[k, k])), orbit.dof) for orbit in orbits
    ]
    heights = over * hypot(*(view.u_height_mm * float(view.aside[k]) for view in views))
    if tilt_rad2 is None:
        still = over * sqrt(sum(float(view.common_mm2[k, k]) for view in views))
    else:
        # turned about y, the frame shows a lean along x
        still = BUDGET_LENGTH_MM * sqrt(tilt_rad2[1 - k])
    return (*fits, BudgetLine("height", heights), BudgetLine("still target", still))
