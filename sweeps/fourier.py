"""Least squares on sines and cosines: the arithmetic under every sweep.

Columns are ordered mean, cos θ, sin θ, cos 2θ, sin 2θ, … so that a lower order is the
leading part of a higher one. All functions are pure; arrays are not changed.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]

MAX_ORDER = 15
"""Undulations a turn kept, the longest-wave filter of ISO 12181 (1 to 15)."""
_WORST_CONDITION = 1e7


def harmonic_columns(angle_rad: Float, order: int) -> Float:
    """Return the design matrix, shape ``(n, 2 * order + 1)``.

    >>> harmonic_columns(np.array([0.0]), 2)
    array([[1., 1., 0., 1., 0.]])
    """
    columns = np.empty((2 * order + 1, len(angle_rad)))
    columns[0] = 1.0
    unit = np.exp(1j * np.asarray(angle_rad, dtype=np.float64))
    power = np.ones_like(unit)
    for k in range(1, order + 1):
        power = power * unit
        columns[2 * k - 1] = power.real
        columns[2 * k] = power.imag
    return columns.T


def parity_column(angle_rad: Float, order: int, start_rad: float) -> Float:
    """Return ``cos(order * (θ - start))``, all that evenly spaced stops see of that order."""
    return np.cos(order * (np.asarray(angle_rad) - start_rad))


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """Which columns are fitted: harmonics to `order`, and perhaps one parity column."""

    order: int
    parity_start_rad: float | None = None

    @property
    def size(self) -> int:
        """Number of parameters."""
        return 2 * self.order + 1 + (self.parity_start_rad is not None)

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names of the parameters in the order of the covariance."""
        names = ["mean"]
        for k in range(1, self.order + 1):
            names += [f"a{k}", f"b{k}"]
        if self.parity_start_rad is not None:
            names.append(f"parity{self.order + 1}")
        return tuple(names)

    def columns(self, angle_rad: Float) -> Float:
        """Return the design matrix at these angles, shape ``(n, size)``."""
        columns = harmonic_columns(angle_rad, self.order)
        if self.parity_start_rad is None:
            return columns
        extra = parity_column(angle_rad, self.order + 1, self.parity_start_rad)
        return np.column_stack([columns, extra])

    def slope_columns(self, angle_rad: Float) -> Float:
        """Return the derivative of each column by θ, shape ``(n, size)``."""
        columns = harmonic_columns(angle_rad, self.order)
        slope = np.zeros((len(columns), self.size))
        for k in range(1, self.order + 1):
            slope[:, 2 * k - 1] = -k * columns[:, 2 * k]
            slope[:, 2 * k] = k * columns[:, 2 * k - 1]
        if self.parity_start_rad is not None:
            top = self.order + 1
            slope[:, -1] = -top * np.sin(top * (angle_rad - self.parity_start_rad))
        return slope


def weighted_solution(columns: Float, values: Float, weights: Float) -> tuple[Float, Float]:
    """Return the weighted least-squares parameters and the inverse of the normal matrix.

    Minimises ``Σ w_i (y_i - X_i β)²``. Falls back from the normal equations to a QR
    decomposition where they are badly conditioned.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the columns are not independent at these angles.
    """
    weighted = columns * weights[:, None]
    normal = columns.T @ weighted
    inverse = np.linalg.inv(normal)
    if np.linalg.norm(normal, 1) * np.linalg.norm(inverse, 1) < _WORST_CONDITION:
        return np.asarray(inverse @ (weighted.T @ values)), np.asarray(inverse, dtype=np.float64)
    return _qr_solution(columns, values, np.sqrt(weights))


def _qr_solution(columns: Float, values: Float, root: Float) -> tuple[Float, Float]:
    q, r = np.linalg.qr(columns * root[:, None])
    if np.min(np.abs(np.diag(r))) < 1e-10 * np.max(np.abs(np.diag(r))):
        msg = "the columns are not independent"
        raise np.linalg.LinAlgError(msg)
    inverse_r = np.linalg.inv(r)
    beta: Float = inverse_r @ (q.T @ (values * root))
    inverse: Float = inverse_r @ inverse_r.T
    return beta, inverse


def leak_into_first(angle_rad: Float, order: int, omitted: int) -> Float:
    """Return how a lobe of an omitted order shows in (a1, b1), shape ``(2, 2)``.

    Columns: the omitted cosine and sine of unit amplitude. For four even stops and
    order 3 this is a rotation: three lobes fold wholly into the eccentricity.
    """
    columns = harmonic_columns(angle_rad, omitted)
    kept = columns[:, : 2 * order + 1]
    beta = np.linalg.lstsq(kept, columns[:, 2 * omitted - 1 :], rcond=None)[0]
    return np.asarray(beta[1:3], dtype=np.float64)


def form_covariance(angle_rad: Float, order: int, form_mm: list[float]) -> Float:
    """Return the (a1, b1) covariance in mm² from lobes that were not fitted.

    `form_mm[k]` is the amplitude allowed for order k; its phase is unknown, so each of
    cosine and sine carries half of its square.
    """
    total = np.zeros((2, 2))
    gram = normal_matrix(angle_rad, MAX_ORDER)
    size = 2 * order + 1
    try:
        leaks = np.linalg.solve(gram[:size, :size], gram[:size, size:])[1:3]
    except np.linalg.LinAlgError:
        return total
    for k in range(order + 1, MAX_ORDER + 1):
        leak = leaks[:, 2 * (k - order) - 2 : 2 * (k - order)]
        total += 0.5 * form_mm[k] ** 2 * leak @ leak.T
    return total


def normal_matrix(angle_rad: Float, order: int) -> Float:
    """Return XᵀX for harmonics to `order`, shape ``(2 * order + 1,) * 2``."""
    columns = harmonic_columns(angle_rad, order)
    normal: Float = columns.T @ columns
    return normal


def choose_order(angle_rad: Float, highest: int, noise_mm: float, form_mm: list[float]) -> int:
    """Return how many harmonics these angles carry.

    Balances the scatter that a further order lets through against the leak of the lobes
    left out. It looks at the angles alone, never at the readings, so the stated
    uncertainty stays honest. A whole turn carries all of them; a short arc one or two.
    """
    gram = normal_matrix(angle_rad, MAX_ORDER)
    costs = {k: _order_cost(gram, k, noise_mm, form_mm) for k in range(1, highest + 1)}
    least = min(costs.values())
    return max(k for k, cost in costs.items() if cost <= 1.1 * least + 1e-30)


def _order_cost(gram: Float, order: int, noise_mm: float, form_mm: list[float]) -> float:
    size = 2 * order + 1
    kept = gram[:size, :size]
    if np.linalg.cond(kept) > _WORST_CONDITION:
        return float("inf") if order > 1 else 1e9
    inverse = np.linalg.inv(kept)
    leaks = (inverse @ gram[:size, size:])[1:3]
    omitted = [form_mm[k] for k in range(order + 1, MAX_ORDER + 1) for _ in (0, 1)]
    leaked = 0.5 * float(np.sum((leaks * np.array(omitted)) ** 2)) if omitted else 0.0
    return noise_mm**2 * float(inverse[1, 1] + inverse[2, 2]) + leaked
