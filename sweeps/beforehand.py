"""What a sweep that is still to be made can prove at best: said before anybody starts."""

from dataclasses import dataclass, replace
from math import inf, isfinite, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from readings import Sweep, frozen_array
from sweeps.allowance import DEFAULT_ALLOWANCE, Allowance
from sweeps.budget import BudgetLine, combine, coverage_factor
from sweeps.first import budget_of, first_harmonic
from sweeps.result import MIN_PLACES_TO_PROVE, SweepFailure
from sweeps.retrace import retrace_loss_mm
from sweeps.task import Task, fit_task, unusable

_ONE_WAY_ONLY = ("retrace", "lag")


@dataclass(frozen=True, slots=True)
class Forecast:
    """The budget to expect and the least eccentricity tolerance it can prove (mm).

    `least_provable_mm` is infinite where too few places are planned to prove anything.
    """

    budget: tuple[BudgetLine, ...]
    u_mm: float
    dof: float
    least_provable_mm: float
    places: int

    def __bool__(self) -> Literal[True]:
        return True

    def can_prove(self, tolerance_mm: float) -> bool:
        """Whether a work that is as true as can be would be called inside this tolerance."""
        return tolerance_mm >= self.least_provable_mm


def forecast(
    angle_rad: ArrayLike,
    sigma_mm: float,
    *,
    kind: Literal["turn", "stops"] = "turn",
    both_ways: bool = False,
    at_mm: float = 0.0,
    sigma_angle_rad: float = 0.0,
    seconds: float = 20.0,
    allowance: Allowance = DEFAULT_ALLOWANCE,
    u_dial_mm: float | None = None,
    probability: float = 0.95,
) -> Forecast | SweepFailure:
    """Return the least this dial could prove with these places.

    Parameters
    ----------
    angle_rad
        ``(n,)`` angles to be touched, in order; one way's where `both_ways`.
    sigma_mm
        Standard uncertainty of one reading.
    kind, both_ways, sigma_angle_rad, seconds
        Turn or stops; whether a second turn comes back; how well the angles are known; how
        long a turn takes.
    at_mm
        Eccentricity at which the budget is wanted; nothing, for the least tolerance.
    allowance, u_dial_mm
        As for the sweep itself.

    Returns
    -------
    Forecast or SweepFailure
        The sweep's own budget with the stated sigma in place of the scatter. A failure where
        such a sweep would be refused, or a figure is not a number.
    """
    angle = np.asarray(angle_rad, dtype=np.float64)
    if not all(isfinite(v) and v >= 0 for v in (sigma_mm, at_mm, sigma_angle_rad, seconds)):
        return SweepFailure("A figure of the forecast is below zero or not a number.")
    n = len(angle)
    sweep = Sweep(
        t_s=frozen_array(np.linspace(0.0, seconds, n)),
        value_mm=frozen_array(at_mm * np.cos(angle)),
        sigma_mm=frozen_array(np.full(n, sigma_mm)),
        angle_rad=frozen_array(angle),
        sigma_angle_rad=frozen_array(np.full(n, sigma_angle_rad)),
        sense=None,
        kind=kind,
    )
    reason = unusable(sweep)
    if reason is not None:
        return SweepFailure(reason)
    task = Task(sweep, None, None, 0.0, allowance, u_dial_mm)
    try:
        lines = _lines(task, at_mm)
    except np.linalg.LinAlgError:
        return SweepFailure("These angles cannot tell an offset from a constant.")
    budget = _of_two_turns(lines, at_mm, allowance) if both_ways else lines
    places = len(task.angle_rad) if kind == "stops" else n
    total = combine(budget)
    proves = places >= MIN_PLACES_TO_PROVE
    least = coverage_factor(probability, total.dof) * total.u_mm if proves else inf
    return Forecast(budget, total.u_mm, total.dof, least, places)


def _lines(task: Task, at_mm: float) -> tuple[BudgetLine, ...]:
    """Return the sweep's budget, its fit as the stated sigmas alone would have it."""
    fit = fit_task(task)
    angle = task.angle_rad
    slope = at_mm * np.sin(angle)
    sigma = task.sweep.sigma_mm[task.data]
    variance = sigma**2 + (slope * task.sweep.sigma_angle_rad[task.data]) ** 2
    inverse = fit.model.solve(angle, task.value_mm, 1.0 / np.maximum(variance, 1e-18))[1]
    beta = fit.beta.copy()
    beta[1:3] = at_mm, 0.0
    stated = replace(fit, beta=beta, covariance=inverse, dof=inf)
    return budget_of(task, stated, first_harmonic(task, stated))


def _of_two_turns(
    lines: tuple[BudgetLine, ...], at_mm: float, allowance: Allowance
) -> tuple[BudgetLine, ...]:
    """Return the mean's budget: the fit halves its variance, drag and lag fall out."""
    loss = retrace_loss_mm(at_mm, allowance.retrace_mm) / sqrt(3)
    kept = [line for line in lines if line.name not in _ONE_WAY_ONLY]
    halved = [
        replace(line, u_mm=line.u_mm / sqrt(2)) if line.name == "fit" else line for line in kept
    ]
    return (*halved, BudgetLine("retrace", loss, inf, "rest at each turn of the needle"))
