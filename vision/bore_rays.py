"""Rays from the middle of a bore, and where they cross from dark to light."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel

Float = NDArray[np.float64]
Grey = NDArray[np.uint8]

RAYS = 360
_STEP_PX = 0.5
_REACH = (0.62, 1.30)
"""From where to where rays look, in radii of the first guess."""
_SMOOTH_PX = 1.0
_STRONG = 5.0
"""An edge rises by so many times a ray's noise over its own blur."""
_LEAST_RISE = 6.0  # grey levels
_SEARCH_PX = 320
_GUESSES = 4


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Edges that rays crossed: ray number, place (n, 2) and sigma in undistorted pixels."""

    ray: NDArray[np.intp]
    places: Float
    sigma: Float


def middle_of(camera: CameraModel) -> Float:
    """Return the principal point (2,) in px."""
    return np.array([camera.cx, camera.cy])


def first_guesses(grey: Grey) -> list[tuple[float, float, float]]:
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


def ways() -> Float:
    """Return the rays' unit vectors (RAYS, 2)."""
    turn = 2 * np.pi * np.arange(RAYS) / RAYS
    return np.column_stack([np.cos(turn), np.sin(turn)])


def cross_rays(grey: Grey, camera: CameraModel | None, centre: Float, radius: float) -> Crossings:
    """Return where rays from a centre cross edges from dark to light, outwards."""
    way = ways()
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
    return Crossings(ray, undistorted(centre + reach[:, None] * way[ray], camera), sigma)


def undistorted(places_px: Float, camera: CameraModel | None) -> Float:
    """Return places (n, 2) as a lens without distortion sees them, in px."""
    if camera is None:
        return places_px
    seen = camera.undistort(places_px) * np.array([camera.fx, camera.fy]) + middle_of(camera)
    return np.asarray(seen, dtype=np.float64)


def _slopes(light: Float) -> tuple[Float, float]:
    """Return the smoothed slope a pixel along rays, and its noise for unit noise of samples."""
    half = round(3 * _SMOOTH_PX / _STEP_PX)
    v = np.arange(-half, half + 1) * _STEP_PX
    kernel = v * np.exp(-0.5 * (v / _SMOOTH_PX) ** 2)
    kernel = kernel / float(np.sum(kernel * v))
    slope = cv2.filter2D(light, cv2.CV_64F, kernel[None], borderType=cv2.BORDER_REPLICATE)
    return np.asarray(slope, dtype=np.float64), float(np.linalg.norm(kernel))
