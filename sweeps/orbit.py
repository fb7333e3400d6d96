"""The orbit of a target on a bar's end: where the rotation axis is, and how it moves.

A target goes round the rotation axis whatever the bar's runout and wherever the paper was
stuck. So the orbit's centre is the axis; its radius is mostly the sticking and no runout is
ever made of it. With the angle known, ``z(θ) = c + q e^{iθ} + Σ m_k e^{ikθ}``: c the axis, q
the arm to the target, and what is left in orders 2 and up is the axis' own motion. Once a
turn an axis' motion cannot be told from the arm, nor a backward turn of it from a tilted view.
"""

from dataclasses import dataclass, replace
from math import degrees, hypot, inf, sqrt
from typing import Literal

import numpy as np

from sweeps.circles import fit_circle
from sweeps.fourier import Float, Model, harmonic_columns
from sweeps.overlap import distinct_places
from sweeps.result import SweepFailure
from sweeps.robust import RobustFit, fit_model

MIN_ARC_RAD = 2 * np.pi / 3
_MIN_PLACES = 3
_HIGHEST = 7
_FORESHORTENED = 0.02
"""Ellipse of more than a fiftieth of the arm: the picture plane is 11 degrees off square."""
_CURVE_POINTS = 720


@dataclass(frozen=True, slots=True)
class AxisMotion:
    """Motion of the rotation axis `order` times a turn, as two circling parts, in mm (k = 1).

    `forward_mm` turns with the spindle, `backward_mm` against it; the longest throw from the
    middle is their sum. `u_mm` is of either part's real or imaginary component.
    """

    order: int
    forward_mm: float
    backward_mm: float
    forward: complex
    backward: complex
    u_mm: float

    @property
    def throw_mm(self) -> float:
        """Half of the longest stroke."""
        return self.forward_mm + self.backward_mm


@dataclass(frozen=True, slots=True, eq=False)
class OrbitResult:
    """The rotation axis from a target's orbit; lengths in mm, `u_…` k = 1.

    `x_mm`, `y_mm` is the axis in the frame of the points, `covariance` of both in mm², the
    target's scale included. `arm_x_mm`, `arm_y_mm` is the target's place on the bar at θ = 0
    (None without angles); `radius_mm` its length: mostly where the paper was stuck.
    `motion` is the axis' own in orders 2 and up, `stroke_mm` the largest peak-to-valley of
    it seen from any one side, None without angles.
    """

    x_mm: float
    y_mm: float
    covariance: Float
    dof: float
    radius_mm: float
    u_radius_mm: float
    arm_x_mm: float | None
    arm_y_mm: float | None
    arm_covariance: Float | None
    motion: tuple[AxisMotion, ...]
    stroke_mm: float | None
    n: int
    residuals_mm: Float
    kept: np.ndarray
    turn_deg: float
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True


def target_orbit(
    points_mm: Float,
    sigma_mm: float | Float,
    angle_rad: Float | None = None,
    *,
    scale_rel: float = 0.0,
    zero_mm: tuple[float, float] = (0.0, 0.0),
) -> OrbitResult | SweepFailure:
    """Return the rotation axis from the places of a target on what turns.

    Parameters
    ----------
    points_mm
        ``(n, 2)`` places of the target's centre, x right and y up in its own plane.
    sigma_mm
        Stated k = 1 uncertainty of each, a number or ``(n,)``.
    angle_rad
        ``(n,)`` spindle angles, anticlockwise in the frame of the points; None where only
        the places are known: then a circle is fitted and no motion is told.
    scale_rel
        Relative uncertainty of the target's scale (k = 1); it moves the axis by that share
        of its distance from `zero_mm`.

    Returns
    -------
    OrbitResult or SweepFailure
        A failure with fewer than three places, under 120 degrees, or values that are no
        numbers or not of one length.
    """
    points = np.asarray(points_mm, dtype=np.float64)
    reason = _unusable(points, sigma_mm, angle_rad)
    if reason is not None:
        return SweepFailure(reason)
    sigma = np.maximum(np.broadcast_to(np.asarray(sigma_mm, dtype=np.float64), len(points)), 1e-9)
    found = _by_angles(points, sigma, angle_rad) if angle_rad is not None else _by_circle(points)
    if not found:
        return found
    return _scaled(found, scale_rel, np.asarray(zero_mm, dtype=np.float64))


