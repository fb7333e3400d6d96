"""A bore's edge in a picture from a camera that rides on the spindle and looks down.

What is seen is an edge, never the bore: where a face or a chamfer ends. The edge is a circle
that a camera near its axis sees as nearly one, so a circle with a two-lobed part is fitted to
what rays from its middle cross. A chamfer shows as a second circle round the first; a shadow
crosses the face or the wall and follows neither, and is left out ray by ray.
"""

from dataclasses import dataclass
from math import hypot

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from readings import BadInputError
from vision.quick import median

Float = NDArray[np.float64]
Grey = NDArray[np.uint8]

_RAYS = 360
_STEP_PX = 0.5
_REACH = (0.62, 1.30)
"""From where to where rays look, in radii of the first guess."""
_SMOOTH_PX = 1.0
_STRONG = 5.0
"""An edge rises by so many times a ray's noise over its own blur."""
_LEAST_RISE = 6.0  # grey levels
_SEARCH_PX = 320
_GUESSES = 4
_NEAR = 0.012
"""Edges within this share of the radius of a circle are tried as its own."""
_HELD_PX = 1.2
_MOST_CIRCLES = 6
_LEAST_SHARE = 0.55
"""Of all rays must cross a circle that is taken for an edge, in no gap of over 100 degrees."""
_WIDEST_GAP = 100
_HALF_SEEN = 0.22
"""A circle of so many rays, yet not enough for an edge, makes the answer doubtful."""
_CLOSEST = 0.012
"""Two circles whose radii differ by less than this share are one."""
_CHAMFER = 1.25
"""A chamfer's outer circle is no larger than this times the inner one."""
_ROUNDS = 8
_LEAST_SIGMA_PX = 0.01
_FLATTEST = 0.06
"""Two-lobed part over the radius: above it the camera looks 20 degrees past the axis."""


@dataclass(frozen=True, slots=True, eq=False)
class EdgeSight:
    """The edge of a bore in one picture: "edge, not bore".

    Attributes
    ----------
    centre_px, radius_px
        Of the circle, lens distortion taken off; pixels of the picture.
    covariance_px2
        (2, 2) of the centre, from the rays' own scatter.
    centre_mm, covariance_mm2
        The same in the plane of the edge, right and up as the camera sees it from the
        principal point, where diameter and camera model are given; else None.
    distance_mm
        From the camera to the edge's plane, None without a camera model.
    rays, of_rays
        How many rays crossed it.
    chamfer_radius_px
        Of a chamfer's outer circle, None where there is none.
    flattening
        Two-lobed part over the radius.
    """

    centre_px: Float
    radius_px: float
    covariance_px2: Float
    centre_mm: Float | None
    covariance_mm2: Float | None
    distance_mm: float | None
    rays: int
    of_rays: int
    chamfer_radius_px: float | None
    flattening: float

    @property
    def sigma_px(self) -> float:
        """Standard uncertainty of the centre, the larger way (k = 1)."""
        return float(np.sqrt(np.linalg.eigvalsh(self.covariance_px2)[-1]))


@dataclass(frozen=True, slots=True, eq=False)
class _Crossings:
    """Edges that rays crossed: ray number, place (n, 2) and sigma in undistorted pixels."""

    ray: NDArray[np.intp]
    places: Float
    sigma: Float


@dataclass(frozen=True, slots=True, eq=False)
class _Circle:
    """A circle with a two-lobed part: x, y, radius, cos 2θ, sin 2θ; covariance of all five."""

    values: Float
    covariance: Float
    rays: NDArray[np.intp]

    @property
    def share(self) -> float:
        return len(np.unique(self.rays)) / _RAYS

    @property
    def gap(self) -> int:
        """The widest gap between rays, in rays."""
        seen = np.unique(self.rays)
        if not len(seen):
            return _RAYS
        return int(np.diff(np.append(seen, seen[0] + _RAYS)).max())

    @property
    def whole(self) -> bool:
        return self.share >= _LEAST_SHARE and self.gap <= _WIDEST_GAP * _RAYS / 360


