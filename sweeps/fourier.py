"""Least squares on sines and cosines: the arithmetic under every sweep.

Columns are ordered mean, cos θ, sin θ, cos 2θ, sin 2θ, … so that a lower order is the
leading part of a higher one. All functions are pure; arrays are not changed.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

MAX_ORDER = 15
"""Undulations a turn kept, the longest-wave filter of ISO 12181 (1 to 15)."""
_WORST_CONDITION = 1e7
_STEP = 8
"""Powers of one sample that are held at a time."""
_BLOCK = 8000
"""Complex numbers held in one piece: they fit a core's own cache, and are less than malloc
asks the system for anew each time."""
_ENOUGH_ANGLES = 1024
"""As many tell which harmonics angles carry."""


def harmonic_columns(angle_rad: Float, order: int) -> Float:
    """Return the design matrix, shape ``(n, 2 * order + 1)``.

    >>> harmonic_columns(np.array([0.0]), 2)
    array([[1., 1., 0., 1., 0.]])
    """
    columns = np.empty((2 * order + 1, len(angle_rad)))
    columns[0] = 1.0
    unit = unit_vectors(angle_rad)
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

    def curve(self, angle_rad: Float, beta: Float) -> Float:
        """Return the reading in mm at these angles, shape ``(n,)``."""
        total = harmonic_curve(angle_rad, beta[: 2 * self.order + 1])
        if self.parity_start_rad is not None:
            total += beta[-1] * parity_column(angle_rad, self.order + 1, self.parity_start_rad)
        return total

    def slope(self, angle_rad: Float, beta: Float) -> Float:
        """Return how the reading changes with θ, mm per rad, shape ``(n,)``."""
        total = harmonic_curve(angle_rad, _slope_coefficients(beta[: 2 * self.order + 1]))
        if self.parity_start_rad is not None:
            top = self.order + 1
            total -= beta[-1] * top * np.sin(top * (angle_rad - self.parity_start_rad))
        return total

    def solve(self, angle_rad: Float, value_mm: Float, weight: Float) -> tuple[Float, Float]:
        """Return the weighted least-squares parameters and the inverse of the normal matrix.

        Minimises ``Σ w_i (y_i - f(θ_i))²``. Normal equations from sums of powers of
        ``exp(iθ)``; a QR decomposition of the columns where they are badly conditioned.

        Raises
        ------
        numpy.linalg.LinAlgError
            If these angles cannot carry the model.
        """
        if self.parity_start_rad is None:
            sums, moments = harmonic_sums(angle_rad, (weight, weight * value_mm), 2 * self.order)
            normal = normal_from_sums(sums, self.order)
            right = right_side(moments)
            inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
            if condition(normal, inverse) < _WORST_CONDITION:
                return np.asarray(inverse @ right), inverse
        return qr_solution(self.columns(angle_rad), value_mm, np.sqrt(weight))


def harmonic_curve(angle_rad: Float, beta: Float) -> Float:
    """Return ``c0 + Σ a_n cos nθ + b_n sin nθ`` by Horner's rule in ``exp(iθ)``."""
    angle = np.asarray(angle_rad, dtype=np.float64)
    factors = (beta[1::2] - 1j * beta[2::2])[::-1].tolist()
    curve = np.empty(len(angle))
    for start in range(0, len(angle), _BLOCK):
        part = slice(start, start + _BLOCK)
        unit = unit_vectors(angle[part])
        total = np.zeros_like(unit)
        for factor in factors:
            total += factor
            total *= unit
        curve[part] = total.real
    curve += beta[0]
    return curve


def _slope_coefficients(beta: Float) -> Float:
    """Return the coefficients of the derivative: n b_n of the cosine, -n a_n of the sine."""
    pairs = beta[1:].reshape(-1, 2)
    order = np.arange(1, len(pairs) + 1)
    slope = np.column_stack([order * pairs[:, 1], -order * pairs[:, 0]])
    return np.append(0.0, slope.ravel())


def unit_vectors(angle_rad: Float) -> Complex:
    """Return ``exp(iθ)``."""
    unit = np.empty(len(angle_rad), dtype=np.complex128)
    np.cos(angle_rad, out=unit.real)
    np.sin(angle_rad, out=unit.imag)
    return unit


