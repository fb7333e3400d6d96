"""What is to be fitted: which samples are data, which harmonics the angles carry."""

from dataclasses import dataclass
from math import degrees, hypot
from typing import get_args

import numpy as np

from readings import Surface, Sweep
from readings.median import median
from sweeps.allowance import Allowance
from sweeps.fourier import MAX_ORDER, Float, Model, choose_order
from sweeps.overlap import TURN_RAD, distinct_places, first_turn, turned_rad
from sweeps.robust import RobustFit, fit_model

MIN_ARC_RAD = TURN_RAD / 3
MIN_PLACES = 3
LARGEST_MM = 1e5
"""No shop measures further; beyond, a unit is wrong."""
LARGEST_TURNS = 1000.0
_SIGMA_FLOOR_MM = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """One sweep with what is known about it."""

    sweep: Sweep
    surface: Surface | None
    diameter_mm: float | None
    tip_radius_mm: float
    allowance: Allowance
    u_dial_mm: float | None

    @property
    def stops(self) -> bool:
        """Whether each sample is a still place."""
        return self.sweep.kind == "stops"

    @property
    def form_mm(self) -> list[float]:
        """Amplitude allowed for each order, index = order."""
        return [0.0] + [self.allowance.form_mm(k) for k in range(1, MAX_ORDER + 1)]

    @property
    def data(self) -> np.ndarray | slice:
        """Which samples are data: all of a turn, the first turn's stops."""
        return first_turn(self.sweep) if self.stops else slice(None)

    @property
    def angle_rad(self) -> Float:
        """Angles of the data."""
        return np.asarray(self.sweep.angle_rad[self.data])

    @property
    def value_mm(self) -> Float:
        """Readings of the data."""
        return np.asarray(self.sweep.value_mm[self.data])


def malformed(sweep: Sweep) -> str | None:
    """Return why the columns of a sweep are no readings at angles, None where they are."""
    arrays = (sweep.t_s, sweep.value_mm, sweep.sigma_mm, sweep.angle_rad, sweep.sigma_angle_rad)
    if any(np.ndim(a) != 1 for a in arrays) or len({len(a) for a in arrays}) != 1:
        return "The sweep's columns have different lengths, or are no columns."
    if not all(np.isfinite(a).all() for a in arrays):
        return "A reading, an angle or its uncertainty is not a number."
    if np.any(sweep.sigma_mm < 0) or np.any(sweep.sigma_angle_rad < 0):
        return "An uncertainty is negative."
    if len(sweep) and max(np.abs(sweep.value_mm).max(), sweep.sigma_mm.max()) > LARGEST_MM:
        return f"A reading of over {LARGEST_MM:g} mm is none of a dial."
    if len(sweep) and np.abs(sweep.angle_rad).max() > LARGEST_TURNS * TURN_RAD:
        return f"An angle of over {LARGEST_TURNS:g} turns is none of a sweep."
    return None


def unusable(sweep: Sweep) -> str | None:
    """Return why a sweep can give no offset, None where it can."""
    reason = malformed(sweep)
    if reason is not None:
        return reason
    places = distinct_places(sweep.angle_rad)
    if places < MIN_PLACES:
        return f"Only {places} place(s) were touched; an offset needs {MIN_PLACES} or more."
    arc = turned_rad(sweep)
    if arc < MIN_ARC_RAD:
        return f"Only {degrees(arc):.0f} degrees were swept; an offset needs 120 or more."
    return None


def unusable_sizes(
    surface: Surface | None,
    diameter_mm: float | None,
    tip_radius_mm: float,
    travel_mm: tuple[float, float] | None,
    u_dial_mm: float | None,
) -> str | None:
    """Return why what is stated about a sweep cannot be, None where it can."""
    if surface is not None and surface not in get_args(Surface):
        return f"There is no surface {surface!r}; there are {', '.join(get_args(Surface))}."
    if not 0 < tip_radius_mm < LARGEST_MM:
        return "The radius of the stylus tip must be a length over zero."
    least = 2 * tip_radius_mm if surface == "bore" else 0.0
    if diameter_mm is not None and not least < diameter_mm < LARGEST_MM:
        return f"The diameter is {diameter_mm:g} mm: it must be a length over {least:g} mm."
    if travel_mm is not None and not -LARGEST_MM < travel_mm[0] < travel_mm[1] < LARGEST_MM:
        return "The dial's travel must be two readings, the lower one first."
    if u_dial_mm is not None and not 0 <= u_dial_mm < LARGEST_MM:
        return "The dial's own uncertainty must be a length, zero or more."
    return None


def fit_task(task: Task) -> RobustFit:
    """Fit the harmonics that the angles carry.

    Raises
    ------
    numpy.linalg.LinAlgError
        If they do not even carry the first.
    """
    angle = task.angle_rad
    sigma = np.maximum(task.sweep.sigma_mm[task.data], _SIGMA_FLOOR_MM)
    model = _stop_model(angle, task) if task.stops else _turn_model(angle, sigma, task)
    return fit_model(model, angle, task.value_mm, sigma, task.sweep.sigma_angle_rad[task.data])


def _turn_model(angle: Float, sigma: Float, task: Task) -> Model:
    places = distinct_places(angle)
    highest = max(1, min(MAX_ORDER, (places - 3) // 2, (len(angle) - 1) // 4))
    noise = hypot(median(sigma), task.allowance.roughness_mm)
    return Model(choose_order(angle, highest, noise, task.form_mm))


def _stop_model(angle: Float, task: Task) -> Model:
    n = len(angle)
    step = TURN_RAD / n
    if not np.allclose(np.diff(np.sort(angle)), step, atol=0.02 * step):
        highest = max(1, min(MAX_ORDER, (n - 1) // 2))
        return Model(choose_order(angle, highest, task.allowance.roughness_mm, task.form_mm))
    if n % 2:
        return Model(min(MAX_ORDER, (n - 1) // 2))
    order = n // 2 - 1
    return Model(order, float(angle[0])) if order < MAX_ORDER else Model(MAX_ORDER)


def one_way(sweep: Sweep) -> bool:
    """Whether the angle went one way: under a tenth of the way was turned back."""
    steps = np.diff(sweep.angle_rad)
    there, back = float(steps[steps > 0].sum()), float(-steps[steps < 0].sum())
    return min(there, back) < 0.1 * max(there, back)