def find_bore_edge(
    image: Grey,
    camera: CameraModel | None = None,
    diameter_mm: float | None = None,
) -> EdgeSight:
    """Find the edge of a bore that fills much of a picture.

    Parameters
    ----------
    image
        (rows, columns) grey or (rows, columns, 3) BGR.
    camera
        Takes the lens' distortion off; without it the picture is taken as undistorted.
    diameter_mm
        Of the edge (bore's diameter where there is no chamfer), for lengths in mm.

    Raises
    ------
    BadInputError
        If there is no such circle, less than half of one, or a chamfer that cannot be told
        from the edge; or the picture is not of the camera's size.
    """
    grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY) if image.ndim == 3 else image
    if camera is not None:
        camera.demand_size(grey)
    circles = _circles(np.asarray(grey, dtype=np.uint8), camera)
    edge, chamfer = _edge_of(circles)
    x, y, radius, cos2, sin2 = edge.values
    flattening = hypot(cos2, sin2) / radius
    if flattening > _FLATTEST:
        msg = "the camera looks at the bore too far aslant: bring it nearer to the bore's axis."
        raise BadInputError(msg)
    covariance = edge.covariance[:2, :2] + _LEAST_SIGMA_PX**2 * np.eye(2)
    mm = None
    if camera is not None and diameter_mm is not None:
        if not 1.0 <= diameter_mm <= 1000.0:
            msg = f"a diameter of {diameter_mm:g} mm cannot be: give 1 to 1000 mm."
            raise BadInputError(msg)
        mm = diameter_mm / (2 * radius)
    flip = np.array([1.0, -1.0])
    middle = np.array([x, y])
    return EdgeSight(
        centre_px=middle,
        radius_px=float(radius),
        covariance_px2=covariance,
        centre_mm=None if mm is None or camera is None else (middle - _middle(camera)) * flip * mm,
        covariance_mm2=None if mm is None else covariance * mm**2 * np.outer(flip, flip),
        distance_mm=None if mm is None or camera is None else camera.fx * mm,
        rays=len(np.unique(edge.rays)),
        of_rays=_RAYS,
        chamfer_radius_px=None if chamfer is None else float(chamfer.values[2]),
        flattening=float(flattening),
    )


def _middle(camera: CameraModel) -> Float:
    return np.array([camera.cx, camera.cy])


def _circles(grey: Grey, camera: CameraModel | None) -> list[_Circle]:
    """Return the circles that rays from each first guess cross, each once, smallest first."""
    found: list[_Circle] = []
    for x, y, radius in _guesses(grey):
        crossings = _crossings(grey, camera, np.array([x, y]), radius)
        for circle in _families(crossings, np.array([x, y]), radius):
            same = [k for k, one in enumerate(found) if _same(one, circle)]
            if not same:
                found.append(circle)
            elif circle.share > found[same[0]].share:
                found[same[0]] = circle
    return sorted(found, key=lambda one: float(one.values[2]))


def _same(one: _Circle, other: _Circle) -> bool:
    apart = np.abs(one.values[:3] - other.values[:3]).max()
    return bool(apart < _CLOSEST * one.values[2])


