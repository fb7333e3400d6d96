"""Circles with a two-lobed part in what rays crossed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readings.median import median
from vision.bore_rays import RAYS, Crossings, Float

_NEAR = 0.012
"""Edges within this share of the radius of a circle are tried as its own."""
_HELD_PX = 1.2
_ON_PX = 0.7
_TRIALS, _SPREAD = 300, 0.8
"""Circles through three crossings, drawn by lot, that span a triangle of some such width."""
_MOST_CIRCLES = 6
_ROUNDS = 8
_LAGS, _ALIKE = 8, 0.05
"""How many rays apart misses may hang together, and the least correlation that is summed."""
HALF_SEEN = 0.22
"""A circle of so many rays, yet not enough for an edge, makes the answer doubtful."""
_LEAST_SHARE = 0.55
"""Of all rays must cross a circle that is taken for an edge, in no gap of over 100 degrees."""
_WIDEST_GAP = 100
CHAMFER = 1.25
"""A chamfer's outer circle is no larger than this times the inner one."""


@dataclass(frozen=True, slots=True, eq=False)
class Circle:
    """A circle with a two-lobed part: x, y, radius, cos 2θ, sin 2θ; covariance of all five."""

    values: Float
    covariance: Float
    rays: NDArray[np.intp]

    @property
    def share(self) -> float:
        """Share of all rays that cross it."""
        return len(np.unique(self.rays)) / RAYS

    @property
    def gap(self) -> int:
        """The widest gap between rays, in rays."""
        seen = np.unique(self.rays)
        if not len(seen):
            return RAYS
        return int(np.diff(np.append(seen, seen[0] + RAYS)).max())

    @property
    def whole(self) -> bool:
        """Whether enough rays cross it all round."""
        return self.share >= _LEAST_SHARE and self.gap <= _WIDEST_GAP * RAYS / 360


def families(crossings: Crossings, centre: Float, radius: float) -> list[Circle]:
    """Return the circles in what rays crossed.

    First a rough one, for its centre: of two starts the one that more crossings lie on. Seen
    from there each circle's crossings lie within a pixel: narrow crowds.
    """
    if len(crossings.ray) < HALF_SEEN * RAYS:
        return []
    roughs = [
        circle
        for start, near in (_most_crowded(crossings, centre, radius), _agreed(crossings, radius))
        if (circle := fit_circle(crossings, near, start)) is not None
    ]
    if not roughs:
        return []
    rough = max(roughs, key=lambda one: int(_on(crossings, one.values).sum()))
    out: list[Circle] = []
    miss = miss_px(crossings.places, rough.values)
    left = np.abs(miss) < (CHAMFER - 1) * radius
    while left.sum() > HALF_SEEN * RAYS and len(out) < _MOST_CIRCLES:
        at = _crowded(miss[left], _HELD_PX)
        near = left & (np.abs(miss - at) < _HELD_PX)
        start = rough.values + np.array([0.0, 0.0, at, 0.0, 0.0])
        circle = fit_circle(crossings, near, start)
        left &= ~near
        if circle is not None:
            out.append(circle)
            left &= np.abs(miss_px(crossings.places, circle.values)) > _HELD_PX
    return out


def _on(crossings: Crossings, values: Float) -> NDArray[np.bool_]:
    """Return which crossings lie on a circle."""
    return np.abs(miss_px(crossings.places, values)) < _ON_PX


def _most_crowded(
    crossings: Crossings, centre: Float, radius: float
) -> tuple[Float, NDArray[np.bool_]]:
    """Return a start through the most crowded distance from the guess, and what is near it."""
    away = np.linalg.norm(crossings.places - centre, axis=1)
    wide = max(2 * _NEAR * radius, 5.0)
    near = np.abs(away - _crowded(away, wide)) < wide
    return np.array([*centre, float(np.median(away[near])), 0.0, 0.0]), near


