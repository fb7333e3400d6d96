"""A least-squares fit that leaves outliers out and says how well it knows its answer."""

from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np
from scipy.special import chdtrc, ndtri

from readings.median import median
from sweeps.fourier import Float, Model

_HUBER = 1.345
_MIN_FOR_OUTLIERS = 12
"""Below this many samples an outlier cannot be told from form."""
_MIN_DOF_TO_SCALE = 8
"""Below this the scatter of the residuals says less than the stated sigma."""
_ROUNDS = 6
_CLOSE = 1e-6
_CONTRADICTED = 0.01
"""Few residuals overrule the stated sigma only where chance would do it once in a hundred."""


class Fittable(Protocol):
    """A curve linear in its parameters; places are angles ``(n,)`` or columns ``(n, size)``."""

    @property
    def size(self) -> int:
        """Number of parameters."""

    def solve(self, places: Float, values: Float, weight: Float, /) -> tuple[Float, Float]:
        """Return the weighted parameters and the inverse of the normal matrix."""

    def curve(self, places: Float, beta: Float, /) -> Float:
        """Return the curve in mm at these places, shape ``(n,)``."""

    def slope(self, places: Float, beta: Float, /) -> Float:
        """Return how the curve changes with place, mm per unit of its uncertainty."""


M = TypeVar("M", bound=Fittable)


@dataclass(frozen=True, slots=True, eq=False)
class Fitted(Generic[M]):
    """Result of `fit_model`.

    `covariance` is scaled by the residuals where `dof` is 8 or more; with fewer it holds
    the stated sigmas unless the residuals contradict them. `dof` is shortened where
    neighbouring residuals hang together, infinite where the stated sigmas decide.
    """

    model: M
    beta: Float
    covariance: Float
    kept: np.ndarray
    residuals_mm: Float
    scatter_mm: float
    dof: float

    def curve(self, angle_rad: Float) -> Float:
        """Return the fitted reading in mm at these angles."""
        return self.model.curve(angle_rad, self.beta)


RobustFit = Fitted[Model]
"""A fit of harmonics."""


def fit_model(
    model: M,
    angle_rad: Float,
    value_mm: Float,
    sigma_mm: Float,
    sigma_angle_rad: Float,
    *,
    reject: bool = True,
) -> Fitted[M]:
    """Fit `model` to n readings; all arrays have shape ``(n,)``.

    Minimises ``Σ w_i (y_i - f(θ_i))²`` with ``w = 1 / (σ² + (f' σ_θ)² + τ²)``, where τ is
    the surface's own scatter as found from the residuals. From twelve samples on,
    readings further than about 4.5 robust standard deviations are left out, unless
    `reject` is false: of a few still places the odd one is form.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the angles cannot carry the model.
    """
    variance = sigma_mm**2
    beta, inverse = model.solve(angle_rad, value_mm, 1.0 / variance)
    residuals = value_mm - model.curve(angle_rad, beta)
    if sigma_angle_rad.any():
        variance = variance + (model.slope(angle_rad, beta) * sigma_angle_rad) ** 2
    kept = np.ones(len(value_mm), dtype=bool)
    if reject:
        kept, residuals = _kept(model, angle_rad, value_mm, np.sqrt(variance), residuals)
    dof = int(kept.sum()) - model.size
    variance = variance + _surface_variance(residuals[kept], variance[kept], dof)
    if not kept.all() or np.ptp(variance) > 0:
        beta, inverse = model.solve(angle_rad[kept], value_mm[kept], 1.0 / variance[kept])
        residuals = value_mm - model.curve(angle_rad, beta)
    else:
        inverse = inverse * (variance[0] / sigma_mm[0] ** 2)
    scale, true_dof = _scale(residuals[kept], variance[kept], dof)
    scatter = float(np.sqrt(np.mean(residuals[kept] ** 2) * kept.sum() / max(dof, 1)))
    return Fitted(model, beta, inverse * scale, kept, residuals, scatter, true_dof)


def _robust_scale(standardised: Float, size: int) -> float:
    n = len(standardised)
    mad = 1.4826 * median(np.abs(standardised))
    return max(mad * float(np.sqrt(n / max(n - size, 1))), 0.05)


def _kept(
    model: Fittable, angle: Float, values: Float, sigma: Float, residuals: Float
) -> tuple[np.ndarray, Float]:
    """Return which samples are kept, and the residuals about the fit to those."""
    n, size = len(values), model.size
    kept = np.ones(n, dtype=bool)
    if n < max(_MIN_FOR_OUTLIERS, size + 4):
        return kept, residuals
    limit = max(4.5, float(ndtri(1 - 0.002 / n)))
    z = residuals / sigma
    if np.max(np.abs(z)) <= limit * _robust_scale(z, size):
        return kept, residuals
    z = _huber_residuals(model, angle, values, sigma, z)
    for _ in range(_ROUNDS):
        now = np.abs(z) <= limit * _robust_scale(z[kept], size)
        if now.sum() < size + 4 or (now == kept).all():
            break
        kept = now
        beta, _ = model.solve(angle[kept], values[kept], sigma[kept] ** -2)
        z = (values - model.curve(angle, beta)) / sigma
    return kept, z * sigma


def _huber_residuals(model: Fittable, angle: Float, values: Float, sigma: Float, z: Float) -> Float:
    for _ in range(_ROUNDS):
        bound = _HUBER * _robust_scale(z, model.size)
        weights = np.minimum(1.0, bound / np.maximum(np.abs(z), 1e-300)) / sigma**2
        beta, _ = model.solve(angle, values, weights)
        z = (values - model.curve(angle, beta)) / sigma
    return z


def _surface_variance(residuals: Float, variance: Float, dof: int) -> float:
    """Return τ² ≥ 0 so that ``Σ r² / (σ² + τ²)`` is the degrees of freedom.

    R. Paule and J. Mandel, J. Res. NBS 87 (1982) 377. Weighed, so that noisy readings that
    are stated to be noisy do not pass for a rough surface. Newton's steps on the sum's
    inverse, which is straight where all σ are alike.
    """
    if dof < _MIN_DOF_TO_SCALE:
        return 0.0
    square, found = residuals**2, 0.0
    for _ in range(_ROUNDS):
        inverse = 1.0 / (variance + found)
        total = float(square @ inverse)
        if total <= dof and found == 0.0:
            return 0.0
        step = (total / dof - 1.0) * total / float(square @ inverse**2)
        found = max(0.0, found + step)
        if abs(step) <= _CLOSE * found:
            break
    return found


def _scale(residuals: Float, variance: Float, dof: int) -> tuple[float, float]:
    if dof < 1:
        return 1.0, float("inf")
    found = float(np.sum(residuals**2 / variance)) / dof
    if dof < _MIN_DOF_TO_SCALE:
        contradicted = float(chdtrc(dof, found * dof)) < _CONTRADICTED
        return (found, float(dof)) if contradicted else (1.0, float("inf"))
    lengthening = _memory(residuals / np.sqrt(variance))
    return found * lengthening, max(dof / lengthening, 1.0)


def _memory(z: Float) -> float:
    """Return (1 + ρ)/(1 - ρ) for neighbours' correlation ρ, 1 where it is not significant."""
    power = float(z @ z)
    if power <= 0.0:
        return 1.0
    rho = float(z[1:] @ z[:-1]) / power
    if rho < 3.0 / np.sqrt(len(z)):
        return 1.0
    rho = min(rho, 0.95)
    return (1.0 + rho) / (1.0 - rho)
