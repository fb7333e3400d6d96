"""A traverse along a face, a bar between centres or a vice jaw: parallelism and straightness."""

from dataclasses import dataclass, replace
from math import hypot, inf, sqrt

import numpy as np
from numpy.typing import ArrayLike

from sweeps.allowance import DEFAULT_ALLOWANCE, Allowance
from sweeps.budget import BudgetLine, combine
from sweeps.distributions import Rectangular
from sweeps.first import stated_lines
from sweeps.linear import Linear, as_arrays, distinct, frozen, mean_return_mm, unusable_places
from sweeps.result import SweepFailure
from sweeps.robust import Fitted
from sweeps.slope import BUDGET_LENGTH_MM, scaled, slope_of
from sweeps.slots import on_the_line
from sweeps.traverse_fit import (
    Line,
    Profile,
    fit_line,
    noise_between_neighbours_mm,
    profile_of,
    turning_point,
)
from sweeps.traverse_result import TraverseResult
from sweeps.zone import line_zone

MIN_PLACES = 3
MAX_OUTLIER_SHARE = 0.3
_MOST_SLOTS = 0.5
_NO_FORM = 4.0
"""A form under so many of its own sigmas is what scatter alone would show."""


def traverse(
    place_mm: ArrayLike,
    value_mm: ArrayLike,
    *,
    sigma_mm: ArrayLike,
    t_s: ArrayLike | None = None,
    u_place_mm: float = 0.0,
    allowance: Allowance = DEFAULT_ALLOWANCE,
    u_dial_mm: float | None = None,
) -> TraverseResult | SweepFailure:
    """Return parallelism and straightness of readings along a line.

    Parameters
    ----------
    place_mm, value_mm
        ``(n,)``, in the order taken; continuous or by stops, one way or there and back.
    sigma_mm
        Standard uncertainty of each reading, ``(n,)`` or one for all.
    t_s
        ``(n,)`` seconds; with it drift is told from the rise where the line was run back.
    u_place_mm
        Standard uncertainty of a place (k = 1).
    allowance, u_dial_mm
        What the readings cannot show; the dial's own on a difference, None while unchecked.

    Returns
    -------
    TraverseResult or SweepFailure
        A failure with fewer than three places, no length, a value that is not finite, half
        of a continuous run in slots, or 30 % of it at odds with the rest. Slots and
        outliers are left out of a continuous run; of stops none: the odd one is form.

    Examples
    --------
    >>> bar = traverse([0, 75, 150], [0.0, 0.003, 0.006], sigma_mm=0.0005)
    >>> round(bar.slope.over_mm(1000), 3), round(bar.slope.arcsec, 2)
    (0.04, 8.25)
    >>> round(bar.correction_mm(at_mm=150, pivot_mm=0), 4)
    -0.006
    """
    place, value, sigma = as_arrays(place_mm, value_mm, sigma_mm)
    time = None if t_s is None else np.array(t_s, dtype=np.float64)
    line = Line(place, value, sigma, time, u_place_mm)
    reason = _unusable(line)
    if reason is not None:
        return SweepFailure(reason)
    line, share = _clean(line)
    if share > _MOST_SLOTS:
        return SweepFailure(
            f"{share:.0%} of the run fell into slots or off the face: run beside them.",
            ("slots left out",),
        )
    try:
        fit = fit_line(line)
    except np.linalg.LinAlgError:
        return SweepFailure("These places cannot tell a slope from a level.")
    if fit.kept.mean() < 1 - MAX_OUTLIER_SHARE:
        left = int((~fit.kept).sum())
        return SweepFailure(
            f"{left} of {len(value)} readings contradict the others: clean the face and run again.",
            ("outliers left out",),
        )
    return _result(line, fit, allowance, u_dial_mm, share)


def _unusable(line: Line) -> str | None:
    place, value, time = line.place_mm, line.value_mm, line.t_s
    reason = unusable_places(place, value, line.sigma_mm, width=1, u_place_mm=line.u_place_mm)
    if reason is not None:
        return reason
    if time is not None and (time.shape != value.shape or not np.isfinite(time).all()):
        return "The times do not belong to the readings, or are not numbers."
    if len(place) > 1 and float(np.ptp(place)) <= 0:
        return "All readings are of one place: there is no length to judge over."
    places = distinct(place)
    if places < MIN_PLACES:
        return f"Only {places} place(s) were touched; a line needs {MIN_PLACES} or more."
    return None


def _clean(line: Line) -> tuple[Line, float]:
    """Return a continuous run without what fell into slots, and the share left out."""
    if not line.dense:
        return line, 0.0
    on = on_the_line(line.place_mm, line.value_mm)
    if on.all():
        return line, 0.0
    time = None if line.t_s is None else line.t_s[on]
    clean = replace(
        line,
        place_mm=line.place_mm[on],
        value_mm=line.value_mm[on],
        sigma_mm=line.sigma_mm[on],
        t_s=time,
    )
    return clean, 1.0 - float(on.mean())