def _unusable(points: Float, sigma_mm: float | Float, angle_rad: Float | None) -> str | None:
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < _MIN_PLACES:
        return "An orbit needs three places or more, each with x and y."
    sigma = np.asarray(sigma_mm, dtype=np.float64)
    if sigma.ndim and sigma.shape != (len(points),):
        return "There must be one uncertainty, or one for each place."
    if not (np.isfinite(points).all() and np.isfinite(sigma).all() and np.all(sigma >= 0)):
        return "A place or its uncertainty is not a number."
    if angle_rad is None:
        return None
    angle = np.asarray(angle_rad, dtype=np.float64)
    if angle.shape != (len(points),) or not np.isfinite(angle).all():
        return "There must be one angle for each place, all of them numbers."
    if distinct_places(angle) < _MIN_PLACES:
        return "Fewer than three places differ: an orbit cannot be told."
    arc = float(np.ptp(angle))
    return _short(arc) if arc < MIN_ARC_RAD else None


def _short(arc: float) -> str:
    return f"Only {degrees(arc):.0f} degrees of the orbit were seen; it needs 120 or more."


def _by_circle(points: Float) -> OrbitResult | SweepFailure:
    circle = fit_circle(points)
    if not circle:
        return circle
    arc = _seen_arc(points - (circle.x, circle.y))
    if arc < MIN_ARC_RAD:
        return SweepFailure(_short(arc))
    if circle.n == _MIN_PLACES:
        return SweepFailure("Three places say nothing of their scatter: give their angles too.")
    return OrbitResult(
        x_mm=circle.x,
        y_mm=circle.y,
        covariance=circle.covariance[:2, :2],
        dof=circle.n - 3,
        radius_mm=circle.radius,
        u_radius_mm=sqrt(float(circle.covariance[2, 2])),
        arm_x_mm=None,
        arm_y_mm=None,
        arm_covariance=None,
        motion=(),
        stroke_mm=None,
        n=circle.n,
        residuals_mm=circle.residuals,
        kept=np.ones(circle.n, dtype=bool),
        turn_deg=degrees(arc),
        flags=(),
        message=f"a circle through {circle.n} places of the target",
    )


def _seen_arc(away: Float) -> float:
    angle = np.sort(np.arctan2(away[:, 1], away[:, 0]))
    return 2 * np.pi - float(np.max(np.diff(angle, append=angle[0] + 2 * np.pi)))


def _by_angles(points: Float, sigma: Float, angle_rad: Float) -> OrbitResult | SweepFailure:
    angle = np.asarray(angle_rad, dtype=np.float64)
    model = Model(_order(angle))
    none = np.zeros(len(angle))
    try:
        fits = [fit_model(model, angle, points[:, i], sigma, none) for i in (0, 1)]
        kept = fits[0].kept & fits[1].kept
        if not kept.all():
            part = (angle[kept], sigma[kept], none[kept])
            fits = [fit_model(model, part[0], points[kept, i], part[1], part[2]) for i in (0, 1)]
    except np.linalg.LinAlgError:
        return SweepFailure("These angles cannot tell the axis from the orbit.")
    return _orbit(points, angle, fits, kept, model)


