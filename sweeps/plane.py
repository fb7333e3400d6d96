"""The plane of a face from heights at places on it, by least squares and by minimum zone."""

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
from sweeps.linear import (
    Linear,
    as_arrays,
    fit_linear,
    frozen,
    layout_is_singular,
    mean_return_mm,
    unusable_places,
)
from sweeps.result import SweepFailure
from sweeps.robust import Fitted
from sweeps.slope import BUDGET_LENGTH_MM, Slope, scaled, slope_of
from sweeps.zone import Zone, plane_zone

MIN_PLACES = 3
_NO_FORM = 4.0
_PLANE = Linear(("level", "slope_x", "slope_y"), (1, 2))


@dataclass(frozen=True, slots=True, eq=False)
class PlaneResult:
    """The plane of a face, by least squares and by minimum zone. Lengths in mm, `u_…` k = 1.

    A slope is positive where the face rises to +X or +Y. `covariance` is the fit's, of
    (level in the middle of the places in mm, slope_x, slope_y in mm per mm); `budget_x`
    and `budget_y` are over 300 mm. Flatness is max - min about either plane; the skim that
    cleans a face levelled by that plane is as deep.
    """

    slope_x: Slope
    slope_y: Slope
    level_mm: float
    middle_mm: Float
    covariance: Float
    covariance_rad2: Float
    """``(2, 2)`` of the least-squares slopes, everything in it."""
    budget_x: tuple[BudgetLine, ...]
    budget_y: tuple[BudgetLine, ...]
    flatness_ls_mm: float
    zone_slope_x: float
    zone_slope_y: float
    zone_covariance_rad2: Float
    """``(2, 2)`` of the minimum zone's slopes: the places that decide, and what all share."""
    flatness_mz_mm: float
    u_flatness_mm: float
    flatness_budget: tuple[BudgetLine, ...]
    touching: tuple[int, ...]
    """Indices of the places that decide the minimum zone."""
    n: int
    dof: float
    residuals_mm: Float
    return_mm: float | None
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    def judge_flatness(self, tolerance_mm: float) -> Verdict:
        """Judge the minimum-zone flatness; scatter alone is never called "outside"."""
        total = combine(self.flatness_budget)
        found = verdict(self.flatness_mz_mm, total.u_mm, tolerance_mm, total.dof)
        if found.word == "outside" and "form within scatter" in self.flags:
            return Verdict("cannot tell", found.guard_mm, found.least_provable_mm)
        return found


def fit_plane(
    place_mm: ArrayLike,
    height_mm: ArrayLike,
    *,
    sigma_mm: ArrayLike,
    u_place_mm: float = 0.0,
    allowance: Allowance = DEFAULT_ALLOWANCE,
    u_dial_mm: float | None = None,
) -> PlaneResult | SweepFailure:
    """Return the plane of a face from heights at places on it.

    Parameters
    ----------
    place_mm, height_mm
        ``(n, 2)`` and ``(n,)``, n >= 3, in the order touched: X and Y on the part, and the
        reading of a dial looking down. A place touched again shows drift.
    sigma_mm
        Standard uncertainty of each reading, ``(n,)`` or one for all.
    u_place_mm, allowance, u_dial_mm
        As in `traverse`.

    Returns
    -------
    PlaneResult or SweepFailure
        A failure with fewer than three places, places on a line, or values that are not
        finite. No place is left out as an outlier: on a rough face the odd one is form.
    """
    place, height, sigma = as_arrays(place_mm, height_mm, sigma_mm)
    reason = unusable_places(place, height, sigma, width=2, u_place_mm=u_place_mm)
    if reason is None and len(height) < MIN_PLACES:
        reason = f"Only {len(height)} place(s) were touched; a plane needs {MIN_PLACES} or more."
    if reason is None and layout_is_singular(place):
        reason = "The places touched lie on a line or in one place: they fix no plane."
    if reason is not None:
        return SweepFailure(reason)
    middle = place.mean(axis=0)
    columns = np.column_stack([np.ones(len(height)), place - middle])
    fit = fit_linear(_PLANE, columns, height, sigma, u_place_mm, reject=False)
    return _plane(place, height, sigma, fit, allowance, u_dial_mm)


