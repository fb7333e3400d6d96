"""One sweep becomes numbers: `fit_turn`, for a turn with measured angles and for stops."""

from collections.abc import Callable
from dataclasses import replace
from math import degrees, hypot, pi, sqrt

import numpy as np

from readings import Surface, Sweep, offset_from_first_harmonic
from readings.median import median
from sweeps.allowance import DEFAULT_ALLOWANCE, RETRACE_MM, Allowance
from sweeps.budget import combine
from sweeps.contact import detect_clipped
from sweeps.first import (
    FirstHarmonic,
    budget_of,
    directed_covariance,
    first_harmonic,
    return_line,
    stated_covariance,
)
from sweeps.fourier import Float
from sweeps.overlap import (
    Return,
    covered_rad,
    distinct_places,
    mean_return,
    turned_rad,
)
from sweeps.result import Harmonic, SweepFailure, SweepResult, offset_geometry
from sweeps.robust import RobustFit
from sweeps.task import Task, fit_task, one_way, unusable, unusable_sizes

FULL_PLACES = 8
FULL_ARC_RAD = np.radians(270.0)
_WHOLE_ARC_RAD = np.radians(350.0)
_CURVE_POINTS = 1440
_OUTLIERS_WORTH_TELLING = 0.03
"""Fewer left out decide nothing and are no news: a hand grips anew, a picture smears."""
_MAX_OUTLIER_SHARE = 0.3


def fit_turn(
    sweep: Sweep,
    *,
    surface: Surface | None = None,
    diameter_mm: float | None = None,
    tip_radius_mm: float = 1.0,
    allowance: Allowance = DEFAULT_ALLOWANCE,
    travel_mm: tuple[float, float] | None = None,
    u_dial_mm: float | None = None,
) -> SweepResult | SweepFailure:
    """Fit harmonics about the mean to one sweep and say how well each number is known.

    Parameters
    ----------
    sweep
        n samples in time order; ``kind`` "turn" (angles measured) or "stops" (one sample
        a place; a stop beyond the first turn is a return, not data).
    surface, diameter_mm, tip_radius_mm
        What was swept. Without `surface` there are no offsets; without `diameter_mm` the
        second lobe that an offset makes by geometry is not removed.
    allowance
        Stated allowances for what one sweep cannot show.
    travel_mm
        The dial's taught travel (low, high), if known.
    u_dial_mm
        Standard uncertainty of the dial itself on the eccentricity; None while unchecked.

    Returns
    -------
    SweepResult or SweepFailure
        A failure (false) where a stated size cannot be, the arc is under a third of a
        turn, under three places were touched, a value is not finite, the stylus left the
        work, the dial ran out of travel, or over 30 % of the readings contradict the rest.
    """
    reason = unusable_sizes(surface, diameter_mm, tip_radius_mm, travel_mm, u_dial_mm)
    reason = reason or unusable(sweep)
    if reason is not None:
        return SweepFailure(reason, sweep.flags)
    clipped = detect_clipped(sweep, travel_mm) or _clipped_flags(sweep.flags)
    if clipped:
        hardly = travel_mm is None and float(np.ptp(sweep.value_mm)) < _HARDLY_MM
        reason = _HARDLY_REASON if hardly else _CLIPPED_REASON
        return SweepFailure(reason, _merged(clipped, sweep.flags))
    task = Task(sweep, surface, diameter_mm, tip_radius_mm, allowance, u_dial_mm)
    try:
        fit = fit_task(task)
    except np.linalg.LinAlgError:
        return SweepFailure("These angles cannot tell an offset from a constant.", sweep.flags)
    if fit.kept.mean() < 1 - _MAX_OUTLIER_SHARE:
        return SweepFailure(
            f"{(~fit.kept).sum()} of {len(fit.kept)} readings contradict the others: "
            "sweep again on a clean stretch of the surface.",
            _merged(("outliers left out",), sweep.flags),
        )
    return _result(task, fit)


_CLIPPED_REASON = (
    "The stylus left the work or the dial ran out of travel, so the curve is cut off: "
    "centre roughly first, load the stylus to mid travel and sweep again."
)

