"""Slots, holes and edges under a swept arm: stretches where the reading falls away."""

import numpy as np

from readings import Sweep
from sweeps.fourier import Float, harmonic_columns
from sweeps.overlap import distinct_places

_ORDER = 2
_UPPER_SHARE = 0.75
"""Quantile of the first curve: up to nearly so much of the turn may run over slots."""
_ROUNDS = 12
_LEAST_FALL_MM = 0.01
"""A shallower fall is the table's own form."""
_LEAST_FALL_STOP_MM = 0.03
"""Between a few stops only so much is a slot and not the table's form."""
_SIGMAS = 5.0
_EDGE_RAD = np.radians(1.0)
"""Taken off beside a slot: its broken edge and the ball's own roundness."""
_MIN_STOPS = 6
_SIDE = 3
"""Readings in which a slot's side is passed."""
_QUARTER = 0.3186
"""A quarter of normal scatter lies within so many sigmas; edges of slots touch it least."""


def on_the_face(sweep: Sweep) -> np.ndarray:
    """Return which samples stand on the face itself, ``(n,)`` bool.

    A low curve is laid along the upper part of the readings, fitted again to what lies on
    it, and what falls steeply below is left out, with a degree on either side.
    Readings above the curve, and a single one a little below it, are no slots and are kept.
    """
    n = len(sweep)
    stops = sweep.kind == "stops"
    order = 1 if stops else _ORDER
    kept = np.ones(n, dtype=bool)
    if (stops and distinct_places(sweep.angle_rad) < _MIN_STOPS) or n < 2 * (2 * order + 1) - 1:
        return kept
    columns = harmonic_columns(sweep.angle_rad, order)
    noise = float(np.median(sweep.sigma_mm)) if stops else scatter_mm(sweep.value_mm)
    least = max(_LEAST_FALL_STOP_MM if stops else _LEAST_FALL_MM, _SIGMAS * noise)
    fallen, rest = fallen_below(columns, sweep.value_mm, least)
    if stops:
        return ~fallen
    return ~_widened(sweep.angle_rad, _steep_sided(rest, fallen))


def on_the_line(place_mm: Float, value_mm: Float) -> np.ndarray:
    """Return which readings of a continuous run stand on the face itself, ``(n,)`` bool.

    A slot has steep sides: a hollow into which the reading comes down little by little is
    the face's own form and stays.
    """
    x = 2 * (place_mm - place_mm.min()) / np.ptp(place_mm) - 1
    columns = np.column_stack([np.ones(len(x)), x, x**2])
    least = max(_LEAST_FALL_STOP_MM, _SIGMAS * scatter_mm(value_mm))
    fallen, rest = fallen_below(columns, value_mm, least)
    return ~_steep_sided(rest, fallen)


def _steep_sided(rest: Float, fallen: np.ndarray) -> np.ndarray:
    """Return the falls whose sides are steep; a drift or a hollow comes down little by little.

    `rest` are the readings less the curve of those on the face.
    """
    result = fallen.copy()
    edges = np.flatnonzero(np.diff(fallen.astype(np.int8), prepend=0, append=0))
    for first, after in edges.reshape(-1, 2).tolist():
        deep = -float(np.median(rest[first:after]))
        steep = [_step(rest, edge) for edge in (first, after) if 0 < edge < len(rest)]
        result[first:after] = all(step >= deep / 2 for step in steep)
    return result


def _step(rest: Float, edge: int) -> float:
    """Return how far the reading goes within a few readings of an edge."""
    return float(np.ptp(rest[max(edge - _SIDE, 0) : edge + _SIDE]))


def scatter_mm(value_mm: Float) -> float:
    """Return the scatter from reading to reading; little moved by edges of slots."""
    if len(value_mm) < 8:
        return 0.0
    steps = np.abs(np.diff(value_mm, 3)) / np.sqrt(20.0)
    return float(np.quantile(steps, 0.25)) / _QUARTER


def fallen_below(columns: Float, value: Float, least_mm: float) -> tuple[np.ndarray, Float]:
    """Return which readings lie `least_mm` or more below the curve of those that do not.

    With them the readings less that curve.
    """
    none = np.zeros(len(value), dtype=bool)
    plain = value - columns @ np.linalg.lstsq(columns, value, rcond=None)[0]
    if float(plain.min()) > -least_mm / 2:
        return none, plain
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
    together = bool(np.any(fallen[1:] & fallen[:-1]))
    told = together or float(rest.min()) < -_LEAST_FALL_STOP_MM
    return (fallen if told else none), rest


def _upper_curve(columns: Float, value: Float) -> Float:
    """Return the coefficients of the upper quantile's curve (iteratively reweighted)."""
    beta = np.linalg.lstsq(columns, value, rcond=None)[0]
    beta[0] += float(np.quantile(value - columns @ beta, _UPPER_SHARE))
    tiny = 1e-3 * max(float(np.ptp(value)), 1e-9)
    for _ in range(2 * _ROUNDS):
        rest = value - columns @ beta
        pull = np.where(rest > 0, _UPPER_SHARE, 1 - _UPPER_SHARE)
        root = np.sqrt(pull / np.maximum(np.abs(rest), tiny))
        beta = np.linalg.lstsq(columns * root[:, None], value * root, rcond=None)[0]
    return np.asarray(beta)


def _widened(angle: Float, fallen: np.ndarray) -> np.ndarray:
    if not fallen.any():
        return fallen
    places = np.sort(angle[fallen])
    after = np.clip(np.searchsorted(places, angle), 0, len(places) - 1)
    before = np.clip(after - 1, 0, len(places) - 1)
    near = np.minimum(np.abs(places[after] - angle), np.abs(angle - places[before]))
    wide: np.ndarray = near <= _EDGE_RAD
    return wide
