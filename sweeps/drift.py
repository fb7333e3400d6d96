"""A steady drift (a spindle head warming, a stand creeping), found where a turn repeats itself.

Drift and harmonics are told apart only by places touched twice; without them a ramp looks
like an offset of a third of what it climbs in a turn.
"""

from dataclasses import dataclass, replace
from math import sqrt
from typing import Literal

import numpy as np
from scipy.special import chdtrc

from readings import Sweep, frozen_array
from sweeps.fourier import Float, Model
from sweeps.overlap import MIN_OVERLAP_RAD, TURN_RAD, distinct_places
from sweeps.result import SweepFailure
from sweeps.robust import fit_model
from sweeps.task import unusable

_HIGHEST = 7
_FLOOR_MM = 1e-9
_MIN_DOF, _CONTRADICTED = 8, 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """A steady drift; `u_rate_mm_per_s` is k = 1.

    `offset_by_rate` is what one mm/s of drift left in would put into (a1, b1), in seconds:
    times `u_rate_mm_per_s` it is the uncertainty that taking it out leaves there.
    """

    rate_mm_per_s: float
    u_rate_mm_per_s: float
    dof: float
    offset_by_rate_s: Float
    over_turn_mm: float
    """How far the reading drifted over the whole sweep."""

    def __bool__(self) -> Literal[True]:
        return True

    @property
    def u_first_mm(self) -> float:
        """Standard uncertainty that the drift leaves in the eccentricity, at most."""
        return self.u_rate_mm_per_s * float(np.hypot(*self.offset_by_rate_s))

    @property
    def significant(self) -> bool:
        """Whether it stands out of its uncertainty by three."""
        return abs(self.rate_mm_per_s) > 3 * self.u_rate_mm_per_s


def drift_of(sweep: Sweep) -> Drift | SweepFailure:
    """Return the steady drift of a sweep, fitted together with its harmonics.

    Returns
    -------
    Drift or SweepFailure
        Least squares on harmonics and time at once, outliers left out. A failure as
        `fit_turn` has them, or where nothing was touched twice: a turn must overlap itself
        by ten degrees, stops must come back to one at least.
    """
    reason = unusable(sweep) or _unrepeated(sweep)
    if reason is not None:
        return SweepFailure(reason, sweep.flags)
    angle, value = sweep.angle_rad, sweep.value_mm
    sigma = np.maximum(sweep.sigma_mm, _FLOOR_MM)
    time = sweep.t_s - float(np.mean(sweep.t_s))
    model = Model(max(1, min(_HIGHEST, (distinct_places(angle) - 1) // 2)))
    try:
        kept, rate, gain, rest = _together(model, angle, value, sigma, time)
    except np.linalg.LinAlgError:
        return SweepFailure("These angles cannot tell a drift from an offset.", sweep.flags)
    dof = int(kept.sum()) - model.size - 1
    weight = sigma[kept] ** -2
    power = float(np.sum(weight * rest.time**2))
    scatter = float(np.sum(weight * rest.value**2)) / dof if dof > 0 else 1.0
    scale, dof_told = _scale(scatter, dof)
    u_rate = sqrt(scale / power)
    return Drift(rate, u_rate, dof_told, gain, rate * float(np.ptp(sweep.t_s)))


def _scale(scatter: float, dof: int) -> tuple[float, float]:
    """Return what the stated variances are multiplied by: few residuals must contradict them."""
    believed = dof >= _MIN_DOF or (dof > 0 and float(chdtrc(dof, scatter * dof)) < _CONTRADICTED)
    return (scatter, float(dof)) if believed else (1.0, np.inf)


@dataclass(frozen=True, slots=True, eq=False)
class _Rest:
    time: Float
    value: Float


def _together(
    model: Model, angle: Float, value: Float, sigma: Float, time: Float
) -> tuple[np.ndarray, float, Float, _Rest]:
    """Fit harmonics and a slope in time at once (Frisch and Waugh), outliers left out.

    Twice: outliers are judged after a first slope has been taken off.
    """
    kept, rate = np.ones(len(angle), dtype=bool), 0.0
    for _ in range(2):
        weight = sigma[kept] ** -2
        in_time, _ = model.solve(angle[kept], time[kept], weight)
        in_value, _ = model.solve(angle[kept], value[kept], weight)
        own = time[kept] - model.curve(angle[kept], in_time)
        power = float(np.sum(weight * own**2))
        if power <= 1e-12 * float(np.sum(weight * time[kept] ** 2)):
            msg = "time is a harmonic of these angles"
            raise np.linalg.LinAlgError(msg)
        left = value[kept] - model.curve(angle[kept], in_value)
        rate = float(np.sum(weight * own * left)) / power
        rest = _Rest(own, left - rate * own)
        found = kept
        again = fit_model(model, angle, value - rate * time, sigma, np.zeros(len(angle)))
        kept = again.kept
        if (kept == found).all():
            break
    return found, rate, np.asarray(in_time[1:3]), rest


def _unrepeated(sweep: Sweep) -> str | None:
    if np.ptp(sweep.t_s) <= 0:
        return "All samples carry one time: a drift cannot be told."
    if sweep.kind == "stops":
        return None if distinct_places(sweep.angle_rad) < len(sweep) else _NO_RETURN
    travelled = float(np.ptp(sweep.angle_rad))
    back = np.diff(sweep.angle_rad)
    turned_back = min(float(back[back > 0].sum()), float(-back[back < 0].sum()))
    repeats = travelled >= TURN_RAD + MIN_OVERLAP_RAD or turned_back >= MIN_OVERLAP_RAD
    return None if repeats else _NO_RETURN


_NO_RETURN = (
    "Nothing was touched twice, so a drift cannot be told from an offset: go on ten degrees "
    "beyond the turn, or return to the first stop."
)


def without_drift(sweep: Sweep) -> tuple[Sweep, Drift] | SweepFailure:
    """Return the sweep with its steady drift taken out, and the drift.

    What taking it out leaves uncertain is `Drift.u_first_mm`: add it to
    `Allowance.temperature_mm` for the fit.

    Returns
    -------
    (Sweep, Drift) or SweepFailure
        The flag "drift taken out" is added. A failure as `drift_of` has them.
    """
    found = drift_of(sweep)
    if not found:
        return found
    time = sweep.t_s - float(np.mean(sweep.t_s))
    value = frozen_array(sweep.value_mm - found.rate_mm_per_s * time)
    flags = tuple(dict.fromkeys((*sweep.flags, "drift taken out")))
    return replace(sweep, value_mm=value, flags=flags), found