def _agreed(crossings: Crossings, radius: float) -> tuple[Float, NDArray[np.bool_]]:
    """Return the circle through three crossings that most others lie on, and which those are.

    Where a guess mixes edge and chamfer up, three crossings of one of them do not (random
    sample consensus: Fischler and Bolles 1981).
    """
    rng = np.random.default_rng(0)
    threes = rng.integers(0, len(crossings.ray), (_TRIALS, 3))
    p, q, r = (crossings.places[threes[:, k]] for k in range(3))
    one, other = q - p, r - p
    across = 2 * (one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])
    wide = np.abs(across) > (_SPREAD * radius) ** 2
    if not wide.any():
        return np.zeros(5), np.zeros(len(crossings.ray), dtype=bool)
    p, one, other, across = p[wide], one[wide], other[wide], across[wide]
    long, longer = (np.sum(v * v, axis=1) for v in (one, other))
    x = (other[:, 1] * long - one[:, 1] * longer) / across
    y = (one[:, 0] * longer - other[:, 0] * long) / across
    middle, size = p + np.column_stack([x, y]), np.hypot(x, y)
    away = np.linalg.norm(crossings.places[None] - middle[:, None], axis=2)
    close = np.abs(away - size[:, None]) < _HELD_PX
    best = int(np.argmax(close.sum(axis=1)))
    return np.array([*middle[best], size[best], 0.0, 0.0]), close[best]


def _crowded(values: Float, wide: float) -> float:
    """Return about where most values lie within `wide` of each other."""
    ordered = np.sort(values)
    count = np.searchsorted(ordered, ordered + wide, side="right") - np.arange(len(ordered))
    first = int(np.argmax(count))
    return float(median(ordered[first : first + int(count[first])]))


def _columns(places: Float, values: Float) -> Float:
    """Return how a place's distance outside the circle falls with the five values (n, 5)."""
    apart = places - values[:2]
    turn = np.arctan2(apart[:, 1], apart[:, 0])
    parts = [np.cos(turn), np.sin(turn), np.ones_like(turn), np.cos(2 * turn), np.sin(2 * turn)]
    return np.stack(parts, axis=1)


def miss_px(places: Float, values: Float) -> Float:
    """Return how far places lie outside the circle, two-lobed part included."""
    columns = _columns(places, values)
    away = np.linalg.norm(places - values[:2], axis=1)
    return np.asarray(away - columns[:, 2:] @ values[2:], dtype=np.float64)


def _lengthening(ray: NDArray[np.intp], miss: Float) -> float:
    """Return how much wider neighbours that miss alike make a sum's variance: 1 + 2 Σ ρ.

    `ray` rises; `miss` is weighted, one of each crossing.
    """
    by_ray = np.zeros(RAYS)
    by_ray[ray] = miss
    power = float(by_ray @ by_ray)
    if power <= 0.0:
        return 1.0
    total = 1.0
    for lag in range(1, _LAGS + 1):
        alike = float(by_ray @ np.roll(by_ray, lag)) / power
        if alike < _ALIKE:
            break
        total += 2 * alike
    return total


def fit_circle(crossings: Crossings, near: NDArray[np.bool_], start: Float) -> Circle | None:
    """Fit a circle with a two-lobed part to crossings near a first one, strays left out."""
    values, radius = start, float(start[2])
    held = near.copy()
    covariance: Float = np.eye(5)
    for _ in range(_ROUNDS):
        if len(np.unique(crossings.ray[held])) < HALF_SEEN * RAYS:
            return None
        places, sigma = crossings.places[held], crossings.sigma[held]
        miss, columns = miss_px(places, values), _columns(places, values)
        spread = max(1.4826 * median(np.abs(miss)), 0.05)
        weight = np.where(np.abs(miss) < 4 * spread, 1 - (miss / (4 * spread)) ** 2, 0.0) ** 2
        weight = weight / (sigma**2 + (0.3 * spread) ** 2)
        # the two lobes of a circle seen aslant are small: held where few rays tell
        firm = np.diag([0.0, 0.0, 0.0, 1.0, 1.0]) / (0.05 * radius) ** 2
        inverse = np.linalg.inv(columns.T @ (weight[:, None] * columns) + firm)
        values = values + inverse @ (columns.T @ (weight * miss) - firm @ values)
        used = weight > 0
        freedom = max(int(used.sum()) - 5, 1)
        left = miss_px(places, values)
        factor = max(float(np.sum(weight * left**2)) / freedom, 1e-6)
        factor *= _lengthening(crossings.ray[held], np.sqrt(weight) * left)
        covariance = np.asarray(inverse * factor, dtype=np.float64)
        every = np.abs(miss_px(crossings.places, values))
        held = every < max(3 * spread, 0.7)
    return Circle(values, covariance, crossings.ray[held])
