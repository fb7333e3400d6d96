"""A traverse along a face, a bar between centres or a vice jaw: parallelism and straightness."""

from dataclasses import dataclass
from math import hypot, inf, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from sweeps.allowance import DEFAULT_ALLOWANCE, Allowance
from sweeps.budget import BudgetLine, Verdict, combine, verdict
from sweeps.distributions import Rectangular
from sweeps.first import stated_lines
from sweeps.fourier import Float
from sweeps.linear import Linear, as_arrays, distinct, frozen, mean_return_mm, unusable_places
from sweeps.result import SweepFailure
from sweeps.robust import Fitted
from sweeps.slope import BUDGET_LENGTH_MM, Slope, scaled, slope_of
from sweeps.traverse_fit import (
    Line,
    Profile,
    fit_line,
    noise_between_neighbours_mm,
    profile_of,
    turning_point,
)
from sweeps.zone import line_zone

MIN_PLACES = 3
MAX_OUTLIER_SHARE = 0.3
_MANY = 200
_NO_FORM = 4.0
"""A form under so many of its own sigmas is what scatter alone would show."""


@dataclass(frozen=True, slots=True, eq=False)
class TraverseResult:
    """Numbers of one line of readings. Lengths in mm, `u_…` k = 1.

    `slope` is the rise of the reading over place, by least squares; a positive one comes
    nearer to the stylus with growing place. `covariance` is the fit's, of `values` in the
    order of `parameters` (level in the middle in mm, slope in mm per mm, then form,
    retrace and drift in mm where they were fitted). `budget` lists what touches the rise
    over 300 mm. Straightness is max - min about the least-squares line and about the
    minimum zone; `parallelism_mm` is max - min of the readings themselves, form included.
    """

    slope: Slope
    rise_mm: float
    """Of the fitted line over the length run."""
    u_rise_mm: float
    near_mm: float
    far_mm: float
    level_mm: float
    """Reading of the fitted line in the middle."""
    parameters: tuple[str, ...]
    values: Float
    covariance: Float
    n: int
    dof: float
    residuals_mm: Float
    kept: np.ndarray
    budget: tuple[BudgetLine, ...]
    straightness_ls_mm: float
    u_straightness_ls_mm: float
    straightness_mz_mm: float
    u_straightness_mz_mm: float
    straightness_budget: tuple[BudgetLine, ...]
    """Of the minimum zone."""
    parallelism_mm: float
    profile_place_mm: Float
    profile_mm: Float
    """(m,): readings by place, retrace and drift taken off, means of neighbours if many."""
    retrace_mm: float | None
    """Way there minus way back; None where it was run one way."""
    drift_mm: float | None
    """From first reading to last; None where it cannot be told from the rise."""
    return_mm: float | None
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    @property
    def length_mm(self) -> float:
        """Length run."""
        return self.far_mm - self.near_mm

    def line_mm(self, at_mm: float) -> float:
        """Return the fitted line's reading at a place, beyond the ends as well."""
        return self.level_mm + self.slope.rad * (at_mm - (self.near_mm + self.far_mm) / 2)

    def correction_mm(self, at_mm: float, pivot_mm: float) -> float:
        """Return by how much the work must come towards the stylus at one place, in mm.

        It is turned about a pivot where nothing moves; negative is away from the stylus.
        """
        return -self.slope.over_mm(at_mm - pivot_mm)

    def u_correction_mm(self, at_mm: float, pivot_mm: float) -> float:
        """Return the standard uncertainty in mm of `correction_mm`."""
        return self.slope.u_over_mm(at_mm - pivot_mm)

    def reading_when_right_mm(self, at_mm: float, pivot_mm: float) -> float:
        """Return the reading to bring the needle to at a place, its own form included."""
        shown = float(np.interp(at_mm, self.profile_place_mm, self.profile_mm))
        inside = min(max(at_mm, self.near_mm), self.far_mm)
        return self.line_mm(pivot_mm) + shown - self.line_mm(inside)

    def judge_straightness(self, tolerance_mm: float) -> Verdict:
        """Judge the minimum-zone straightness; scatter alone is never called "outside"."""
        total = combine(self.straightness_budget)
        found = verdict(self.straightness_mz_mm, total.u_mm, tolerance_mm, total.dof)
        if found.word == "outside" and "form within scatter" in self.flags:
            return Verdict("cannot tell", found.guard_mm, found.least_provable_mm)
        return found


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
        A failure with fewer than three places, no length, a value that is not finite, or
        over 30 % of the readings at odds with the rest.

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
    reason = _unusable(place, value, sigma, time)
    if reason is not None:
        return SweepFailure(reason)
    line = Line(place, value, sigma, time, u_place_mm)
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
    return _result(line, fit, allowance, u_dial_mm)


def _unusable(place: Float, value: Float, sigma: Float, time: Float | None) -> str | None:
    reason = unusable_places(place, value, sigma, width=1)
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


def _result(
    line: Line, fit: Fitted[Linear], allowance: Allowance, u_dial_mm: float | None
) -> TraverseResult:
    length, slope = line.length_mm, float(fit.beta[1])
    back = _return(line)
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
        flags=_flags(line, fit, form, u_dial_mm, bool(drift_line), allowance),
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


def _return(line: Line) -> tuple[float, int] | None:
    """Return how stops repeat; a line run there and back tells retrace and drift instead."""
    if len(line.value_mm) > _MANY or turning_point(line.place_mm) is not None:
        return None
    return mean_return_mm(line.place_mm[:, None], line.value_mm)


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
    noise = sqrt(float(zone.width_weights**2 @ profile.sigma_mm**2))
    lines = (
        BudgetLine("fit", noise, inf, "scatter of the places that decide"),
        *_common_lines(line, zone.width_mm, allowance, u_dial_mm),
    )
    u_ls = sqrt(float(weights**2 @ profile.sigma_mm**2))
    return _Form(float(np.ptp(rest)), u_ls, zone.width_mm, lines)


def _flags(
    line: Line,
    fit: Fitted[Linear],
    form: _Form,
    u_dial_mm: float | None,
    drifted: bool,
    allowance: Allowance,
) -> tuple[str, ...]:
    left = np.abs(fit.residuals_mm[~fit.kept])
    one_way = turning_point(line.place_mm) is None
    raised = {
        "one way only": line.dense and one_way,
        "nothing to check by": len(line.value_mm) <= fit.model.size,
        "outliers left out": len(left) > 0.03 * len(fit.kept)
        or bool(np.any(left > 3 * allowance.retrace_mm)),
        "return differs": drifted,
        "form within scatter": form.zone_mm < _NO_FORM * form.noise_mm,
        "dial unchecked": u_dial_mm is None,
    }
    return tuple(name for name, on in raised.items() if on)
