"""Geometric least-squares circle through points."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sweeps.fourier import Float
from sweeps.result import SweepFailure

_ROUNDS = 200
_STEP = 1e-13
_LEAST_DAMPING = 1e-12
_GAIN = 1e-15
"""A step that promises to take off less of the sum of squares is the last."""


@dataclass(frozen=True, slots=True, eq=False)
class CircleFit:
    """Geometric least-squares circle; lengths in the unit of the points.

    `covariance` is of (x, y, radius), scaled by the residuals; infinite with three points.
    """

    x: float
    y: float
    radius: float
    covariance: Float
    residuals: Float
    rss: float
    n: int

    def __bool__(self) -> Literal[True]:
        return True


def fit_circle(points: Float) -> CircleFit | SweepFailure:
    """Fit a circle by the distances of the points from it.

    Parameters
    ----------
    points
        ``(n, 2)``, n >= 3.

    Returns
    -------
    CircleFit or SweepFailure
        Minimises ``Σ (|p_i - c| - r)²`` by Levenberg-Marquardt from Taubin's algebraic
        circle (W. Gander, G. H. Golub, R. Strebel, BIT 34 (1994) 558). A failure where
        points are fewer than three, not finite, all on one line or all in one place.
    """
    points = np.asarray(points, dtype=np.float64)
    reason = _no_circle(points)
    if reason is not None:
        return SweepFailure(reason)
    origin = points.mean(axis=0)
    scale = float(np.sqrt(np.mean((points - origin) ** 2)))
    local = np.asfortranarray((points - origin) / scale)
    found = _refine(local, _taubin(local))
    if found is None:
        return SweepFailure("The points fit a straight line as well as any circle.")
    return _finish(local, found, origin, scale)


def _no_circle(points: Float) -> str | None:
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 3:
        return "A circle needs three points or more, each with x and y."
    if not np.isfinite(points).all():
        return "A point is not a number."
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    if spread[1] <= 1e-9 * max(float(spread[0]), 1e-300):
        return "The points lie in one place or on one line."
    return None


def _taubin(local: Float) -> Float:
    """Return (x, y, r) of Taubin's algebraic fit (G. Taubin, PAMI 13 (1991) 1115)."""
    square = local[:, 0] ** 2 + local[:, 1] ** 2
    mean = float(square.mean())
    columns = np.column_stack([(square - mean) / (2 * np.sqrt(mean)), local])
    a, b, c = np.linalg.eigh(columns.T @ columns)[1][:, 0]
    a = a / (2 * np.sqrt(mean))
    if abs(a) < 1e-8:
        return np.array([0.0, 0.0, 1.0])
    centre = -np.array([b, c]) / (2 * a)
    return np.append(centre, np.sqrt(centre @ centre + mean))


def _terms(local: Float, at: Float) -> tuple[Float, Float]:
    x, y = local[:, 0] - at[0], local[:, 1] - at[1]
    distance = np.maximum(np.sqrt(x * x + y * y), 1e-300)
    jacobian = np.empty((3, len(local)))
    jacobian[0], jacobian[1], jacobian[2] = -x / distance, -y / distance, -1.0
    return distance - at[2], jacobian.T


def _refine(local: Float, at: Float) -> Float | None:
    damping = 1e-3
    residual, jacobian = _terms(local, at)
    for _ in range(_ROUNDS):
        normal, slope = jacobian.T @ jacobian, jacobian.T @ residual
        step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), slope)
        trial, trial_jacobian = _terms(local, at + step)
        power = float(residual @ residual)
        done = -float(slope @ step) <= _GAIN * power
        if done or trial @ trial <= power:
            at, residual, jacobian = at + step, trial, trial_jacobian
            damping = max(0.2 * damping, _LEAST_DAMPING)
            if done or np.linalg.norm(step) < _STEP * max(1.0, float(np.linalg.norm(at))):
                break
        else:
            damping *= 8
            if damping > 1e12:
                break
    return at if np.linalg.norm(at) < 1e6 else None


def _finish(local: Float, at: Float, origin: Float, scale: float) -> CircleFit:
    residual, jacobian = _terms(local, at)
    dof = len(local) - 3
    spread = float(residual @ residual) / dof if dof > 0 else np.inf
    inverse = np.linalg.pinv(jacobian.T @ jacobian, hermitian=True)
    covariance = inverse * spread * scale**2 if dof > 0 else np.full((3, 3), np.inf)
    x, y = (origin + scale * at[:2]).tolist()
    return CircleFit(
        x,
        y,
        float(scale * at[2]),
        np.asarray(covariance, dtype=np.float64),
        residual * scale,
        float(residual @ residual) * scale**2,
        len(local),
    )
