"""Was the stylus on the work and within the dial's travel? Found from the samples alone.

A clipped sweep fits a smaller eccentricity than is there and looks healthy. Its mark is a
needle that rests while the angle goes on, at a level that the rest of the turn says it
should have passed.
"""

from dataclasses import dataclass

import numpy as np

from readings import Sweep
from readings.median import median
from sweeps.allowance import RETRACE_MM
from sweeps.fourier import Float, harmonic_columns

_MIN_REST_RAD = np.radians(18.0)
_TRAVEL_MARGIN = 0.0125
"""Share of the taught travel at either end that is not to be trusted: one part in eighty."""
_LEAST_LOSS_MM = 1.3 * RETRACE_MM
"""Retrace alone makes a rest at either turn of the needle that loses up to itself."""
_LEAST_LOSS_TRAVEL_KNOWN_MM = 3 * RETRACE_MM
"""Where the travel is known its ends are watched as well, so a small rest is no alarm."""
_END_SHARE = 0.2
"""Share of a known travel at either end in which a rest means what it looks like; a needle
that rests in mid travel is on the work, and the work is round and true there."""
_GAP_RAD = np.radians(5.0)
_BAND = 6.0
"""Width of a rest in sigmas of the scatter from sample to sample."""
_LONG_REST_RAD = np.radians(80.0)
_LONG_REST_BANDS = 60.0
"""No smooth curve of few lobes lies within a sixtieth of its height for 80 degrees."""
_SMOOTH_MM = 0.0003
"""Misfit of the low orders that is put down to the surface."""
_STILL = 1.3
"""A turn whose readings scatter by less than this many reader sigmas is a needle at rest."""
_FIT_ORDERS = (1, 2, 3, 4)
OFF, END = "stylus off the work", "end of travel"


@dataclass(frozen=True, slots=True)
class _Rest:
    inside: np.ndarray
    level_mm: float
    span_rad: float


def detect_clipped(sweep: Sweep, travel_mm: tuple[float, float] | None = None) -> tuple[str, ...]:
    """Return the flags "stylus off the work" and "end of travel", or none.

    Parameters
    ----------
    sweep
        n samples in time order.
    travel_mm
        The dial's taught travel (low, high), None where it is not known. Readings within
        one part in eighty of its ends are not trusted.

    Notes
    -----
    A flat top is told from a round one by fitting low orders to the rest of the turn and
    looking how far above the flat they run. Losses below the retrace of a dial are left
    to the budget.
    """
    flags = _near_ends(sweep.value_mm, travel_mm)
    if sweep.kind == "turn" and len(sweep) >= 12:
        least = _LEAST_LOSS_MM if travel_mm is None else _LEAST_LOSS_TRAVEL_KNOWN_MM
        flags |= _resting(sweep, least, travel_mm)
    return tuple(sorted(flags))


def _near_ends(value_mm: Float, travel_mm: tuple[float, float] | None) -> set[str]:
    if travel_mm is None or len(value_mm) == 0:
        return set()
    low, high = travel_mm
    margin = _TRAVEL_MARGIN * (high - low)
    flags = {OFF} if np.min(value_mm) <= low + margin else set()
    return flags | ({END} if np.max(value_mm) >= high - margin else set())


def _resting(sweep: Sweep, least_mm: float, travel_mm: tuple[float, float] | None) -> set[str]:
    angle, value = sweep.angle_rad, sweep.value_mm
    if np.any(angle[1:] < angle[:-1]):
        order = np.argsort(angle, kind="stable")
        angle, value = angle[order], value[order]
    if angle[-1] - angle[0] < 4 * _MIN_REST_RAD:
        return set()
    low_end, high_end = _rest_ends(travel_mm)
    if np.std(value) <= _STILL * median(sweep.sigma_mm):
        return {OFF} if median(value) <= low_end else set()
    noise = max(_noise(sweep.value_mm), 1e-7)
    gap = max(_GAP_RAD, 4.0 * median(np.diff(angle)))
    low = np.min(value) <= low_end and _clipped_side(angle, value, noise, least_mm, gap)
    high = np.max(value) >= high_end and _clipped_side(angle, -value, noise, least_mm, gap)
    return ({OFF} if low else set()) | ({END} if high else set())