def _order(angle: Float) -> int:
    """Return the orders carried: to 7 on a whole turn, the first alone on an arc."""
    places = distinct_places(angle)
    whole = np.ptp(angle) >= 2 * np.pi * (1 - 2.0 / max(places, 2))
    return max(1, min(_HIGHEST, (places - 1) // 2 - 1)) if whole else 1


def _circling(fits: list[RobustFit], order: int) -> tuple[complex, complex]:
    """Return the forward and backward coefficients of z = x + iy at one order."""
    a = complex(fits[0].beta[2 * order - 1], fits[1].beta[2 * order - 1])
    b = complex(fits[0].beta[2 * order], fits[1].beta[2 * order])
    return (a - 1j * b) / 2, (a + 1j * b) / 2


def _arm_covariance(fits: list[RobustFit]) -> Float:
    """Return the covariance of the forward first order: ((ax + by), (ay - bx)) / 2."""
    x, y = fits[0].covariance[1:3, 1:3], fits[1].covariance[1:3, 1:3]
    cross = (y[0, 1] - x[0, 1]) / 4
    return np.array([[(x[0, 0] + y[1, 1]) / 4, cross], [cross, (y[0, 0] + x[1, 1]) / 4]])


def _orbit(
    points: Float, angle: Float, fits: list[RobustFit], kept: np.ndarray, model: Model
) -> OrbitResult:
    arm, ellipse = _circling(fits, 1)
    covariance = _arm_covariance(fits)
    unit = np.array([arm.real, arm.imag]) / max(abs(arm), 1e-300)
    centre = [float(fit.beta[0]) for fit in fits]
    residuals = points - np.column_stack([fit.curve(angle) for fit in fits])
    flags = {
        "outliers left out": not kept.all(),
        "tilted view": abs(ellipse) > max(_FORESHORTENED * abs(arm), 4 * sqrt(covariance[0, 0])),
    }
    return OrbitResult(
        x_mm=centre[0],
        y_mm=centre[1],
        covariance=np.diag([float(fit.covariance[0, 0]) for fit in fits]),
        dof=min(fit.dof for fit in fits),
        radius_mm=abs(arm),
        u_radius_mm=sqrt(max(float(unit @ covariance @ unit), 0.0)),
        arm_x_mm=arm.real,
        arm_y_mm=arm.imag,
        arm_covariance=covariance,
        motion=tuple(_motion(fits, k) for k in range(2, model.order + 1)),
        stroke_mm=_stroke(fits, model.order) if model.order > 1 else None,
        n=int(kept.sum()),
        residuals_mm=residuals,
        kept=kept,
        turn_deg=degrees(float(np.ptp(angle))),
        flags=tuple(name for name, on in flags.items() if on),
        message=f"{int(kept.sum())} places of the target over {degrees(np.ptp(angle)):.0f} degrees",
    )


def _motion(fits: list[RobustFit], order: int) -> AxisMotion:
    forward, backward = _circling(fits, order)
    at = slice(2 * order - 1, 2 * order + 1)
    variance = sum(float(np.trace(fit.covariance[at, at])) for fit in fits) / 8
    return AxisMotion(order, abs(forward), abs(backward), forward, backward, sqrt(variance))


def _stroke(fits: list[RobustFit], order: int) -> float:
    """Return the largest peak-to-valley of the motion in orders 2 and up, over all sides."""
    columns = harmonic_columns(np.linspace(0, 2 * np.pi, _CURVE_POINTS), order)[:, 3:]
    path = np.column_stack([columns @ fit.beta[3:] for fit in fits])
    sides = np.radians(np.arange(0.0, 180.0, 2.0))
    seen = path @ np.stack([np.cos(sides), np.sin(sides)])
    return float(np.max(np.ptp(seen, axis=0)))


def _scaled(found: OrbitResult, scale_rel: float, zero: Float) -> OrbitResult:
    """Add what the target's scale does to the axis: along the line from the zero."""
    if scale_rel <= 0:
        return found
    away = np.array([found.x_mm, found.y_mm]) - zero
    moved = scale_rel**2 * np.outer(away, away)
    radius = hypot(found.u_radius_mm, scale_rel * found.radius_mm)
    before, after = np.trace(found.covariance), np.trace(found.covariance + moved)
    dof = found.dof * float(after / before) ** 2 if before > 0 else inf
    return replace(found, covariance=found.covariance + moved, u_radius_mm=radius, dof=dof)
