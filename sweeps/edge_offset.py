"""Where a bore's edge lies against the spindle axis, from a camera that turns with the spindle.

Seen from the camera, the edge's centre goes round the spindle axis, against the spindle's
turn: ``c(φ) = a + R(-φ) e``, a the axis where the camera sees it, e the edge's offset. Two
orientations suffice; more tell whether anything moved meanwhile. What is found is the edge's
centre and not the bore's, and only as square as the edge: a plane out of square by θ makes
a circle of radius R at distance Z look shifted by R²θ/Z, which turns with the work and does
not cancel.
"""

from dataclasses import dataclass
from math import degrees, isfinite, radians

import numpy as np

from sweeps.fourier import Float
from sweeps.result import SweepFailure

SQUARE_RAD = radians(0.1)
"""How far an edge's plane may be out of square (k = 1) where nothing is known: 1.7 in 1000."""
_LEAST_TURN_RAD = radians(60.0)
_FARTHEST_RMS = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class EdgeOffset:
    """Edge's centre minus spindle axis, mm: "edge, not bore".

    Attributes
    ----------
    x_mm, y_mm
        In the camera's right and up at φ = 0.
    covariance_mm2
        (2, 2) of both: rays, and the edge's squareness.
    u_square_mm
        The part of the squareness, each way (k = 1).
    axis_mm
        (2,) where the camera sees the spindle axis.
    dof
        Degrees of freedom, 0 with two orientations.
    rms_mm
        Of the centres about the fit, None without degrees of freedom.
    """

    x_mm: float
    y_mm: float
    covariance_mm2: Float
    u_square_mm: float
    axis_mm: Float
    dof: int
    rms_mm: float | None
    label: str = "edge, not bore"


def offset_from_edges(
    centres_mm: Float,
    turned_rad: Float,
    covariances_mm2: Float,
    *,
    radius_mm: float,
    distance_mm: float,
    u_square_rad: float = SQUARE_RAD,
) -> EdgeOffset | SweepFailure:
    """Return the offset of a bore's edge from the spindle axis.

    Parameters
    ----------
    centres_mm
        (n, 2) of the edge in the camera's right and up, mm in the edge's plane.
    turned_rad
        (n,) the spindle's turn at each, anticlockwise seen from above.
    covariances_mm2
        (n, 2, 2) of the centres.
    radius_mm, distance_mm
        Of the edge, and from the camera to its plane.
    u_square_rad
        How far its plane may be out of square to the spindle (k = 1).
    """
    centres, turned = np.asarray(centres_mm, float), np.asarray(turned_rad, float)
    failure = _unusable(centres, turned, covariances_mm2, radius_mm, distance_mm, u_square_rad)
    if failure:
        return SweepFailure(failure)
    cos, sin = np.cos(turned), np.sin(turned)
    columns = np.zeros((len(turned), 2, 4))
    columns[:, 0, 0] = columns[:, 1, 1] = 1.0
    columns[:, 0, 2:] = np.column_stack([cos, sin])
    columns[:, 1, 2:] = np.column_stack([-sin, cos])
    weights = np.linalg.inv(covariances_mm2)
    normal = np.einsum("nij,nik,nkl->jl", columns, weights, columns)
    inverse = np.linalg.inv(normal)
    values = inverse @ np.einsum("nij,nik,nk->j", columns, weights, centres)
    left = centres - columns @ values
    dof = 2 * len(turned) - 4
    factor = 1.0
    if dof:
        factor = float(np.einsum("ni,nij,nj->", left, weights, left)) / dof
        if factor > _FARTHEST_RMS**2:
            return SweepFailure(
                f"the centres lie {np.sqrt(factor):.0f} times farther from one circle than they "
                "can: the work or the camera moved, or an angle is wrong; take the pictures again."
            )
    square = radius_mm**2 * u_square_rad / distance_mm
    return EdgeOffset(
        x_mm=float(values[2]),
        y_mm=float(values[3]),
        covariance_mm2=inverse[2:, 2:] * max(factor, 1.0) + square**2 * np.eye(2),
        u_square_mm=square,
        axis_mm=values[:2],
        dof=dof,
        rms_mm=float(np.sqrt(np.mean(left**2))) if dof else None,
    )


def _unusable(
    centres: Float,
    turned: Float,
    covariances: Float,
    radius_mm: float,
    distance_mm: float,
    u_square_rad: float,
) -> str:
    """Return why nothing can be said, empty where something can."""
    count = len(turned)
    if centres.shape != (count, 2) or np.shape(covariances) != (count, 2, 2):
        return "each orientation needs a centre (2,), its covariance (2, 2) and an angle."
    if count < 2:
        return "one orientation tells no axis: turn the spindle by half and take another picture."
    numbers = (centres, turned, np.asarray(covariances))
    if not all(np.isfinite(one).all() for one in numbers):
        return "a centre, an angle or a covariance is no number."
    if not (np.linalg.eigvalsh(covariances) > 0).all():
        return "a covariance is not positive."
    sizes = (radius_mm, distance_mm)
    if not all(isfinite(size) and size > 0 for size in sizes) or not 0 <= u_square_rad < 0.1:
        return "radius and distance must be above zero, and squareness from 0 to 0.1 rad."
    apart = np.abs(np.angle(np.exp(1j * (turned[:, None] - turned[None, :]))))
    if apart.max() < _LEAST_TURN_RAD:
        return (
            f"the orientations are {degrees(apart.max()):.0f} degrees apart at most: at least "
            f"{degrees(_LEAST_TURN_RAD):.0f} are needed, half a turn is best."
        )
    return ""