def _rest_ends(travel_mm: tuple[float, float] | None) -> tuple[float, float]:
    """Return the readings below and above which a rest is one at an end of the travel."""
    if travel_mm is None:
        return np.inf, -np.inf
    share = _END_SHARE * (travel_mm[1] - travel_mm[0])
    return travel_mm[0] + share, travel_mm[1] - share


def _noise(value_mm: Float) -> float:
    """Return the scatter from sample to sample, free of the curve (third differences)."""
    third = np.diff(value_mm, 3)
    return float(1.4826 * median(np.abs(third)) / np.sqrt(20.0))


def _clipped_side(
    angle: Float, value: Float, noise: float, least_mm: float, gap_rad: float
) -> bool:
    band = _BAND * noise
    rest = _lowest_rest(angle, value, band, gap_rad)
    if rest is None:
        return False
    if rest.span_rad > _LONG_REST_RAD and np.ptp(value) > _LONG_REST_BANDS * band:
        return True
    loss, sigma = _loss(angle, value, rest, noise)
    return loss > max(least_mm, 5.0 * sigma, 4.0 * noise)


def _lowest_rest(angle: Float, value: Float, band: float, gap_rad: float) -> _Rest | None:
    inside = value <= np.min(value) + band
    spans = _seen_spans(angle, inside, gap_rad)
    if spans.sum() < _MIN_REST_RAD or np.max(spans) < 0.5 * _MIN_REST_RAD:
        return None
    return _Rest(inside, median(value[inside]), float(spans.sum()))


def _seen_spans(angle: Float, inside: np.ndarray, gap_rad: float) -> Float:
    """Return the angle of each run inside; what a hand hid is not seen and ends a run."""
    at = np.flatnonzero(inside)
    steps = np.diff(angle[at])
    together = (np.diff(at) == 1) & (steps <= gap_rad)
    run = np.cumsum(~together)
    return np.bincount(run, np.where(together, steps, 0.0), minlength=1).astype(np.float64)


def _loss(angle: Float, value: Float, rest: _Rest, noise: float) -> tuple[float, float]:
    """Return how far below the rest the remaining turn says the curve ran, and its sigma."""
    outside = ~rest.inside & _apart_from_top(value, rest.level_mm)
    best = (0.0, np.inf)
    for order in _FIT_ORDERS:
        if outside.sum() < 2 * (2 * order + 1):
            break
        loss, sigma, scatter = _loss_of_order(angle, value, rest, outside, order)
        best = (loss, sigma)
        if scatter < 2.0 * noise + _SMOOTH_MM:
            break
    return best


def _apart_from_top(value: Float, low: float) -> np.ndarray:
    """Leave a flat top out too, so that a sweep clipped at both ends is seen at each."""
    top = float(np.max(value))
    keep: np.ndarray = value < top - 0.03 * (top - low)
    return keep


def _loss_of_order(
    angle: Float, value: Float, rest: _Rest, outside: np.ndarray, order: int
) -> tuple[float, float, float]:
    columns = harmonic_columns(angle, order)
    beta, _, _, singular = np.linalg.lstsq(columns[outside], value[outside], rcond=None)
    residual = value[outside] - columns[outside] @ beta
    scatter = float(np.sqrt(residual @ residual / max(len(residual) - len(beta), 1)))
    if singular[-1] < 1e-6 * singular[0]:
        return 0.0, np.inf, scatter
    across = columns[rest.inside].mean(axis=0)
    inverse = np.linalg.inv(columns[outside].T @ columns[outside])
    sigma = scatter * float(np.sqrt(across @ inverse @ across))
    return rest.level_mm - float(across @ beta), sigma, scatter