def _guesses(grey: Grey) -> list[tuple[float, float, float]]:
    """Return first circles (x, y, radius in px) by a Hough search in a smaller picture."""
    shrink = max(1.0, max(grey.shape) / _SEARCH_PX)
    small = cv2.resize(grey, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
    small = cv2.medianBlur(np.asarray(small, dtype=np.uint8), 5)
    least = int(0.12 * min(small.shape))
    for needed in (0.9, 0.75, 0.55):
        seen = cv2.HoughCircles(
            small, cv2.HOUGH_GRADIENT_ALT, 1.5, 8, param1=150, param2=needed, minRadius=least
        )
        if seen is not None:
            rows = np.asarray(seen, dtype=np.float64).reshape(-1, seen.shape[-1])[:_GUESSES]
            return [
                ((x + 0.5) * shrink - 0.5, (y + 0.5) * shrink - 0.5, r * shrink)
                for x, y, r in rows[:, :3].tolist()
            ]
    return []


def _crossings(grey: Grey, camera: CameraModel | None, centre: Float, radius: float) -> _Crossings:
    """Return where rays from a centre cross edges from dark to light, outwards."""
    turn = 2 * np.pi * np.arange(_RAYS) / _RAYS
    way = np.column_stack([np.cos(turn), np.sin(turn)])
    along = np.arange(_REACH[0] * radius, _REACH[1] * radius, _STEP_PX)
    places = centre + along[None, :, None] * way[:, None, :]
    inside = ((places > 2) & (places < np.array(grey.shape[::-1]) - 3.0)).all(axis=2)
    x, y = (places[..., k].astype(np.float32) for k in (0, 1))
    got = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    light = got.astype(np.float64)
    slope, width = _slopes(light)
    noise = 1.4826 * np.median(np.abs(np.diff(light, axis=1)), axis=1) / np.sqrt(2) + 0.3
    least = np.maximum(_STRONG * noise[:, None] * width, _LEAST_RISE / (2.5 * _SMOOTH_PX))
    peak = np.zeros(slope.shape, dtype=bool)
    middle = slope[:, 1:-1]
    peak[:, 1:-1] = (middle > slope[:, :-2]) & (middle >= slope[:, 2:]) & (middle > least)
    peak &= inside
    ray, at = np.nonzero(peak)
    left, top, right = slope[ray, at - 1], slope[ray, at], slope[ray, at + 1]
    bend = left - 2 * top + right
    shift = np.clip(0.5 * (left - right) / np.minimum(bend, -1e-9), -0.5, 0.5)
    reach = along[at] + shift * _STEP_PX
    sigma = np.clip(noise[ray] * width * 1.5 / np.maximum(top, 1e-9), 0.02, 1.0)
    seen = centre + reach[:, None] * way[ray]
    if camera is not None:
        seen = camera.undistort(seen) * np.array([camera.fx, camera.fy]) + _middle(camera)
    return _Crossings(ray, seen, sigma)


def _slopes(light: Float) -> tuple[Float, float]:
    """Return the smoothed slope a pixel along rays, and its noise for unit noise of samples."""
    half = round(3 * _SMOOTH_PX / _STEP_PX)
    v = np.arange(-half, half + 1) * _STEP_PX
    kernel = v * np.exp(-0.5 * (v / _SMOOTH_PX) ** 2)
    kernel = kernel / float(np.sum(kernel * v))
    slope = cv2.filter2D(light, cv2.CV_64F, kernel[None], borderType=cv2.BORDER_REPLICATE)
    return np.asarray(slope, dtype=np.float64), float(np.linalg.norm(kernel))


def _families(crossings: _Crossings, centre: Float, radius: float) -> list[_Circle]:
    """Return the circles in what rays crossed.

    First one through the most crowded distance from the guess, whatever it mixes up, for its
    centre. Seen from there each circle's crossings lie within a pixel: narrow crowds.
    """
    away = np.linalg.norm(crossings.places - centre, axis=1)
    wide = max(2 * _NEAR * radius, 5.0)
    near = np.abs(away - _crowded(away, wide)) < wide
    rough = _fit(crossings, near, np.array([*centre, float(np.median(away[near])), 0.0, 0.0]))
    if rough is None:
        return []
    out: list[_Circle] = []
    miss = _miss(crossings.places, rough.values)
    left = np.abs(miss) < (_CHAMFER - 1) * radius
    while left.sum() > _HALF_SEEN * _RAYS and len(out) < _MOST_CIRCLES:
        at = _crowded(miss[left], _HELD_PX)
        near = left & (np.abs(miss - at) < _HELD_PX)
        start = rough.values + np.array([0.0, 0.0, at, 0.0, 0.0])
        circle = _fit(crossings, near, start)
        left &= ~near
        if circle is not None:
            out.append(circle)
            left &= np.abs(_miss(crossings.places, circle.values)) > _HELD_PX
    return out


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


def _miss(places: Float, values: Float) -> Float:
    """Return how far places lie outside the circle, two-lobed part included."""
    columns = _columns(places, values)
    away = np.linalg.norm(places - values[:2], axis=1)
    return np.asarray(away - columns[:, 2:] @ values[2:], dtype=np.float64)


def _fit(crossings: _Crossings, near: NDArray[np.bool_], start: Float) -> _Circle | None:
    """Fit a circle with a two-lobed part to crossings near a first one, strays left out."""
    values, radius = start, float(start[2])
    held = near.copy()
    covariance: Float = np.eye(5)
    for _ in range(_ROUNDS):
        if len(np.unique(crossings.ray[held])) < _HALF_SEEN * _RAYS:
            return None
        places, sigma = crossings.places[held], crossings.sigma[held]
        miss, columns = _miss(places, values), _columns(places, values)
        spread = max(1.4826 * median(np.abs(miss)), 0.05)
        weight = np.where(np.abs(miss) < 4 * spread, 1 - (miss / (4 * spread)) ** 2, 0.0) ** 2
        weight = weight / (sigma**2 + (0.3 * spread) ** 2)
        # the two lobes of a circle seen aslant are small: held where few rays tell
        firm = np.diag([0.0, 0.0, 0.0, 1.0, 1.0]) / (0.05 * radius) ** 2
        inverse = np.linalg.inv(columns.T @ (weight[:, None] * columns) + firm)
        values = values + inverse @ (columns.T @ (weight * miss) - firm @ values)
        used = weight > 0
        freedom = max(int(used.sum()) - 5, 1)
        left = _miss(places, values)
        factor = max(float(np.sum(weight * left**2)) / freedom, 1e-6)
        covariance = np.asarray(inverse * factor, dtype=np.float64)
        every = np.abs(_miss(crossings.places, values))
        held = every < max(3 * spread, 0.7)
    return _Circle(values, covariance, crossings.ray[held])


def _edge_of(circles: list[_Circle]) -> tuple[_Circle, _Circle | None]:
    """Return the bore's edge, and its chamfer's outer circle if it has one.

    Raises
    ------
    BadInputError
        If no circle is whole, or what lies within the smallest whole one may be the edge.
    """
    whole = [one for one in circles if one.whole]
    if not whole:
        msg = (
            "no whole circle that is dark inside is in the picture: bring the bore's edge into "
            "it, light the face evenly and look down the bore."
        )
        raise BadInputError(msg)
    edge = whole[0]
    radius = float(edge.values[2])
    chamfers = [
        one
        for one in whole[1:]
        if one.values[2] < _CHAMFER * radius and _concentric(one, edge, 0.04)
    ]
    for one in circles:
        within = float(one.values[2]) < radius and radius < _CHAMFER * float(one.values[2])
        if not one.whole and within and _concentric(one, edge, 0.04) and one.share > 0.3:
            msg = (
                "a second circle is half seen within the first: a chamfer that cannot be told "
                "from the edge. Light it from all round and take the picture again."
            )
            raise BadInputError(msg)
    return edge, chamfers[0] if chamfers else None


def _concentric(one: _Circle, other: _Circle, share: float) -> bool:
    apart = np.linalg.norm(one.values[:2] - other.values[:2])
    return bool(apart < share * other.values[2])
