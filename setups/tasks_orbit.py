"""What orbits of a printed target find: where the rotation axis is, and which way it leans.

How far the target stands off the axis is where its paper was stuck: it is never a runout.
"""

from math import hypot, sqrt

import numpy as np

from readings import format_length
from setups.guides import GUIDES
from setups.measured import CannotTell, Measured, Number, TargetStop
from setups.state import SetupState
from setups.tasks_common import budget_of, measured, refused
from sweeps import (
    OrbitAxis,
    OrbitResult,
    OrbitView,
    Slope,
    SweepFailure,
    axis_by_orbits,
    judge_both,
    target_orbit,
)

PER_MM = 300.0
_IN_THE_PICTURE = "tilted view"
"""A flag of orbits told in the picture's plane: here the still target's plane holds the view."""
_U_HEIGHT_MM = 0.1
"""k = 1 of a height by a calliper."""
_U_PRINT_MM = 0.1
"""k = 1 of a printed target's size by a calliper."""
_SAME_VIEW_PX = 1.0
"""A still target that stands elsewhere in the picture by more was moved, or the camera was."""


def rotation_axis(state: SetupState) -> Measured | CannotTell:
    """Return a rotation axis in the still target's frame, from orbits at two heights."""
    steps = [step for step in GUIDES[state.guide].steps if step.kind == "orbit"]
    runs = [_stops(state, step.kept_as) for step in steps]
    size = state.task.size("target_size")
    orbits = [_orbit(stops) for stops in runs]
    views = [
        _view(stops, state.task.size(step.places)) for stops, step in zip(runs, steps, strict=True)
    ]
    moved = hypot(*np.subtract(runs[0][-1].still_px, runs[1][0].still_px)) > _SAME_VIEW_PX
    tilt = None if moved else (max(s.tilt_rad2[0] for s in runs[0]),
                               max(s.tilt_rad2[1] for s in runs[0]))  # fmt: skip
    found = axis_by_orbits(
        orbits[0],
        orbits[1],
        (views[0], views[1]),
        tilt_rad2=tilt,
        u_scale_rel=_U_PRINT_MM / size,
    )
    if not isinstance(found, OrbitAxis):
        return refused(found)
    assert isinstance(orbits[0], OrbitResult)
    assert isinstance(orbits[1], OrbitResult)
    return _told(found, (orbits[0], orbits[1]), state)


def _stops(state: SetupState, step: str) -> list[TargetStop]:
    return [one.target for one in state.task.run(step) if one.target is not None]


def _orbit(stops: list[TargetStop]) -> OrbitResult | SweepFailure:
    points = np.array([(stop.x_mm, stop.y_mm) for stop in stops])
    turns = np.unwrap(np.sort([stop.turn_rad % (2 * np.pi) for stop in stops]))
    order = np.argsort([stop.turn_rad % (2 * np.pi) for stop in stops])
    sigma = np.array([stop.sigma_mm for stop in stops])
    return target_orbit(points[order], sigma[order], turns)


def _view(stops: list[TargetStop], height_mm: float) -> OrbitView:
    xx, xy, yy = np.mean([stop.common_mm2 for stop in stops], axis=0)
    return OrbitView(
        height_mm,
        _U_HEIGHT_MM,
        np.mean([stop.aside for stop in stops], axis=0),
        np.array([[xx, xy], [xy, yy]]),
    )


def _told(found: OrbitAxis, orbits: tuple[OrbitResult, OrbitResult], state: SetupState) -> Measured:
    worse = max(found.lean_x, found.lean_y, key=lambda slope: abs(slope.rad))
    ways = [
        f"{format_length(abs(slope.over_mm(PER_MM)))} {words[slope.rad > 0]}"
        for slope, words in ((found.lean_x, ("left", "right")), (found.lean_y, ("down", "up")))
    ]
    u_x, u_y = (sqrt(float(found.covariance_mm2[k, k])) for k in (0, 1))
    return measured(
        judge_both(found.lean_x, found.lean_y, state.tolerance_mm, PER_MM),
        numbers=(
            Number("axis_x", "axis right of the still target", float(found.at_mm[0]), "mm", u_x),
            Number("axis_y", "axis above the still target", float(found.at_mm[1]), "mm", u_y),
            _lean("lean_x", "leans to its right", found.lean_x),
            _lean("lean_y", "leans to its top", found.lean_y),
            *(
                Number(key, f"target off the axis, {words}: no runout", orbit.radius_mm, "mm",
                       orbit.u_radius_mm)
                for key, words, orbit in (("arm_first", "first", orbits[0]),
                                          ("arm_second", "longer bar", orbits[1]))
            ),
        ),
        sentence=f"The axis leans {ways[0]} and {ways[1]} of the still target, over 300 mm.",
        size_mm=abs(worse.over_mm(PER_MM)),
        u_size_mm=worse.u_over_mm(PER_MM),
        budget=budget_of(found.budget_x if worse is found.lean_x else found.budget_y),
        flags=tuple(flag for flag in found.flags if flag != _IN_THE_PICTURE),
    )  # fmt: skip


def _lean(key: str, label: str, slope: Slope) -> Number:
    return Number(key, label, slope.over_mm(PER_MM), "mm per 300", slope.u_over_mm(PER_MM))