def _result(
    line: Line,
    fit: Fitted[Linear],
    allowance: Allowance,
    u_dial_mm: float | None,
    left_out: float,
) -> TraverseResult:
    length, slope = line.length_mm, float(fit.beta[1])
    back = _return(line, fit)
    drift_line = _drift_line(line, fit, back, allowance)
    u_fit = sqrt(max(float(fit.covariance[1, 1]), 0.0)) * length
    lines = (
        BudgetLine("fit", u_fit, fit.dof, "scatter about the fitted line"),
        *_common_lines(line, slope * length, allowance, u_dial_mm),
        *drift_line,
    )
    budget = scaled(lines, BUDGET_LENGTH_MM / length)
    angle = slope_of(slope, budget)
    profile = profile_of(line, fit, _noise(line))
    form = _form(profile, allowance, u_dial_mm, line)
    named = dict(zip(fit.model.parameters, fit.beta.tolist(), strict=True))
    return TraverseResult(
        slope=angle,
        rise_mm=slope * length,
        u_rise_mm=angle.u_over_mm(length),
        near_mm=float(line.place_mm.min()),
        far_mm=float(line.place_mm.max()),
        level_mm=float(fit.beta[0]),
        parameters=fit.model.parameters,
        values=frozen(fit.beta),
        covariance=fit.covariance,
        n=int(fit.kept.sum()),
        dof=fit.dof,
        residuals_mm=fit.residuals_mm,
        kept=fit.kept,
        budget=budget,
        straightness_ls_mm=form.least_squares_mm,
        u_straightness_ls_mm=hypot(form.u_least_squares_mm, *(b.u_mm for b in form.budget[1:])),
        straightness_mz_mm=form.zone_mm,
        u_straightness_mz_mm=combine(form.budget).u_mm,
        straightness_budget=form.budget,
        parallelism_mm=float(np.ptp(profile.value_mm)),
        profile_place_mm=frozen(profile.place_mm),
        profile_mm=frozen(profile.value_mm),
        retrace_mm=named.get("retrace"),
        drift_mm=named.get("drift"),
        return_mm=back[0] if back is not None else None,
        flags=_flags(line, fit, form, u_dial_mm, bool(drift_line), left_out),
        message=f"{int(fit.kept.sum())} readings over {length:.0f} mm",
    )


def _common_lines(
    line: Line, size_mm: float, allowance: Allowance, u_dial_mm: float | None
) -> tuple[BudgetLine, ...]:
    """Return what touches any difference of readings along the line, in mm."""
    one_way = turning_point(line.place_mm) is None
    repeats = allowance.reader_common * float(np.median(line.sigma_mm)) if line.dense else 0.0
    reader = sqrt(2.0) * hypot(repeats, allowance.reader_floor_mm)
    retrace = Rectangular(allowance.retrace_mm * (1.0 if one_way else 0.5))
    dial = () if u_dial_mm is None else (BudgetLine("dial", u_dial_mm, inf, "its error table"),)
    return (
        BudgetLine("reader", reader, inf, "what repeats from picture to picture"),
        BudgetLine.of("retrace", retrace, note="one way" if one_way else "there and back"),
        *dial,
        *stated_lines(abs(size_mm), allowance),
    )


def _return(line: Line, fit: Fitted[Linear]) -> tuple[float, int] | None:
    """Return how stops repeat; a line run there and back tells retrace and drift instead."""
    if line.dense or turning_point(line.place_mm) is not None:
        return None
    return mean_return_mm(line.place_mm[:, None], fit.residuals_mm)


def _drift_line(
    line: Line, fit: Fitted[Linear], back: tuple[float, int] | None, allowance: Allowance
) -> tuple[BudgetLine, ...]:
    """Return a line for readings that did not come back and that no fit corrected."""
    if "drift" in fit.model.parameters or back is None:
        return ()
    u_back = float(np.median(line.sigma_mm)) * sqrt(2.0 / back[1])
    if abs(back[0]) <= hypot(3 * u_back, allowance.retrace_mm):
        return ()
    spread = Rectangular(abs(back[0]))
    return (BudgetLine.of("drift", spread, note="did not come back to its start"),)


def _noise(line: Line) -> float | None:
    return noise_between_neighbours_mm(line.value_mm) if line.dense else None


@dataclass(frozen=True, slots=True)
class _Form:
    least_squares_mm: float
    u_least_squares_mm: float
    zone_mm: float
    budget: tuple[BudgetLine, ...]

    @property
    def noise_mm(self) -> float:
        return self.budget[0].u_mm


def _form(profile: Profile, allowance: Allowance, u_dial_mm: float | None, line: Line) -> _Form:
    x = profile.place_mm - profile.place_mm.mean()
    rest = profile.value_mm - x * float(x @ profile.value_mm / (x @ x))
    high, low = int(np.argmax(rest)), int(np.argmin(rest))
    weights = -x * (x[high] - x[low]) / (x @ x)
    weights[high] += 1
    weights[low] -= 1
    zone = line_zone(x, profile.value_mm)
    noise = profile.u_mm(zone.width_weights)
    lines = (
        BudgetLine("fit", noise, inf, "scatter of the places that decide"),
        *_common_lines(line, zone.width_mm, allowance, u_dial_mm),
    )
    return _Form(float(np.ptp(rest)), profile.u_mm(weights), zone.width_mm, lines)


def _flags(
    line: Line,
    fit: Fitted[Linear],
    form: _Form,
    u_dial_mm: float | None,
    drifted: bool,
    left_out: float,
) -> tuple[str, ...]:
    one_way = turning_point(line.place_mm) is None
    raised = {
        "one way only": line.dense and one_way,
        "nothing to check by": len(line.value_mm) <= fit.model.size,
        "slots left out": left_out > 0,
        "outliers left out": not bool(fit.kept.all()),
        "return differs": drifted,
        "form within scatter": form.zone_mm < _NO_FORM * form.noise_mm,
        "dial unchecked": u_dial_mm is None,
    }
    return tuple(name for name, on in raised.items() if on)
