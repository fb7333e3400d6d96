"""What a sweep says, and what it says when it says nothing."""

from dataclasses import dataclass
from typing import Literal, NoReturn

import numpy as np

from readings import Sense, SparehandError, Surface
from sweeps.budget import BudgetLine, Combined, Verdict, combine, verdict
from sweeps.fourier import Float, Model


class UnusableResultError(SparehandError):
    """A number was taken from a fit that failed."""


@dataclass(frozen=True, slots=True)
class Harmonic:
    """One order of the reading: ``amplitude * cos(order * θ - phase)``; phase in (-180, 180]."""

    order: int
    amplitude_mm: float
    phase_deg: float


@dataclass(frozen=True, slots=True)
class SweepFailure:
    """Readings that give no number. It is false, says why, and raises when used as a number.

    Asked for anything but its reason and flags it raises `UnusableResultError`.

    >>> bool(SweepFailure("Too short."))
    False
    """

    reason: str
    flags: tuple[str, ...] = ()

    def __bool__(self) -> Literal[False]:
        return False

    def __getattr__(self, name: str) -> NoReturn:
        if name.startswith("_"):
            raise AttributeError(name)
        msg = f"this sweep gives no {name}: {self.reason}"
        raise UnusableResultError(msg)


@dataclass(frozen=True, slots=True, eq=False)
class SweepResult:
    """Numbers of one sweep. Lengths in mm, `u_…` k = 1.

    The reading is fitted as ``r(θ) = c0 + Σ a_n cos nθ + b_n sin nθ``. `covariance` is the
    fit's, of `values_mm`, both in the order of `parameters`. `u_eccentricity_mm` holds fit
    and reader; `budget` lists everything that touches the eccentricity, `u_total_mm`
    combines it. `u_offset_mm` is the full (x, y) covariance in mm², the dial's error
    included where it is known. With fewer than eight places `tir_mm` is raw maximum
    minus minimum, the least the true one can be.
    """

    parameters: tuple[str, ...]
    values_mm: Float
    covariance: Float
    n: int
    dof: float
    residuals_mm: Float
    """(m,): of all samples within the fit's span, those left out included."""
    kept: np.ndarray
    places: int
    mean_mm: float
    a1_mm: float
    b1_mm: float
    eccentricity_mm: float
    u_eccentricity_mm: float
    u_dial_mm: float | None
    u_total_mm: float
    dof_total: float
    budget: tuple[BudgetLine, ...]
    first_covariance: Float
    """(2, 2) covariance of (a1, b1) in mm², without retrace and lag."""
    sideways_variance: float
    """Variance in mm² at right angles to (a1, b1) from retrace and lag of a one-way sweep."""
    surface: Surface | None
    diameter_mm: float | None
    tip_radius_mm: float
    offset_x_mm: float | None
    offset_y_mm: float | None
    u_offset_mm: Float | None
    high_spot_deg: float
    tir_mm: float
    tir_raw_mm: float
    u_tir_mm: float
    harmonics: tuple[Harmonic, ...]
    geometry: tuple[float, float]
    """(mean, lobe) in mm that the offset itself puts into the reading; zeros if unknown."""
    ovality_mm: float | None
    """Amplitude of two lobes with geometry's own removed; None where the diameter is unknown."""
    return_mm: float | None
    opposite_sum_mm: float | None
    start_rad: float
    """Smallest angle that was used."""
    turn_deg: float
    sense: Sense | None
    flags: tuple[str, ...]
    message: str
    model: Model

    def __bool__(self) -> Literal[True]:
        return True

    def curve_mm(self, theta_rad: float | Float) -> Float:
        """Return the fitted reading in mm at the angles θ, same shape as `theta_rad`."""
        theta = np.atleast_1d(np.asarray(theta_rad, dtype=np.float64))
        curve = self.model.curve(theta.ravel(), self.values_mm)
        return np.asarray(curve.reshape(np.shape(theta_rad)))

    def shape_mm(self, theta_rad: float | Float) -> Float:
        """Return the reading to expect at θ once the offset is gone: mean plus orders >= 2.

        What the offset itself adds to mean and second order is taken off where the
        diameter is known.
        """
        theta = np.asarray(theta_rad, dtype=np.float64)
        first = self.a1_mm * np.cos(theta) + self.b1_mm * np.sin(theta)
        high = np.radians(self.high_spot_deg)
        mean, lobe = self.geometry
        shape = self.curve_mm(theta) - first - mean - lobe * np.cos(2 * (theta - high))
        return np.asarray(shape)

    def judge(self, tolerance_mm: float) -> Verdict:
        """Judge the eccentricity against a tolerance; three places can never say "inside"."""
        return judge_places(self.eccentricity_mm, self.combined, tolerance_mm, self.places)

    @property
    def combined(self) -> Combined:
        """Everything in the budget."""
        return combine(self.budget)


MIN_PLACES_TO_PROVE = 4


def judge_places(value_mm: float, total: Combined, tolerance_mm: float, places: int) -> Verdict:
    """Return the verdict, withholding "inside" where too few places were touched."""
    found = verdict(value_mm, total.u_mm, tolerance_mm, total.dof)
    if found.word == "inside" and places < MIN_PLACES_TO_PROVE:
        return Verdict("cannot tell", found.guard_mm, float("inf"))
    return found


def offset_geometry(
    eccentricity_mm: float, surface: Surface | None, diameter_mm: float | None, tip_radius_mm: float
) -> tuple[float, float] | None:
    """Return (mean, second lobe) that an offset e puts into the reading by geometry, in mm.

    The stylus' centre runs on a circle of radius R - ρ in a bore, R + ρ on a boss:
    ``±e cos - e²/4R' (1 - cos 2)`` of distance, read with the bore's sign. The lobe lies
    along the high spot. None where surface or diameter are not known; zeros on a face.
    """
    if surface == "face":
        return 0.0, 0.0
    if surface is None or diameter_mm is None:
        return None
    inward = surface == "bore"
    radius = diameter_mm / 2 + (-tip_radius_mm if inward else tip_radius_mm)
    part = eccentricity_mm**2 / (4 * radius)
    return (part, -part) if inward else (-part, part)