def harmonic_sums(angle_rad: Float, weights: tuple[Float, ...], highest: int) -> list[Complex]:
    """Return ``Σ w exp(i m θ)``, m = 0 … highest, for the first weights; half as far for others.

    Every power is a product of a small one and a large one, so one matrix product of the
    two lists has all the sums.
    """
    tops = [highest if k == 0 else highest // 2 for k in range(len(weights))]
    counts = [top // _STEP + 1 for top in tops]
    block = _BLOCK // _STEP
    total = np.zeros((sum(counts), _STEP), dtype=np.complex128)
    small = np.ones((_STEP, block), dtype=np.complex128)
    large = np.empty((sum(counts), block), dtype=np.complex128)
    for start in range(0, len(angle_rad), block):
        part = slice(start, start + block)
        stride = _powers(unit_vectors(angle_rad[part]), small)
        n, row = len(stride), 0
        for weight, count in zip(weights, counts, strict=True):
            large[row, :n] = weight[part]
            for j in range(row + 1, row + count):
                np.multiply(large[j - 1, :n], stride, out=large[j, :n])
            row += count
        total += large[:, :n] @ small[:, :n].T
    rows = np.split(total, np.cumsum(counts)[:-1])
    return [found.ravel()[: top + 1] for found, top in zip(rows, tops, strict=True)]


def _powers(unit: Complex, into: Complex) -> Complex:
    """Write the powers 0, 1, … of n unit vectors into rows; return the next power."""
    n = len(unit)
    for j in range(1, len(into)):
        np.multiply(into[j - 1, :n], unit, out=into[j, :n])
    return np.asarray(into[-1, :n] * unit)


def normal_from_sums(sums: Complex, order: int) -> Float:
    """Return XᵀWX, shape ``(2 * order + 1,) * 2``, from ``harmonic_sums`` to twice the order."""
    apart, together, sign, keep = _products(order)
    cos_cos = (sums.real[apart] + sums.real[together]) / 2
    sin_sin = (sums.real[apart] - sums.real[together]) / 2
    cos_sin = (sums.imag[together] + sign * sums.imag[apart]) / 2
    full = np.empty((order + 1, 2, order + 1, 2))
    full[:, 0, :, 0], full[:, 1, :, 1] = cos_cos, sin_sin
    full[:, 0, :, 1], full[:, 1, :, 0] = cos_sin, cos_sin.T
    return np.asarray(full.reshape(2 * order + 2, 2 * order + 2)[keep])


@cache
def _products(order: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, tuple[np.ndarray, ...]]:
    """Return where the sums stand that make the products of two orders, and what is kept."""
    k = np.arange(order + 1)
    keep = np.delete(np.arange(2 * order + 2), 1)
    apart, together = np.abs(k[:, None] - k[None, :]), k[:, None] + k[None, :]
    return apart, together, np.sign(k[None, :] - k[:, None]), np.ix_(keep, keep)


def right_side(sums: Complex) -> Float:
    """Return XᵀWy from ``harmonic_sums`` of the weighted readings."""
    pairs = np.column_stack([sums.real, sums.imag]).ravel()
    return np.delete(pairs, 1)


def condition(matrix: Float, inverse: Float) -> float:
    """Return the condition number in the 1-norm."""
    return float(np.abs(matrix).sum(axis=0).max() * np.abs(inverse).sum(axis=0).max())


def qr_solution(columns: Float, values: Float, root: Float) -> tuple[Float, Float]:
    """Return weighted least squares by QR and the inverse normal matrix; `root` is sqrt(w).

    Raises
    ------
    numpy.linalg.LinAlgError
        If the columns are not independent.
    """
    q, r = np.linalg.qr(columns * root[:, None])
    if np.min(np.abs(np.diag(r))) < 1e-10 * np.max(np.abs(np.diag(r))):
        msg = "the columns are not independent"
        raise np.linalg.LinAlgError(msg)
    inverse_r = np.linalg.inv(r)
    beta: Float = inverse_r @ (q.T @ (values * root))
    inverse: Float = inverse_r @ inverse_r.T
    return beta, inverse


def form_covariance(angle_rad: Float, order: int, form_mm: list[float]) -> Float:
    """Return the (a1, b1) covariance in mm² from lobes that were not fitted.

    `form_mm[k]` is the amplitude allowed for order k; its phase is unknown, so each of
    cosine and sine carries half of its square.
    """
    total = np.zeros((2, 2))
    if order >= MAX_ORDER:
        return total
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
    (sums,) = harmonic_sums(angle_rad, (np.ones(len(angle_rad)),), 2 * order)
    return normal_from_sums(sums, order)


def choose_order(angle_rad: Float, highest: int, noise_mm: float, form_mm: list[float]) -> int:
    """Return how many harmonics these angles carry.

    Balances the scatter that a further order lets through against the leak of the lobes
    left out. It looks at the angles alone, never at the readings, so the stated
    uncertainty stays honest. A whole turn carries all of them; a short arc one or two.
    """
    some = angle_rad[:: max(1, len(angle_rad) // _ENOUGH_ANGLES)]
    gram = normal_matrix(some, MAX_ORDER) * (len(angle_rad) / len(some))
    if highest == MAX_ORDER and _first_scatter(gram) < 1.1 * 4 / len(angle_rad):
        return highest
    costs = {k: _order_cost(gram, k, noise_mm, form_mm) for k in range(1, highest + 1)}
    least = min(costs.values())
    return max(k for k, cost in costs.items() if cost <= 1.1 * least + 1e-30)


def _first_scatter(gram: Float) -> float:
    """Return the variance of a1 and b1 together for unit noise; 4/n at best."""
    try:
        inverse = np.linalg.inv(gram)
    except np.linalg.LinAlgError:
        return float("inf")
    return float(inverse[1, 1] + inverse[2, 2]) if inverse[1, 1] > 0 < inverse[2, 2] else np.inf


def _order_cost(gram: Float, order: int, noise_mm: float, form_mm: list[float]) -> float:
    size = 2 * order + 1
    kept = gram[:size, :size]
    try:
        inverse = np.asarray(np.linalg.inv(kept), dtype=np.float64)
    except np.linalg.LinAlgError:
        return float("inf") if order > 1 else 1e9
    if condition(kept, inverse) > _WORST_CONDITION:
        return float("inf") if order > 1 else 1e9
    leaks = (inverse @ gram[:size, size:])[1:3]
    omitted = [form_mm[k] for k in range(order + 1, MAX_ORDER + 1) for _ in (0, 1)]
    leaked = 0.5 * float(np.sum((leaks * np.array(omitted)) ** 2)) if omitted else 0.0
    return noise_mm**2 * float(inverse[1, 1] + inverse[2, 2]) + leaked
