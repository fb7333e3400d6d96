"""How far from nothing a point in the plane may be: sizes that can not be below zero.

An offset's length is no normal quantity near zero: noise alone makes it positive. So the
probability is taken over the disc, for a normal point with any mean and covariance.
"""

from math import asin, hypot, inf, isfinite, pi

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri, fdtri, ndtr

from sweeps.budget import Verdict
from sweeps.fourier import Float

_AT, _WEIGHT = np.polynomial.legendre.leggauss(96)
_REACH = 8.0
_LINE = 1e-6
"""A spread that is less than this share of the one across it makes a point on a line."""


def radial_probability(radius: float, mean: Float, covariance: Float) -> float:
    """Return P(|X| <= radius) for X normal in the plane with (2,) mean and (2, 2) covariance.

    >>> round(radial_probability(2.4477, np.zeros(2), np.eye(2)), 3)
    0.95
    """
    return _held(radius, *_principal(mean, covariance))


def _principal(mean: Float, covariance: Float) -> tuple[float, float, float, float]:
    """Return the mean and spreads along the narrow and the wide axis: m, m, σ, σ."""
    variance, axes = np.linalg.eigh(np.asarray(covariance, dtype=np.float64))
    across, along = np.sqrt(np.maximum(variance, 0.0)).tolist()
    off, centre = (axes.T @ np.asarray(mean, dtype=np.float64)).tolist()
    return off, centre, across, along


def _held(radius: float, off: float, centre: float, across: float, along: float) -> float:
    if radius <= 0:
        return 0.0
    if along <= 0:
        return float(hypot(off, centre) <= radius)
    if across < _LINE * along:
        return _on_line(radius, off, centre, along)
    low, high = max(-radius, off - _REACH * across), min(radius, off + _REACH * across)
    if low >= high:
        return 0.0
    start, end = asin(low / radius), asin(high / radius)
    t = start + (end - start) * (_AT + 1) / 2
    half = radius * np.cos(t)
    density = np.exp(-0.5 * ((radius * np.sin(t) - off) / across) ** 2)
    inner = ndtr((half - centre) / along) - ndtr((-half - centre) / along)
    total = float(_WEIGHT @ (density * inner * half)) * (end - start) / 2
    return float(min(total / (across * (2 * pi) ** 0.5), 1.0))


def _on_line(radius: float, off: float, centre: float, along: float) -> float:
    """Return the probability for a point that wanders on a line `off` from the middle."""
    if abs(off) >= radius:
        return 0.0
    half = (radius**2 - off**2) ** 0.5
    return float(ndtr((half - centre) / along) - ndtr((-half - centre) / along))


def radial_quantile(probability: float, mean: Float, covariance: Float) -> float:
    """Return the radius that holds X with this probability.

    >>> round(radial_quantile(0.95, np.zeros(2), np.eye(2)), 4)
    2.4477
    """
    off, centre, across, along = _principal(mean, covariance)
    size = hypot(off, centre)
    if along == 0:
        return size
    top = size + _REACH * along
    return float(
        brentq(
            lambda radius: _held(radius, off, centre, across, along) - probability,
            max(size - _REACH * along, 0.0),
            top,
            xtol=1e-7 * top,
        )
    )


def widened(covariance: Float, dof: float, probability: float = 0.95) -> Float:
    """Return the covariance made as much wider as few degrees of freedom ask for.

    Exact for a point about nothing whose one variance was found with `dof`: its squared
    distance is 2 F(2, dof) instead of χ²(2).
    """
    if not isfinite(dof):
        return np.asarray(covariance, dtype=np.float64)
    factor = 2 * fdtri(2, dof, probability) / chdtri(2, 1 - probability)
    return np.asarray(factor * np.asarray(covariance), dtype=np.float64)


def measured_verdict(
    point: Float,
    covariance: Float,
    radius: float,
    dof: float = inf,
    probability: float = 0.95,
) -> Verdict:
    """Judge a measured point against a circle about nothing, with three answers.

    "inside" where the circle holds the truth with the probability, "outside" where a truth
    on the circle, on the point's own side, would hardly ever be measured so far out.
    `guard_mm` is how much further than the point the truth may be, `least_provable_mm` the
    smallest radius that a point at nothing could be proven inside of.
    """
    wide = widened(covariance, dof, probability)
    size = float(np.hypot(*point))
    bound = radial_quantile(probability, point, wide)
    least = radial_quantile(probability, np.zeros(2), wide)
    if bound <= radius:
        return Verdict("inside", bound - size, least)
    on_circle = radius * np.asarray(point) / size if size > 0 else np.zeros(2)
    out = size > radius and radial_probability(size, on_circle, wide) >= probability
    return Verdict("outside" if out else "cannot tell", bound - size, least)


def predicted_verdict(
    mean: Float,
    covariance: Float,
    radius: float,
    dof: float = inf,
    probability: float = 0.95,
) -> Verdict:
    """Judge a point that is still to come by whether it will lie within the circle.

    "inside" and "outside" where the one or the other is as probable as asked.
    """
    wide = widened(covariance, dof, probability)
    bound = radial_quantile(probability, mean, wide)
    least = radial_quantile(probability, np.zeros(2), wide)
    guard = bound - float(np.hypot(*mean))
    if bound <= radius:
        return Verdict("inside", guard, least)
    out = radial_probability(radius, mean, wide) <= 1 - probability
    return Verdict("outside" if out else "cannot tell", guard, least)
