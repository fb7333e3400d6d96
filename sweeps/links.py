"""The links of a chain from what a person can measure or must allow for.

Signs: a value is the reading's own, "upper end leans to +X", "work lies to +X"; the
functions turn it into what it adds to the second axis seen from the first. A size that
cannot be gives a failure, which a chain hands on.
"""

from math import inf, isfinite

import numpy as np
from numpy.typing import ArrayLike

from readings import Axis
from sweeps.chain import Kind, Link
from sweeps.distributions import Rectangular, Student
from sweeps.fourier import Float
from sweeps.result import SweepFailure
from sweeps.spreads import InDisc, NormalPoint, OnCircle, PerAxis, Spread

Value = tuple[float, float]


def _link(
    name: str,
    kind: Kind,
    spread: Spread,
    value: Value = (0.0, 0.0),
    *,
    not_negative: float = 0.0,
    from_mm: float | None = None,
) -> Link | SweepFailure:
    if not (isfinite(not_negative) and not_negative >= 0):
        return SweepFailure(f"The {name} needs a size of zero or more, not {not_negative:g}.")
    return Link(name, kind, spread, value, from_mm)


def _over(name: str, length_mm: float) -> SweepFailure | None:
    if isfinite(length_mm) and length_mm > 0:
        return None
    return SweepFailure(f"The {name} needs a length above zero, not {length_mm:g} mm.")


def plug_clearance(clearance_mm: float) -> Link | SweepFailure:
    """Return the shift of a bore on a plug that is smaller by `clearance_mm` in diameter.

    It leans against the plug on some side: half the clearance in an unknown direction.
    """
    spread = OnCircle(clearance_mm / 2)
    return _link("plug clearance", "shift", spread, not_negative=clearance_mm)


def plug_cocked(clearance_mm: float, held_mm: float) -> Link | SweepFailure:
    """Return the lean of a part that is held square by its plug alone over `held_mm`."""
    name = "plug cocked"
    wrong = _over(name, held_mm)
    if wrong is not None:
        return wrong
    return _link(name, "lean", InDisc(clearance_mm / held_mm), not_negative=clearance_mm)


def plug_runout(tir_mm: float) -> Link | SweepFailure:
    """Return the shift from a plug whose two diameters run out by `tir_mm` to each other."""
    return _link("plug runout", "shift", OnCircle(tir_mm / 2), not_negative=tir_mm)


def plug_reseat(places_mm: ArrayLike) -> Link | SweepFailure:
    """Return the shift from seating the plug once more, from how it lay each time before.

    `places_mm` is ``(n, 2)``, the centre found after each of n seatings, n >= 2. The next
    seating differs from their mean by ``sqrt(1 + 1/n)`` of their scatter; no direction is
    taken as likelier, so both axes are pooled.
    """
    places = np.asarray(places_mm, dtype=np.float64)
    if places.ndim != 2 or places.shape[1] != 2 or len(places) < 2:
        return SweepFailure("Re-seating needs two seatings or more, each with x and y.")
    if not np.isfinite(places).all():
        return SweepFailure("A seating's place is not a number.")
    n = len(places)
    variance = float(np.sum((places - places.mean(axis=0)) ** 2)) / (2 * (n - 1))
    return Link(
        "plug re-seat", "shift", NormalPoint(variance * (1 + 1 / n) * np.eye(2), 2.0 * (n - 1))
    )


FACE = "end face square to bore"


def end_face_limit(error_mm: float, over_mm: float) -> Link | SweepFailure:
    """Return the lean of an end face known only to be square within `error_mm` on `over_mm`."""
    wrong = _over(FACE, over_mm)
    if wrong is not None:
        return wrong
    return _link(FACE, "lean", InDisc(error_mm / over_mm), not_negative=error_mm)


def end_face(
    lean_x_rad: float, lean_y_rad: float, covariance_rad2: Float, dof: float = inf
) -> Link:
    """Return the lean of an end face that was measured.

    The bore's upper end leans by (x, y) when the part stands on the face; the second bore,
    cut upright, leans the other way seen from it.
    """
    return Link(FACE, "lean", NormalPoint(covariance_rad2, dof), (-lean_x_rad, -lean_y_rad))


def roller_pair(
    difference_mm: float, apart_mm: float, across: Axis, u_mm: float, dof: float = inf
) -> Link | SweepFailure:
    """Return the lean of a part on two rollers, the one on the + side larger by `difference_mm`.

    `across` is the axis along which they lie apart. The + side is lifted, so the part's
    upper end leans to the - side and the second bore, cut upright, to the + side of it.
    """
    name = "roller pair"
    wrong = _over(name, apart_mm)
    if wrong is not None:
        return wrong
    return _along(name, across, difference_mm / apart_mm, u_mm / apart_mm, dof)


def angle_plate(
    lean_rad: float, across: Axis, u_rad: float, dof: float = inf
) -> Link | SweepFailure:
    """Return the lean of a part clamped to an angle plate whose face leans by `lean_rad`."""
    return _along("angle plate square", across, -lean_rad, u_rad, dof)


def lean_limit(name: str, across: Axis, half_width_rad: float) -> Link | SweepFailure:
    """Return a lean along one axis that is only known to lie within ± a limit."""
    spread = Rectangular(half_width_rad)
    axes = PerAxis(spread) if across == "x" else PerAxis(None, spread)
    return _link(name, "lean", axes, not_negative=half_width_rad)


def z_travel(
    lean_x_rad: float,
    lean_y_rad: float,
    u_rad: float,
    *,
    dof: float = inf,
    from_mm: float | None = None,
) -> Link | SweepFailure:
    """Return the lean of the Z travel to the table's normal, going up to (+X, +Y).

    `from_mm` is the height at which the plug was swept: the travel begins there.
    """
    axes, value = _both(u_rad, dof), (lean_x_rad, lean_y_rad)
    name = "Z travel square to table"
    return _link(name, "lean", axes, value, not_negative=u_rad, from_mm=from_mm)


def lock_shift(x_mm: float, y_mm: float, u_mm: float, dof: float = inf) -> Link | SweepFailure:
    """Return the shift of the work, to (+X, +Y), when the slides are locked."""
    axes, value = _both(u_mm, dof), (-x_mm, -y_mm)
    return _link("lock shift", "shift", axes, value, not_negative=u_mm)


def centring_left(offset_mm: Value, covariance_mm2: Float, dof: float = inf) -> Link:
    """Return what is left of e = work axis - spindle axis, as found by the last sweep."""
    x, y = offset_mm
    return Link("centring", "shift", NormalPoint(covariance_mm2, dof), (-x, -y))


def _both(u: float, dof: float) -> PerAxis:
    return PerAxis(Student(u, dof), Student(u, dof))


def _along(name: str, across: Axis, value: float, u: float, dof: float) -> Link | SweepFailure:
    spread = Student(u, dof)
    if across == "x":
        return _link(name, "lean", PerAxis(spread, None), (value, 0.0), not_negative=u)
    return _link(name, "lean", PerAxis(None, spread), (0.0, value), not_negative=u)
