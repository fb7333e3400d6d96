"""A turn with arcs that a person left out: one result, which a turn the other way joins."""

from collections.abc import Sequence
from dataclasses import replace
from math import hypot

import numpy as np

from readings import Surface, Sweep
from sweeps.allowance import DEFAULT_ALLOWANCE, Allowance
from sweeps.arcs import ArcCentres, centre_by_arcs, left_out_of
from sweeps.budget import combine
from sweeps.first import ARCS
from sweeps.result import SweepFailure, SweepResult

Arc = tuple[float, float]


def fit_without(
    sweep: Sweep,
    leave_out: Sequence[Arc],
    *,
    surface: Surface,
    tolerance_mm: float,
    diameter_mm: float | None = None,
    tip_radius_mm: float = 1.0,
    allowance: Allowance = DEFAULT_ALLOWANCE,
    travel_mm: tuple[float, float] | None = None,
    u_dial_mm: float | None = None,
) -> SweepResult | SweepFailure:
    """Fit a turn as `fit_turn` does, on what lies outside arcs left out by hand.

    Parameters
    ----------
    leave_out
        In radians, from and to, anticlockwise.
    surface, tolerance_mm, diameter_mm, tip_radius_mm, allowance, travel_mm, u_dial_mm
        As in `centre_by_arcs`.

    Returns
    -------
    SweepResult or SweepFailure
        Flagged "arcs left out" and, as the wall inside the arcs is not told, "tir at least";
        "arcs disagree" where even the kept arcs leave the centre open by more than the
        tolerance. What they leave open is a line of the budget, "arcs". Failures as
        `centre_by_arcs` has them.
    """
    found = centre_by_arcs(
        sweep,
        surface=surface,
        tolerance_mm=tolerance_mm,
        leave_out=leave_out,
        search=False,
        diameter_mm=diameter_mm,
        tip_radius_mm=tip_radius_mm,
        allowance=allowance,
        travel_mm=travel_mm,
        u_dial_mm=u_dial_mm,
    )
    if isinstance(found, SweepFailure):
        return found
    return _as_one(found, sweep, tolerance_mm)


def _as_one(found: ArcCentres, sweep: Sweep, tolerance_mm: float) -> SweepResult:
    kept = found.kept
    total = combine(found.budget)
    open_mm = next(line.u_mm for line in found.budget if line.name == ARCS)
    u_offset = None if kept.u_offset_mm is None else kept.u_offset_mm + open_mm**2 * np.eye(2)
    swept = sweep.angle_rad[~left_out_of(sweep.angle_rad, found.left_out)]
    raised = {
        "arcs left out": True,
        "arcs disagree": _apart_mm(found) > tolerance_mm,
        "tir at least": True,
    }
    flags = dict.fromkeys((*kept.flags, *(name for name, on in raised.items() if on)))
    return replace(
        kept,
        tir_mm=float(np.ptp(kept.curve_mm(swept))),
        u_offset_mm=u_offset,
        budget=found.budget,
        u_total_mm=total.u_mm,
        dof_total=total.dof,
        flags=tuple(flags),
        message=f"{kept.message}, {found.message}",
    )


def _apart_mm(found: ArcCentres) -> float:
    """Return how far the kept arcs' centre lies from the inscribed circle's, 0 without one.

    All readings are not asked: a person said that some of them do not count.
    """
    kept = found.kept
    if found.inscribed_x_mm is None or found.inscribed_y_mm is None:
        return 0.0
    assert kept.offset_x_mm is not None
    assert kept.offset_y_mm is not None
    return hypot(kept.offset_x_mm - found.inscribed_x_mm, kept.offset_y_mm - found.inscribed_y_mm)
