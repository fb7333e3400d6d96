"""The steps of light at a bore's edge, fitted whole along every ray.

A steepest place is not yet an edge: light that rises along the wall draws it inwards, and a
chamfer's edge a few pixels away draws it out, each the more the wider the blur; and as both
change round the bore with the lamp, the centre would go along. So the steps are fitted
together, edge and chamfer and the wall's ramp, with one blur for the whole picture.
"""

import cv2
import numpy as np
from scipy.special import ndtr

from calibration.camera import CameraModel
from vision.bore_circles import Circle, fit_circle, miss_px
from vision.bore_rays import Crossings, Float, Grey, undistorted, ways

_FARTHEST_PX = 12.0
"""Two circles further apart than this do not disturb each other."""
_BLURS_PX = np.linspace(0.5, 2.6, 8)
_BESIDE_PX = 5.0
"""How far beside the steps light is taken into the fit."""
_STEP_PX = 0.5
_ROUNDS = 6
_MOST_SHIFT_PX = 2.0
_FOLLOWED = 4
"""Rounds of following a circle along a ray through the lens' distortion."""
_HELD_PX = 1.2
_LEAST_SIGMA_PX = 0.02


def refine_edge(
    grey: Grey, camera: CameraModel | None, edge: Circle, others: list[Circle]
) -> Circle:
    """Return the edge's circle freed of what the wall and a near chamfer do to it.

    `others` are all circles seen round the edge, the one next to it first, whole or not. The
    circle as it was where the steps of too few rays can be fitted.
    """
    way, first = ways(), edge.values[:2]
    near = _reach(first, way, edge, camera)
    apart = np.zeros((len(way), 1))
    if others and others[0].values[2] - edge.values[2] < _FARTHEST_PX:
        apart = np.column_stack([apart, _reach(first, way, others[0], camera) - near])
    along = np.arange(-_BESIDE_PX, float(apart.max()) + _BESIDE_PX, _STEP_PX)
    places = first + (near[:, None] + along)[..., None] * way[:, None, :]
    x, y = (places[..., k].astype(np.float32) for k in (0, 1))
    light = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    weight = (along[None, :] < apart.max(axis=1, keepdims=True) + _BESIDE_PX).astype(np.float64)
    shift, sigma = _fit_steps(along, np.asarray(light, dtype=np.float64), weight, apart)
    ray = np.flatnonzero(np.isfinite(sigma) & (np.abs(shift) < _MOST_SHIFT_PX))
    seen = undistorted(first + (near + shift)[ray, None] * way[ray], camera)
    crossings = Crossings(ray, seen, np.clip(sigma[ray], _LEAST_SIGMA_PX, 1.0))
    around = np.abs(miss_px(seen, edge.values)) < _HELD_PX
    refined = fit_circle(crossings, around, edge.values)
    return edge if refined is None or not refined.whole else refined


def _reach(first: Float, way: Float, circle: Circle, camera: CameraModel | None) -> Float:
    """Return how far along each ray of the picture a circle is crossed, in px."""
    reach = np.full(len(way), float(circle.values[2]))
    for _ in range(_FOLLOWED):
        reach -= miss_px(undistorted(first + reach[:, None] * way, camera), circle.values)
    return reach


def _fit_steps(along: Float, light: Float, weight: Float, apart: Float) -> tuple[Float, Float]:
    """Return the inner step's shift and sigma on each ray, with the blur that fits best."""
    misfit = [
        float(np.nanmedian(_fit_blurred(along, light, weight, apart, float(blur))[2]))
        for blur in _BLURS_PX
    ]
    k = int(np.clip(np.argmin(misfit), 1, len(misfit) - 2))
    bend = misfit[k - 1] - 2 * misfit[k] + misfit[k + 1]
    part = 0.5 * (misfit[k - 1] - misfit[k + 1]) / bend if bend > 0 else 0.0
    step = float(_BLURS_PX[1] - _BLURS_PX[0])
    blur = float(_BLURS_PX[k]) + float(np.clip(part, -1, 1)) * step
    shift, sigma, _ = _fit_blurred(along, light, weight, apart, blur)
    return shift, sigma


def _fit_blurred(
    along: Float, light: Float, weight: Float, apart: Float, blur: float
) -> tuple[Float, Float, Float]:
    """Fit steps of one blur to each ray: the inner one's shift and sigma, mean square left.

    `light` and `weight` are (rays, samples), `apart` (rays, steps) where the steps are
    expected. Parameters: light before the steps, its slope there, each step's rise and shift.
    An inner step that falls outwards is none: its ray's sigma is NaN.
    """
    steps = apart.shape[1]
    shift = np.zeros(apart.shape)
    size = 2 + 2 * steps
    ridge = np.diag([1e-9, 1e-3] + [1e-6] * steps + [1e-3] * steps)
    for _ in range(_ROUNDS):
        at = (along - (apart + shift)[..., None]) / blur  # rays, steps, samples
        bell = np.exp(-0.5 * at**2) / np.sqrt(2 * np.pi)
        ramp = blur * (at[:, 0] * ndtr(-at[:, 0]) - bell[:, 0])
        flat = np.concatenate([np.ones_like(at[:, :1]), ramp[:, None], ndtr(at)], axis=1)
        values, _ = _least_squares(flat, weight, light, ridge[: 2 + steps, : 2 + steps])
        rise = values[:, 2:]
        columns = np.concatenate([flat, -rise[..., None] * bell / blur], axis=1)
        rest = light - np.einsum("rk,rks->rs", values, flat)
        moved, inverse = _least_squares(columns, weight, rest, ridge)
        shift = np.clip(shift + np.clip(moved[:, 2 + steps :], -0.5, 0.5), -3.0, 3.0)
    left = rest - np.einsum("rk,rks->rs", moved, columns)
    square = (weight * left**2).sum(axis=1) / np.maximum(weight.sum(axis=1) - size, 1)
    inner = 2 + steps
    sigma = np.sqrt(np.maximum(inverse[:, inner, inner] * square, 0.0) / _STEP_PX)
    sigma[rise[:, 0] <= 0] = np.nan
    return shift[:, 0], sigma, square


def _least_squares(
    columns: Float, weight: Float, values: Float, ridge: Float
) -> tuple[Float, Float]:
    """Return each ray's parameters (rays, k) and inverse normal matrix (rays, k, k)."""
    weighted = columns * weight[:, None, :]
    inverse = np.linalg.inv(weighted @ columns.transpose(0, 2, 1) + ridge)
    right = weighted @ values[..., None]
    return np.asarray((inverse @ right)[..., 0]), np.asarray(inverse)