_HARDLY_MM = 4 * RETRACE_MM
_HARDLY_REASON = (
    "The needle hardly moved: either the work runs true to within the dial's own play, or the "
    "stylus does not touch it; load the stylus, or teach the dial's travel, and sweep again."
)


def _clipped_flags(flags: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(f for f in flags if f in ("stylus off the work", "end of travel"))


def _merged(*groups: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(flag for group in groups for flag in group))


def _offset(
    task: Task, first: FirstHarmonic, first_covariance: Float
) -> tuple[float | None, float | None, Float | None]:
    if task.surface is None or task.surface == "face":
        return None, None, None
    x, y = offset_from_first_harmonic(first.a1, first.b1, task.surface)
    dial = (task.u_dial_mm or 0.0) ** 2
    dragged = directed_covariance(first.a1, first.b1, first.loss_mm**2, first.sideways)
    stated = stated_covariance(first.a1, first.b1, first.stated)
    return x, y, first_covariance + dragged + stated + dial * np.eye(2)


def _extremes(
    task: Task, fit: RobustFit, first: FirstHarmonic, places: int
) -> tuple[float, float, float]:
    """Return TIR, raw TIR and the TIR's standard uncertainty."""
    kept = task.value_mm[fit.kept]
    raw = float(np.ptp(kept))
    reader = sqrt(2.0) * first.reader_mm
    if places < FULL_PLACES:
        sigma = median(task.sweep.sigma_mm)
        return raw, raw, hypot(sqrt(2.0) * sigma, reader)
    angle = _swept_grid(task.angle_rad[fit.kept], places)
    curve = fit.curve(angle)
    high, low = int(np.argmax(curve)), int(np.argmin(curve))
    top, bottom = fit.model.columns(angle[[high, low]])
    gradient = top - bottom
    tir = _peak(curve, high) + _peak(-curve, low)
    return tir, raw, hypot(sqrt(float(gradient @ fit.covariance @ gradient)), reader)


def _swept_grid(angle: Float, places: int) -> Float:
    """Return the angles at which the curve may be trusted: those that were swept."""
    low, span = float(angle.min()), covered_rad(float(np.ptp(angle)), places)
    return np.linspace(low, low + span, _CURVE_POINTS)


def _peak(curve: Float, at: int) -> float:
    """Return the height of a maximum, a parabola through its three points."""
    if at in (0, len(curve) - 1):
        return float(curve[at])
    left, mid, right = (float(v) for v in curve[at - 1 : at + 2])
    bend = left - 2 * mid + right
    return mid if bend >= 0 else mid - (right - left) ** 2 / (8 * bend)


def _harmonics(fit: RobustFit) -> tuple[Harmonic, ...]:
    pairs = fit.beta[1 : 2 * fit.model.order + 1].reshape(-1, 2)
    return tuple(
        Harmonic(k, hypot(a, b), degrees(float(np.arctan2(b, a))))
        for k, (a, b) in enumerate(pairs.tolist(), start=1)
    )


def _opposite_sum(task: Task, curve: Callable[[Float], Float], lobe: float, high: float) -> float:
    start = float(task.sweep.angle_rad[0]) if task.stops else 0.0
    angle = np.asarray(start + pi / 2 * np.arange(4), dtype=np.float64)
    signs = np.array([1.0, -1.0, 1.0, -1.0])
    geometry = lobe * np.cos(2 * (angle - high))
    return float(signs @ (curve(angle) - geometry))


def _result(task: Task, fit: RobustFit) -> SweepResult:
    back = mean_return(task.sweep, fit.curve)
    first = first_harmonic(task, fit)
    if back is not None and _differs(back, task.allowance):
        beyond = sqrt(back.mean_mm**2 - _explained_mm(back, task.allowance) ** 2)
        first = replace(first, stated=(*first.stated, return_line(beyond)))
    size, high = first.size, float(np.arctan2(first.b1, first.a1))
    used = task.angle_rad[fit.kept]
    places = len(used) if task.stops else distinct_places(used)
    arc = turned_rad(task.sweep)
    geometry = offset_geometry(size, task.surface, task.diameter_mm, task.tip_radius_mm)
    mean_part, lobe = geometry or (0.0, 0.0)
    budget = budget_of(task, fit, first)
    total = combine(budget)
    first_covariance = first.fit + first.reader_mm**2 * np.eye(2) + first.form
    offset_x, offset_y, u_offset = _offset(task, first, first_covariance)
    tir, raw, u_tir = _extremes(task, fit, first, places)
    harmonics = _harmonics(fit)
    whole = arc >= FULL_ARC_RAD or (task.stops and places >= 4 and places % 4 == 0)
    whole = whole and (fit.model.size >= 4)
    flags = _flags(task, fit, places, arc, back, geometry is None)
    return SweepResult(
        parameters=fit.model.parameters,
        values_mm=fit.beta,
        covariance=fit.covariance,
        n=int(fit.kept.sum()),
        dof=fit.dof,
        residuals_mm=fit.residuals_mm,
        kept=fit.kept,
        places=places,
        mean_mm=float(fit.beta[0]),
        a1_mm=first.a1,
        b1_mm=first.b1,
        eccentricity_mm=size,
        u_eccentricity_mm=hypot(first.along(first.fit), first.reader_mm),
        u_dial_mm=task.u_dial_mm,
        u_total_mm=total.u_mm,
        dof_total=total.dof,
        budget=budget,
        first_covariance=first_covariance,
        sideways_variance=first.sideways,
        surface=task.surface,
        diameter_mm=task.diameter_mm,
        tip_radius_mm=task.tip_radius_mm,
        offset_x_mm=offset_x,
        offset_y_mm=offset_y,
        u_offset_mm=u_offset,
        high_spot_deg=degrees(high) % 360.0,
        tir_mm=tir,
        tir_raw_mm=raw,
        u_tir_mm=u_tir,
        harmonics=harmonics,
        geometry=(mean_part, lobe),
        ovality_mm=_ovality(harmonics, lobe, high) if geometry is not None else None,
        return_mm=back.mean_mm if back is not None else None,
        opposite_sum_mm=_opposite_sum(task, fit.curve, lobe, high) if whole else None,
        start_rad=float(used.min()),
        turn_deg=degrees(arc),
        sense=task.sweep.sense,
        flags=flags,
        message=f"{int(fit.kept.sum())} readings over {degrees(arc):.0f} degrees",
        model=fit.model,
    )


def _ovality(harmonics: tuple[Harmonic, ...], lobe: float, high: float) -> float | None:
    if len(harmonics) < 2:
        return None
    second = harmonics[1]
    phase = np.radians(second.phase_deg)
    own = second.amplitude_mm * np.exp(1j * phase) - lobe * np.exp(2j * high)
    return float(abs(own))


def _flags(
    task: Task,
    fit: RobustFit,
    places: int,
    arc: float,
    back: Return | None,
    geometry_unknown: bool,
) -> tuple[str, ...]:
    raised = {
        "one way only": one_way(task.sweep),
        "few stops": places < FULL_PLACES,
        "tir at least": places < FULL_PLACES or (not task.stops and arc < _WHOLE_ARC_RAD),
        "short arc": arc < FULL_ARC_RAD and not (task.stops and places >= 4),
        "return differs": back is not None and _differs(back, task.allowance),
        "outliers left out": _worth_telling(fit, task.allowance),
        "diameter unknown": geometry_unknown,
        "dial unchecked": task.u_dial_mm is None,
    }
    return _merged(task.sweep.flags, tuple(name for name, on in raised.items() if on))


def _worth_telling(fit: RobustFit, allowance: Allowance) -> bool:
    """Whether what was left out is much, or far off: a smeared picture or two is no news."""
    left = np.abs(fit.residuals_mm[~fit.kept])
    many = len(left) > _OUTLIERS_WORTH_TELLING * len(fit.kept)
    return many or bool(np.any(left > 3 * allowance.retrace_mm))


def _differs(back: Return, allowance: Allowance) -> bool:
    """Whether the return is more than scatter and the dial's own retrace explain."""
    return abs(back.mean_mm) > _explained_mm(back, allowance)


def _explained_mm(back: Return, allowance: Allowance) -> float:
    return hypot(3 * back.u_mm, allowance.retrace_mm)
