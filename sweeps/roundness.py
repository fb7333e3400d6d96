"""Roundness of a trace r(θ) about four reference circles, in the limaçon model."""

from dataclasses import dataclass, replace
from math import sqrt
from typing import Literal, get_args

import numpy as np

from sweeps.centring import CentringResult
from sweeps.fourier import Float, harmonic_columns
from sweeps.minimax import smallest_top, smallest_zone
from sweeps.overlap import covered_rad
from sweeps.result import SweepFailure, SweepResult

Reference = Literal["LSC", "MZC", "MIC", "MCC"]
REFERENCES: tuple[Reference, ...] = get_args(Reference)
_GRID = 1440
_WHOLE_RAD = 2 * np.pi * (1 - 1e-9)


@dataclass(frozen=True, slots=True, eq=False)
class Roundness:
    """Peak to valley about one reference circle (RONt, ISO 12181), with its centre, in mm.

    `contacts` are the places that decide it and `weights` how RONt follows each of them:
    ``ront_mm = Σ weights * radius[contacts]``. `u_ront_mm` is k = 1 where it was asked for;
    it holds the fit of the trace and says nothing of lobes above its order. Where several
    places are nearly as far out, scatter makes RONt come out too large on average.
    """

    reference: Reference
    ront_mm: float
    x_mm: float
    y_mm: float
    contacts: np.ndarray
    weights: Float
    u_ront_mm: float | None = None

    def __bool__(self) -> Literal[True]:
        return True


def roundness(
    angle_rad: Float, radius_mm: Float, reference: Reference = "LSC"
) -> Roundness | SweepFailure:
    """Return the roundness of a trace in the limaçon model, r - a cos θ - b sin θ.

    Parameters
    ----------
    angle_rad, radius_mm
        ``(n,)``, n >= 4; radius of the surface itself (a bore's reading with its sign
        turned), from any constant.
    reference
        Least squares, minimum zone, maximum inscribed or minimum circumscribed circle;
        the last three are solved by exchange, with the linear program's answer. A circle
        that two opposite places hold may slide across them: one of its centres is given.

    Returns
    -------
    Roundness or SweepFailure
        A failure with fewer than four places, values that are not finite, places that
        cannot carry a circle, or an inscribed or circumscribed circle that nothing holds
        because more than half a turn is missing.
    """
    angle = np.asarray(angle_rad, dtype=np.float64)
    radius = np.asarray(radius_mm, dtype=np.float64)
    if angle.ndim != 1 or angle.shape != radius.shape:
        return SweepFailure("Roundness needs one radius for each angle.")
    if len(angle) < 4 or not (np.isfinite(angle).all() and np.isfinite(radius).all()):
        return SweepFailure("Roundness needs four places or more, all of them numbers.")
    columns = np.column_stack([np.ones(len(angle)), np.cos(angle), np.sin(angle)])
    if np.linalg.cond(columns.T @ columns) > 1e12:
        return SweepFailure("These places cannot carry a circle: fewer than three differ.")
    if reference in ("MIC", "MCC") and _widest_gap(angle) > np.pi + 1e-9:
        return SweepFailure(
            "More than half a turn is missing: nothing holds such a circle on that side."
        )
    return _SOLVERS[reference](columns, radius)


def roundness_of(
    result: SweepResult | CentringResult, reference: Reference = "MZC"
) -> Roundness | SweepFailure:
    """Return the roundness of the work as a fitted sweep shows it, to the order fitted.

    The offset and geometry's own lobe are taken off first where the diameter is known;
    the rest is 1 to 15 undulations a turn. Of a short arc only what was swept counts.

    Returns
    -------
    Roundness or SweepFailure
        The centre is relative to the least-squares circle. A failure where the surface
        is not said or is a face.
    """
    if result.surface is None or result.surface == "face":
        return SweepFailure("Roundness belongs to a bore, a boss or a bar: say which.")
    angle, radius = swept_trace(result)
    found = roundness(angle, radius, reference)
    return replace(found, u_ront_mm=_u_ront(found, result, angle)) if found else found