def _plane(
    place: Float,
    height: Float,
    sigma: Float,
    fit: Fitted[Linear],
    allowance: Allowance,
    u_dial_mm: float | None,
) -> PlaneResult:
    zone = plane_zone(place, height)
    back = mean_return_mm(place, fit.residuals_mm)
    drift = _drift_mm(back, sigma, allowance)
    spans = np.ptp(place, axis=0)
    budgets = [_slope_budget(fit, i, spans, allowance, u_dial_mm, drift) for i in (0, 1)]
    slopes = [
        slope_of(float(b), lines) for b, lines in zip(fit.beta[1:].tolist(), budgets, strict=True)
    ]
    common = np.diag([(combine(b[1:]).u_mm / BUDGET_LENGTH_MM) ** 2 for b in budgets])
    noise = sqrt(float(zone.width_weights**2 @ sigma**2))
    flatness = (
        BudgetLine("fit", noise, inf, "scatter of the places that decide"),
        *common_lines(zone.width_mm, allowance, u_dial_mm, drift),
    )
    return PlaneResult(
        slope_x=slopes[0],
        slope_y=slopes[1],
        level_mm=float(fit.beta[0]),
        middle_mm=frozen(place.mean(axis=0)),
        covariance=fit.covariance,
        covariance_rad2=fit.covariance[1:, 1:] + common,
        budget_x=budgets[0],
        budget_y=budgets[1],
        flatness_ls_mm=float(np.ptp(fit.residuals_mm)),
        zone_slope_x=float(zone.slopes[0]),
        zone_slope_y=float(zone.slopes[1]),
        zone_covariance_rad2=(zone.slope_weights * sigma**2) @ zone.slope_weights.T + common,
        flatness_mz_mm=zone.width_mm,
        u_flatness_mm=combine(flatness).u_mm,
        flatness_budget=flatness,
        touching=zone.touching,
        n=len(height),
        dof=fit.dof,
        residuals_mm=fit.residuals_mm,
        return_mm=back[0] if back is not None else None,
        flags=_flags(fit, zone, noise, drift, u_dial_mm),
        message=f"{len(height)} places",
    )


def _drift_mm(back: tuple[float, int] | None, sigma: Float, allowance: Allowance) -> float:
    """Return the return in mm where it is more than scatter and retrace explain, else 0."""
    if back is None:
        return 0.0
    u_back = float(np.median(sigma)) * sqrt(2.0 / back[1])
    return abs(back[0]) if abs(back[0]) > hypot(3 * u_back, allowance.retrace_mm) else 0.0


def common_lines(
    size_mm: float, allowance: Allowance, u_dial_mm: float | None, drift_mm: float
) -> tuple[BudgetLine, ...]:
    """Return what touches any difference of two heights, in mm."""
    lines = [
        BudgetLine("reader", sqrt(2.0) * allowance.reader_floor_mm, inf, "at two places"),
        BudgetLine.of(
            "retrace", Rectangular(allowance.retrace_mm), note="touched from either side"
        ),
    ]
    if u_dial_mm is not None:
        lines.append(BudgetLine("dial", u_dial_mm, inf, "its error table"))
    if drift_mm > 0:
        lines.append(BudgetLine.of("drift", Rectangular(drift_mm), note="did not come back"))
    return (*lines, *stated_lines(abs(size_mm), allowance))


def _slope_budget(
    fit: Fitted[Linear],
    index: int,
    spans: Float,
    allowance: Allowance,
    u_dial_mm: float | None,
    drift_mm: float,
) -> tuple[BudgetLine, ...]:
    slope, span = float(fit.beta[1 + index]), float(spans[index])
    u_fit = sqrt(max(float(fit.covariance[1 + index, 1 + index]), 0.0)) * BUDGET_LENGTH_MM
    factor = BUDGET_LENGTH_MM / max(span, 1e-9)
    common = common_lines(slope * span, allowance, u_dial_mm, drift_mm)
    return (
        BudgetLine("fit", u_fit, fit.dof, "scatter about the plane"),
        *scaled(common, factor),
    )


def _flags(
    fit: Fitted[Linear], zone: Zone, noise: float, drift: float, u_dial_mm: float | None
) -> tuple[str, ...]:
    raised = {
        "nothing to check by": len(fit.kept) <= MIN_PLACES,
        "return differs": drift > 0,
        "form within scatter": zone.width_mm < _NO_FORM * noise,
        "dial unchecked": u_dial_mm is None,
    }
    return tuple(name for name, on in raised.items() if on)
