"""Slots, holes and edges under a swept arm: stretches where the reading falls away."""

import numpy as np

from readings import Sweep
from sweeps.fourier import Float, harmonic_columns
from sweeps.overlap import distinct_places

_ORDER = 2
_UPPER_SHARE = 0.75
"""Quantile of the first curve: up to nearly so much of the turn may run over slots."""
_ROUNDS = 12
_LEAST_FALL_MM = 0.003
"""A shallower fall is the table's own form."""
_LEAST_FALL_STOP_MM = 0.03
"""Between a few stops only so much is a slot and not the table's form."""
_SIGMAS = 5.0
_EDGE_RAD = np.radians(1.0)
"""Taken off beside a slot: its broken edge and the ball's own roundness."""
_MIN_STOPS = 6


def on_the_face(sweep: Sweep) -> np.ndarray:
    """Return which samples stand on the face itself, ``(n,)`` bool.

    A low curve is laid along the upper part of the readings, fitted again to what lies on
    it, and what falls below is left out, with a degree on either side of each stretch.
    Readings above the curve, and single ones below it, are no slots and are kept.
    """
    n = len(sweep)
    stops = sweep.kind == "stops"
    order = 1 if stops else _ORDER
    kept = np.ones(n, dtype=bool)
    if (stops and distinct_places(sweep.angle_rad) < _MIN_STOPS) or n < 2 * (2 * order + 1) - 1:
        return kept
    columns = harmonic_columns(sweep.angle_rad, order)
    noise = float(np.median(sweep.sigma_mm)) if stops else _noise_mm(sweep.value_mm)
    least = max(_LEAST_FALL_STOP_MM if stops else _LEAST_FALL_MM, _SIGMAS * noise)
    fallen = _fallen(columns, sweep.value_mm, least)
    return ~fallen if stops else ~_widened(sweep.angle_rad, _stretches(fallen))


def _noise_mm(value_mm: Float) -> float:
    if len(value_mm) < 8:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(value_mm, 3))) / np.sqrt(20.0))


def _fallen(columns: Float, value: Float, least_mm: float) -> np.ndarray:
    rest = value - columns @ _upper_curve(columns, value)
    fallen: np.ndarray = rest < -least_mm
    for _ in range(_ROUNDS):
        on = ~fallen
        if on.sum() < columns.shape[1] + 2:
            break
        beta = np.linalg.lstsq(columns[on], value[on], rcond=None)[0]
        rest = value - columns @ beta
        spread = 1.4826 * float(np.median(np.abs(rest[on])))
        now: np.ndarray = rest < -max(least_mm, _SIGMAS * spread)
        if (now == fallen).all():
            break
        fallen = now
    return fallen


def _upper_curve(columns: Float, value: Float) -> Float:
    """Return the coefficients of the upper quantile's curve (iteratively reweighted)."""
    beta = np.linalg.lstsq(columns, value, rcond=None)[0]
    beta[0] += float(np.quantile(value - columns @ beta, _UPPER_SHARE))
    tiny = 1e-3 * max(float(np.ptp(value)), 1e-9)
    for _ in range(4 * _ROUNDS):
        rest = value - columns @ beta
        pull = np.where(rest > 0, _UPPER_SHARE, 1 - _UPPER_SHARE)
        root = np.sqrt(pull / np.maximum(np.abs(rest), tiny))
        beta = np.linalg.lstsq(columns * root[:, None], value * root, rcond=None)[0]
    return np.asarray(beta)


def _stretches(fallen: np.ndarray) -> np.ndarray:
    """Leave single samples alone: a smeared picture is an outlier, not a slot."""
    beside = np.zeros_like(fallen)
    beside[1:] |= fallen[:-1]
    beside[:-1] |= fallen[1:]
    together: np.ndarray = fallen & beside
    return together


def _widened(angle: Float, fallen: np.ndarray) -> np.ndarray:
    if not fallen.any():
        return fallen
    places = np.sort(angle[fallen])
    after = np.clip(np.searchsorted(places, angle), 0, len(places) - 1)
    before = np.clip(after - 1, 0, len(places) - 1)
    near = np.minimum(np.abs(places[after] - angle), np.abs(angle - places[before]))
    wide: np.ndarray = near <= _EDGE_RAD
    return wide
