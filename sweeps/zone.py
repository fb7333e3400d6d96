"""Minimum zones: the thinnest band between two parallel lines or planes that holds all points.

Widths are measured along the reading, as the dial does; the slopes are small.
"""

from dataclasses import dataclass

import numpy as np

from sweeps.fourier import Float
from sweeps.minimax import smallest_zone

_NOTHING = 1e-12
"""Share of the heights that is no more than their rounding."""


@dataclass(frozen=True, slots=True, eq=False)
class Zone:
    """A minimum zone.

    Attributes
    ----------
    width_mm
        Least max - min of ``h - slopes · place``.
    slopes
        ``(d,)`` in mm per mm, d = 1 for a line and 2 for a plane.
    width_weights
        ``(n,)``: how the width changes with each reading, to first order.
    slope_weights
        ``(d, n)``: the same of the slopes in 1/mm; for a plane no more than an estimate
        where more points than needed touch the zone.
    touching
        Indices of the points that decide.
    """

    width_mm: float
    slopes: Float
    width_weights: Float
    slope_weights: Float
    touching: tuple[int, ...]


def lower_hull(x: Float, h: Float) -> list[int]:
    """Return the indices of the lower convex hull from left to right (monotone chain)."""
    hull: list[int] = []
    for i in np.lexsort((h, x)).tolist():
        if hull and x[i] == x[hull[-1]]:
            continue
        while len(hull) > 1 and _not_below(x, h, hull[-2], hull[-1], i):
            hull.pop()
        hull.append(i)
    return hull


def _not_below(x: Float, h: Float, a: int, b: int, c: int) -> bool:
    return bool((h[b] - h[a]) * (x[c] - x[a]) >= (h[c] - h[a]) * (x[b] - x[a]))


def edges_at(x: Float, hull: list[int], at: float) -> list[tuple[int, int] | None]:
    """Return the hull's edges (left, right) just before and just after `at`; None beyond."""
    places = x[hull]
    before = int(np.searchsorted(places, at, side="left"))
    after = int(np.searchsorted(places, at, side="right"))
    return [(hull[end - 1], hull[end]) if 0 < end < len(hull) else None for end in (before, after)]


def line_zone(x_mm: Float, h_mm: Float) -> Zone:
    """Return the minimum zone of n points along a line, two of them at least apart in x.

    The width is the greatest gap between the upper and the lower convex hull: the zone
    touches the ends of an edge of one and a corner of the other.
    """
    lower, upper = lower_hull(x_mm, h_mm), lower_hull(x_mm, -h_mm)
    hulls = (lower, upper)
    places = np.unique(x_mm[[*lower, *upper]])
    top = np.interp(places, x_mm[upper], h_mm[upper])
    bottom = np.interp(places, x_mm[lower], h_mm[lower])
    at = float(places[np.argmax(top - bottom)])
    on_lower, on_upper = (_support(x_mm, hull, at) for hull in hulls)
    slope = _common_slope(x_mm, h_mm, edges_at(x_mm, lower, at), edges_at(x_mm, upper, at))
    value = float(slope @ h_mm)
    weights = on_upper - on_lower
    touching = np.flatnonzero((np.abs(weights) > 1e-12) | (slope != 0))
    width = float(np.ptp(h_mm - value * x_mm))
    return Zone(width, np.array([value]), weights, slope[None, :], tuple(touching.tolist()))


def _support(x: Float, hull: list[int], at: float) -> Float:
    """Return the weights with which the hull's corners carry its height at `at`."""
    weights = np.zeros(len(x))
    left, right = next(edge for edge in edges_at(x, hull, at) if edge is not None)
    share = float((at - x[left]) / (x[right] - x[left]))
    weights[left], weights[right] = 1 - share, share
    return weights


def _common_slope(
    x: Float,
    h: Float,
    below: list[tuple[int, int] | None],
    above: list[tuple[int, int] | None],
) -> Float:
    """Return the weights of a slope that keeps both hulls on their sides of the zone.

    It lies between the lower hull's edges, and between the upper one's; in the middle
    where that leaves room.
    """
    least = [_rise(x, h, edge) for edge in (below[0], above[1]) if edge is not None]
    most = [_rise(x, h, edge) for edge in (below[1], above[0]) if edge is not None]
    picked = []
    if least:
        picked.append(max(least, key=lambda each: each[0])[1])
    if most:
        picked.append(min(most, key=lambda each: each[0])[1])
    return np.asarray(np.mean(picked, axis=0))


def _rise(x: Float, h: Float, edge: tuple[int, int]) -> tuple[float, Float]:
    """Return an edge's slope and its weights."""
    weights = np.zeros(len(x))
    run = float(x[edge[1]] - x[edge[0]])
    weights[edge[0]], weights[edge[1]] = -1 / run, 1 / run
    return float(h[edge[1]] - h[edge[0]]) / run, weights


def plane_zone(place_mm: Float, h_mm: Float) -> Zone:
    """Return the minimum zone of n points on a face, three of them at least not in line."""
    middle, n = place_mm.mean(axis=0), len(h_mm)
    scale = float(np.abs(place_mm - middle).max())
    columns = np.column_stack([np.ones(n), (place_mm - middle) / scale])
    beta = np.linalg.lstsq(columns, h_mm, rcond=None)[0]
    rest = h_mm - columns @ beta
    weights = np.zeros(n)
    found = None
    if n > columns.shape[1] and np.ptp(rest) > _NOTHING * max(float(np.abs(h_mm).max()), 1e-300):
        found = smallest_zone(columns, rest)
    if found is not None:
        beta = beta + found.parameters
        weights[found.contacts] = 2 * found.weights
    slopes = beta[1:] / scale
    touching = np.flatnonzero(np.abs(weights) > 1e-9)
    return Zone(
        float(np.ptp(h_mm - (place_mm - middle) @ slopes)),
        np.asarray(slopes),
        weights,
        _slope_weights(place_mm, weights, touching),
        tuple(touching.tolist()),
    )


def _slope_weights(place: Float, weights: Float, touching: np.ndarray) -> Float:
    """Return how (p, q) follow the points that touch: each side in one plane, least squares."""
    result = np.zeros((2, len(weights)))
    side = (weights[touching] > 0).astype(np.float64)
    columns = np.column_stack([place[touching] - place.mean(axis=0), side, 1 - side])
    result[:, touching] = np.linalg.pinv(columns)[:2]
    return result
