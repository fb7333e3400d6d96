"""The four reference circles through true (x, y) points: no limaçon, no small angles."""

from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
from scipy.spatial import ConvexHull, Delaunay, QhullError

from sweeps.circles import fit_circle
from sweeps.fourier import Float
from sweeps.minimax import smallest_zone
from sweeps.result import SweepFailure
from sweeps.roundness import Reference

_ROUNDS = 60
_STEP = 1e-14


@dataclass(frozen=True, slots=True, eq=False)
class PointCircle:
    """A reference circle and the roundness about its centre; lengths in the points' unit.

    `radius` is the circle's own; of the minimum zone the middle one. `ront` is the farthest
    point's distance from the centre minus the nearest's (RONt, ISO 12181).
    """

    reference: Reference
    x: float
    y: float
    radius: float
    ront: float

    def __bool__(self) -> Literal[True]:
        return True


def circle_of_points(points: Float, reference: Reference = "LSC") -> PointCircle | SweepFailure:
    """Return a reference circle of true points.

    Parameters
    ----------
    points
        ``(n, 2)``, n >= 3 (4 for a zone).
    reference
        "LSC" by `fit_circle`; "MCC" the smallest circle that holds all points, exact by
        exchange on the convex hull; "MIC" the largest one that holds none and whose centre
        they hold on all sides, exact from Delaunay's empty circles; "MZC" from the
        least-squares centre by limaçon zones about a moving centre (Newton's steps for a
        minimax; quadratic), the local minimum that roundness standards mean.

    Returns
    -------
    PointCircle or SweepFailure
        A failure as `fit_circle` has them, or where no circle is held on all sides.
    """
    points = np.asarray(points, dtype=np.float64)
    start = fit_circle(points)
    if not start:
        return start
    if reference == "LSC":
        return _about(points, np.array([start.x, start.y]), "LSC", start.radius)
    if reference == "MZC":
        return _zone(points, np.array([start.x, start.y]))
    return _enclosing(points) if reference == "MCC" else _inscribed(points)


def _about(points: Float, centre: Float, reference: Reference, radius: float) -> PointCircle:
    distance = np.linalg.norm(points - centre, axis=1)
    x, y = centre.tolist()
    return PointCircle(reference, x, y, radius, float(np.ptp(distance)))


def _zone(points: Float, centre: Float) -> PointCircle | SweepFailure:
    if len(points) < 4:
        return SweepFailure("A minimum zone needs four points or more.")
    width = np.inf
    for _ in range(_ROUNDS):
        away = points - centre
        distance = np.linalg.norm(away, axis=1)
        middle = float(distance.mean())
        columns = np.column_stack([np.ones(len(points)), away / distance[:, None]])
        found = smallest_zone(columns, distance - middle)
        if found is None:
            return SweepFailure("These points cannot carry a zone between two circles.")
        step = _shortened(points, centre, found.parameters[1:], width)
        centre = centre + step
        width = _width(points, centre)
        if np.linalg.norm(step) <= _STEP * middle:
            break
    ends = np.linalg.norm(points - centre, axis=1)
    return _about(points, centre, "MZC", float(ends.max() + ends.min()) / 2)


def _shortened(points: Float, centre: Float, step: Float, width: float) -> Float:
    """Halve a step until the zone does not widen; none where it never helps."""
    for _ in range(_ROUNDS):
        if _width(points, centre + step) <= width:
            return step
        step = step / 2
    return np.zeros(2)


def _width(points: Float, centre: Float) -> float:
    return float(np.ptp(np.linalg.norm(points - centre, axis=1)))


def _enclosing(points: Float) -> PointCircle:
    """Return the smallest circle that holds all points: take in the farthest until none is out."""
    hull = points[ConvexHull(points).vertices]
    held = hull[:2]
    while True:
        centre, radius, held = _smallest_of_few(held)
        distance = np.linalg.norm(hull - centre, axis=1)
        far = int(np.argmax(distance))
        if distance[far] <= radius * (1 + 1e-13):
            return _about(points, centre, "MCC", radius)
        held = np.vstack([held, hull[far]])


def _smallest_of_few(few: Float) -> tuple[Float, float, Float]:
    """Return the smallest circle round two to four points, and which of them hold it."""
    best: tuple[Float, float, Float] | None = None
    for size in (2, 3):
        for chosen in combinations(range(len(few)), size):
            part = few[list(chosen)]
            centre = part.mean(axis=0) if size == 2 else _circumcentres(part[None])[0]
            radius = float(np.linalg.norm(part - centre, axis=1).max())
            holds = bool(np.all(np.linalg.norm(few - centre, axis=1) <= radius * (1 + 1e-12)))
            if holds and (best is None or radius < best[1]):
                best = (centre, radius, part)
    if best is None:
        msg = "no circle holds four points"
        raise ArithmeticError(msg)
    return best


def _circumcentres(triangles: Float) -> Float:
    """Return the circumcentres ``(k, 2)`` of triangles ``(k, 3, 2)``."""
    origin = triangles[:, 0]
    b, c = triangles[:, 1] - origin, triangles[:, 2] - origin
    double = 2 * (b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0])
    with np.errstate(divide="ignore", invalid="ignore"):
        b2, c2 = np.sum(b**2, axis=1), np.sum(c**2, axis=1)
        x = (c[:, 1] * b2 - b[:, 1] * c2) / double
        y = (b[:, 0] * c2 - c[:, 0] * b2) / double
    centres: Float = origin + np.column_stack([x, y])
    return centres


def _inscribed(points: Float) -> PointCircle | SweepFailure:
    """Return the largest empty circle whose centre lies in the triangle that holds it."""
    try:
        triangles = points[Delaunay(points).simplices]
    except QhullError:
        return SweepFailure("The points lie in one place or on one line.")
    centres = _circumcentres(triangles)
    radius = np.linalg.norm(triangles[:, 0] - centres, axis=1)
    radius = np.where(_acute(triangles), radius, -np.inf)
    best = int(np.argmax(radius))
    if not np.isfinite(radius[best]):
        return SweepFailure("No circle inside these points is held on all sides.")
    return _about(points, centres[best], "MIC", float(radius[best]))


def _acute(triangles: Float) -> np.ndarray:
    """Whether a triangle holds its own circumcentre: no side's square exceeds the others'."""
    sides = np.sum((triangles - np.roll(triangles, 1, axis=1)) ** 2, axis=2)
    held: np.ndarray = 2 * sides.max(axis=1) <= sides.sum(axis=1) * (1 + 1e-12)
    return held
