"""Circles through points, and roundness of a trace by four reference circles."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import linprog

from sweeps.fourier import Float, harmonic_columns
from sweeps.result import SweepFailure

_ROUNDS = 200
_STEP = 1e-13


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
    local = (points - origin) / scale
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
    square = np.sum(local**2, axis=1)
    mean = float(square.mean())
    columns = np.column_stack([(square - mean) / (2 * np.sqrt(mean)), local])
    a, b, c = np.linalg.svd(columns, full_matrices=False)[2][-1]
    a = a / (2 * np.sqrt(mean))
    if abs(a) < 1e-8:
        return np.array([0.0, 0.0, 1.0])
    centre = -np.array([b, c]) / (2 * a)
    return np.append(centre, np.sqrt(centre @ centre + mean))


def _terms(local: Float, at: Float) -> tuple[Float, Float]:
    away = local - at[:2]
    distance = np.maximum(np.linalg.norm(away, axis=1), 1e-300)
    jacobian = np.column_stack([-away / distance[:, None], -np.ones(len(local))])
    return distance - at[2], jacobian


def _refine(local: Float, at: Float) -> Float | None:
    damping = 1e-3
    residual, jacobian = _terms(local, at)
    for _ in range(_ROUNDS):
        normal = jacobian.T @ jacobian
        step = np.linalg.lstsq(
            normal + damping * np.diag(np.diag(normal)), -jacobian.T @ residual, rcond=None
        )[0]
        trial, trial_jacobian = _terms(local, at + step)
        if trial @ trial <= residual @ residual:
            at, residual, jacobian = at + step, trial, trial_jacobian
            damping *= 0.2
            if np.linalg.norm(step) < _STEP * max(1.0, float(np.linalg.norm(at))):
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
    inverse = np.linalg.pinv(jacobian.T @ jacobian)
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


Reference = Literal["LSC", "MZC", "MIC", "MCC"]


@dataclass(frozen=True, slots=True)
class Roundness:
    """Peak to valley of a trace about one reference circle (RONt, ISO 12181), with its centre."""

    reference: Reference
    ront_mm: float
    x_mm: float
    y_mm: float

    def __bool__(self) -> Literal[True]:
        return True


def roundness(
    angle_rad: Float, radius_mm: Float, reference: Reference = "LSC"
) -> Roundness | SweepFailure:
    """Return the roundness of a trace r(θ) in the limaçon model, r - a cos θ - b sin θ.

    Parameters
    ----------
    angle_rad, radius_mm
        ``(n,)``, n >= 4; radius of the surface itself (a bore's reading with its sign
        turned), from any constant.
    reference
        Least squares, minimum zone, maximum inscribed or minimum circumscribed circle;
        the last three by linear programming.

    Returns
    -------
    Roundness or SweepFailure
        A failure with fewer than four places or values that are not finite.
    """
    angle = np.asarray(angle_rad, dtype=np.float64)
    radius = np.asarray(radius_mm, dtype=np.float64)
    if len(angle) < 4 or not (np.isfinite(angle).all() and np.isfinite(radius).all()):
        return SweepFailure("Roundness needs four places or more, all of them numbers.")
    columns = harmonic_columns(angle, 1)
    if reference == "LSC":
        centre = np.linalg.lstsq(columns, radius, rcond=None)[0][1:]
    else:
        centre = _extreme_centre(columns[:, 1:], radius, reference)
    rest = radius - columns[:, 1:] @ centre
    return Roundness(reference, float(np.ptp(rest)), float(centre[0]), float(centre[1]))


def _extreme_centre(first: Float, radius: Float, reference: Reference) -> Float:
    """Solve for (a, b, outer, inner): least zone, least outer, or greatest inner circle."""
    one, zero = np.ones((len(radius), 1)), np.zeros((len(radius), 1))
    height = radius - radius.mean()
    below_outer = (np.hstack([-first, -one, zero]), -height)
    above_inner = (np.hstack([first, zero, one]), height)
    cost, rules = {
        "MZC": ([0, 0, 1, -1], [below_outer, above_inner]),
        "MCC": ([0, 0, 1, 0], [below_outer]),
        "MIC": ([0, 0, 0, -1], [above_inner]),
    }[reference]
    found = linprog(
        cost,
        A_ub=np.vstack([rule[0] for rule in rules]),
        b_ub=np.concatenate([rule[1] for rule in rules]),
        bounds=(None, None),
        method="highs",
    )
    return np.asarray(found.x, dtype=np.float64)[:2]