def swept_trace(result: SweepResult | CentringResult) -> tuple[Float, Float]:
    """Return angles over what was swept, a whole turn at most, and the work's own radius."""
    span = covered_rad(float(np.radians(result.turn_deg)), result.places)
    count = max(8, int(_GRID * span / (2 * np.pi)))
    angle = result.start_rad + np.linspace(0.0, span, count, endpoint=bool(span < _WHOLE_RAD))
    sign = -1.0 if result.surface == "bore" else 1.0
    return angle, sign * result.shape_mm(angle)


def _u_ront(found: Roundness, result: SweepResult | CentringResult, angle: Float) -> float:
    at = angle[found.contacts]
    if isinstance(result, SweepResult):
        columns, covariance = result.model.columns(at), result.covariance
    else:
        order = (len(result.shape_values_mm) - 1) // 2
        columns, covariance = harmonic_columns(at, order), result.shape_covariance
    gradient = found.weights @ columns
    return sqrt(max(float(gradient @ covariance @ gradient), 0.0))


def _widest_gap(angle: Float) -> float:
    folded = np.sort(np.mod(angle, 2 * np.pi))
    return float(np.max(np.diff(folded, append=folded[0] + 2 * np.pi)))


def _least_squares(columns: Float, radius: Float) -> Roundness:
    inverse = np.linalg.inv(columns.T @ columns)
    centre = (inverse @ (columns.T @ radius))[1:]
    rest = radius - columns[:, 1:] @ centre
    ends = np.array([int(np.argmax(rest)), int(np.argmin(rest))])
    apart = np.array([0.0, *(columns[ends[1], 1:] - columns[ends[0], 1:])])
    weights = columns @ (inverse @ apart)
    weights[ends] += (1.0, -1.0)
    return _rounded("LSC", rest, centre, np.arange(len(radius)), weights)


def _minimum_zone(columns: Float, radius: Float) -> Roundness | SweepFailure:
    found = smallest_zone(columns, radius - radius.mean())
    if found is None:
        return _UNSOLVED
    rest = radius - columns[:, 1:] @ found.parameters[1:]
    return _rounded("MZC", rest, found.parameters[1:], found.contacts, 2 * found.weights)


def _circumscribed(columns: Float, radius: Float) -> Roundness | SweepFailure:
    return _one_sided("MCC", columns, radius, 1.0)


def _inscribed(columns: Float, radius: Float) -> Roundness | SweepFailure:
    return _one_sided("MIC", columns, radius, -1.0)


def _one_sided(
    reference: Reference, columns: Float, radius: Float, side: float
) -> Roundness | SweepFailure:
    found = smallest_top(columns[:, 1:], side * (radius - radius.mean()))
    if found is None:
        return _UNSOLVED
    centre = side * found.parameters
    rest = radius - columns[:, 1:] @ centre
    far = int(np.argmin(side * rest))
    held = columns[found.contacts]
    centre_by_radius = np.linalg.pinv(np.column_stack([held[:, 1:], held[:, 0]]))[:2]
    weights = side * (found.weights + columns[far, 1:] @ centre_by_radius)
    contacts, weights = np.append(found.contacts, far), np.append(weights, -side)
    return _rounded(reference, rest, centre, contacts, weights)


_UNSOLVED = SweepFailure("No such circle was found for these places.")
_SOLVERS = {
    "LSC": _least_squares,
    "MZC": _minimum_zone,
    "MCC": _circumscribed,
    "MIC": _inscribed,
}


def _rounded(
    reference: Reference, rest: Float, centre: Float, contacts: np.ndarray, weights: Float
) -> Roundness:
    x, y = centre.tolist()
    return Roundness(reference, float(np.ptp(rest)), x, y, contacts, weights)
