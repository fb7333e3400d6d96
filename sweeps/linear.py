"""Straight lines and planes through readings at places, robust, with honest sigmas."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sweeps.fourier import Float, qr_solution
from sweeps.robust import Fitted, fit_model

_SIGMA_FLOOR_MM = 1e-9
_SAME_PLACE = 0.01
"""Share of the length within which two places are one."""

_FLATTEST = 0.05
"""Least width of places or supports as a share of their length: below, they are a line."""


@dataclass(frozen=True, slots=True)
class Linear:
    """A curve linear in its parameters; `columns` take the place of angles in `fit_model`.

    `along` are the parameters that are slopes over place, in mm per mm.
    """

    parameters: tuple[str, ...]
    along: tuple[int, ...]

    @property
    def size(self) -> int:
        """Number of parameters."""
        return len(self.parameters)

    def solve(self, columns: Float, value_mm: Float, weight: Float) -> tuple[Float, Float]:
        """Return the weighted parameters and the inverse of the normal matrix."""
        return qr_solution(columns, value_mm, np.sqrt(weight))

    def curve(self, columns: Float, beta: Float) -> Float:
        """Return the fitted readings in mm, shape ``(n,)``."""
        return np.asarray(columns @ beta)

    def slope(self, columns: Float, beta: Float) -> Float:
        """Return the steepest rise in mm per mm, the same at each place, shape ``(n,)``."""
        return np.full(len(columns), float(np.linalg.norm(beta[list(self.along)])))


def fit_linear(
    model: Linear,
    columns: Float,
    value_mm: Float,
    sigma_mm: Float,
    u_place_mm: float,
    *,
    reject: bool,
) -> Fitted[Linear]:
    """Fit n readings by `columns` of shape ``(n, size)``; `reject` leaves outliers out.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the places cannot carry the model.
    """
    scale = np.maximum(np.linalg.norm(columns, axis=0), 1e-300)
    if np.linalg.svd(columns / scale, compute_uv=False)[-1] < 1e-6:
        msg = "the places do not carry the model"
        raise np.linalg.LinAlgError(msg)
    u_place = np.full(len(value_mm), u_place_mm)
    return fit_model(model, columns, value_mm, sigma_mm, u_place, reject=reject)


def as_arrays(place_mm: ArrayLike, value_mm: ArrayLike, sigma_mm: ArrayLike) -> tuple[Float, ...]:
    """Return places, readings and sigmas as float arrays; one sigma serves all readings."""
    place = np.array(place_mm, dtype=np.float64)
    value = np.array(value_mm, dtype=np.float64)
    sigma = np.maximum(np.array(sigma_mm, dtype=np.float64), _SIGMA_FLOOR_MM)
    sigma = np.where(np.asarray(sigma_mm) < 0, np.nan, sigma)
    return place, value, np.full(len(value), sigma) if sigma.ndim == 0 else sigma


def unusable_places(
    place: Float, value: Float, sigma: Float, *, width: int, u_place_mm: float = 0.0
) -> str | None:
    """Return why readings at places give no number, None where they can.

    `width` is 1 for places along a line, shape ``(n,)``, and 2 for places on a face.
    """
    shape = (len(value),) if width == 1 else (len(value), width)
    if value.ndim != 1 or place.shape != shape or sigma.shape != value.shape:
        return "The columns of places and readings have different lengths."
    if not all(np.isfinite(each).all() for each in (place, value, sigma)):
        return "A place, a reading or its uncertainty is not a number, or is negative."
    if not (np.isfinite(u_place_mm) and u_place_mm >= 0):
        return "The uncertainty of a place must be a length, zero or more."
    return None


def distinct(place: Float) -> int:
    """Return how many places along a line are apart by a hundredth of its length or more."""
    ordered = np.sort(place)
    span = float(np.ptp(ordered)) if len(ordered) else 0.0
    if span <= 0:
        return min(len(ordered), 1)
    return 1 + int(np.count_nonzero(np.diff(np.round(ordered / (_SAME_PLACE * span)))))


def mean_return_mm(place: Float, residual: Float) -> tuple[float, int] | None:
    """Return (mean difference later minus earlier in mm, pairs) of places touched again.

    `place` is ``(n, d)`` in the order of touching, `residual` what a fit leaves of the
    readings; a place within a hundredth of the whole span of an earlier one is the same.
    """
    span = float(np.linalg.norm(np.ptp(place, axis=0)))
    steps = []
    for i in range(1, len(place)):
        apart = np.linalg.norm(place[:i] - place[i], axis=1)
        first = int(np.argmin(apart))
        if apart[first] < _SAME_PLACE * span:
            steps.append(float(residual[i] - residual[first]))
    return (float(np.mean(steps)), len(steps)) if steps else None


def frozen(array: ArrayLike) -> Float:
    """Return a read-only copy."""
    copy = np.array(array, dtype=np.float64)
    copy.flags.writeable = False
    return copy


def layout_is_singular(supports_mm: Float) -> bool:
    """Whether places ``(m, 2)`` lie so nearly on a line that they fix no plane."""
    spread = np.linalg.svd(supports_mm - supports_mm.mean(axis=0), compute_uv=False)
    return bool(spread[1] <= _FLATTEST * max(float(spread[0]), 1e-300))
