"""The first harmonic of a sweep and everything that makes it uncertain."""

from dataclasses import dataclass
from math import hypot, inf, pi, sqrt

import numpy as np

from readings.median import median
from sweeps.allowance import Allowance
from sweeps.budget import BudgetLine
from sweeps.fourier import Float, form_covariance
from sweeps.overlap import turned_rad
from sweeps.retrace import retrace_drag_mm, retrace_loss_mm
from sweeps.robust import RobustFit
from sweeps.task import Task, one_way


@dataclass(frozen=True, slots=True, eq=False)
class FirstHarmonic:
    """The first harmonic and everything that touches it."""

    a1: float
    b1: float
    fit: Float
    reader_mm: float
    form: Float
    sideways: float
    lag_mm: float
    drag_mm: float
    loss_mm: float
    stated: tuple[BudgetLine, ...] = ()
    """What the allowance states of gain, temperature and repeatability."""

    @property
    def size(self) -> float:
        """Amplitude in mm."""
        return hypot(self.a1, self.b1)

    @property
    def retrace_mm(self) -> float:
        """What retrace does to the size: its loss, and its drag to second order."""
        return hypot(self.loss_mm, _sideways_on_size(self.size, self.drag_mm))

    def along(self, covariance: Float) -> float:
        """Return the size's uncertainty; the worst direction where the size is lost in it."""
        (xx, xy), (_, yy) = covariance.tolist()
        worst = (xx + yy) / 2 + hypot((xx - yy) / 2, xy)
        if self.size <= 3 * sqrt(max(worst, 0.0)):
            return sqrt(max(worst, 0.0))
        unit = np.array([self.a1, self.b1]) / self.size
        return sqrt(max(float(unit @ covariance @ unit), 0.0))


def first_harmonic(task: Task, fit: RobustFit) -> FirstHarmonic:
    """Return the first harmonic of a fit with its covariances."""
    a1, b1 = float(fit.beta[1]), float(fit.beta[2])
    size = hypot(a1, b1)
    common = 0.0 if task.stops else task.allowance.reader_common
    sigma = common * median(task.sweep.sigma_mm)
    reader = hypot(sigma, task.allowance.reader_floor_mm)
    form = form_covariance(task.angle_rad[fit.kept], fit.model.order, task.form_mm)
    dragged = one_way(task.sweep)
    drag = retrace_drag_mm(task.allowance.retrace_mm) / sqrt(3) if dragged else 0.0
    loss = retrace_loss_mm(size, task.allowance.retrace_mm) / sqrt(3)
    lag = size * _lag_rad(task) / sqrt(3) if dragged and not task.stops else 0.0
    return FirstHarmonic(
        a1,
        b1,
        fit.covariance[1:3, 1:3],
        reader,
        form,
        drag**2 + lag**2,
        lag,
        drag,
        loss,
        stated_lines(size, task.allowance),
    )


def _lag_rad(task: Task) -> float:
    span = float(task.sweep.t_s[-1] - task.sweep.t_s[0])
    return task.allowance.lag_s * turned_rad(task.sweep) / span if span > 0 else 0.0


def _sideways_on_size(size: float, sideways_mm: float) -> float:
    """Second-order effect on e of something at right angles to it: sqrt(e² + q²) - e."""
    return hypot(size, sideways_mm) - size


def budget_of(task: Task, fit: RobustFit, first: FirstHarmonic) -> tuple[BudgetLine, ...]:
    """Return what touches the eccentricity, line by line."""
    size = first.size
    lines = [
        BudgetLine("fit", first.along(first.fit), fit.dof, "scatter about the fitted curve"),
        BudgetLine("reader", first.reader_mm, inf, "what repeats from picture to picture"),
        BudgetLine("roundness", first.along(first.form), inf, "allowed lobes times their leak"),
        BudgetLine("retrace", first.retrace_mm, inf, "rest at each turn of the needle"),
        BudgetLine("lag", _sideways_on_size(size, first.lag_mm), inf, "dial against angle"),
    ]
    if task.u_dial_mm is not None:
        lines.append(BudgetLine("dial", task.u_dial_mm, inf, "its error table"))
    return (*lines, *first.stated)


GAIN = "lever gain"
RETURN = "return"
ARCS = "arcs"
STATED = (GAIN, "temperature", "repeatability", RETURN, ARCS)
"""Lines of the budget that no fit shows: a person states them, or a bad return or the arcs left
out betray them."""


def stated_lines(size_mm: float, allowance: Allowance) -> tuple[BudgetLine, ...]:
    """Return the budget lines of what is stated about the set-up, without those of nothing."""
    lines = (
        BudgetLine(GAIN, size_mm * allowance.u_gain, inf, "a known move, or a target's scale"),
        BudgetLine(STATED[1], allowance.temperature_mm, inf, "warmth between the readings"),
        BudgetLine(STATED[2], allowance.repeat_mm, inf, "set up anew"),
    )
    return tuple(line for line in lines if line.u_mm > 0)


def return_line(return_mm: float) -> BudgetLine:
    """Return what a reading that did not come back leaves open.

    A knock halfway round puts 2/π of its height into the first harmonic, a steady drift
    half of that; when it happened is not known, so the most is a half-width.
    """
    most = 2 * abs(return_mm) / pi
    return BudgetLine(RETURN, most / sqrt(3), inf, "a knock or drift on the way round")


def stated_covariance(a1: float, b1: float, lines: tuple[BudgetLine, ...]) -> Float:
    """Return the (2, 2) covariance in mm² of `stated_lines`: a gain errs along the offset alone."""
    along = sum(line.u_mm**2 for line in lines if line.name == GAIN)
    rest = sum(line.u_mm**2 for line in lines if line.name != GAIN)
    return directed_covariance(a1, b1, along, 0.0) + rest * np.eye(2)


def directed_covariance(a1: float, b1: float, along: float, across: float) -> Float:
    """Return the (2, 2) covariance of two variances, along (a1, b1) and at right angles."""
    size = hypot(a1, b1)
    if size == 0.0:
        return max(along, across) * np.eye(2)
    unit = np.array([a1, b1]) / size
    side = np.array([-unit[1], unit[0]])
    return along * np.outer(unit, unit) + across * np.outer(side, side)
