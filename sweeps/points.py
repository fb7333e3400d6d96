"""The trade's own few-point rules, for a pencil check beside the fit."""

from dataclasses import dataclass
from math import cos, isfinite, pi, sin
from typing import Literal

from readings import Surface, offset_from_first_harmonic
from sweeps.result import SweepFailure


@dataclass(frozen=True, slots=True)
class FewPoints:
    """Offset e = work axis - spindle axis in mm from a few stops.

    `closure_mm` is (r0 + r180) - (r90 + r270); None where there is no redundancy.
    """

    offset_x_mm: float
    offset_y_mm: float
    closure_mm: float | None

    def __bool__(self) -> Literal[True]:
        return True


def _unusable(readings_mm: tuple[float, ...], surface: Surface) -> SweepFailure | None:
    if not all(isfinite(reading) for reading in readings_mm):
        return SweepFailure("A reading is not a number.")
    if surface == "face":
        return SweepFailure("A face has no centre: an offset belongs to a bore, a boss or a bar.")
    return None


def four_point(
    r0_mm: float, r90_mm: float, r180_mm: float, r270_mm: float, *, surface: Surface
) -> FewPoints | SweepFailure:
    """Return the offset from readings at right, back, left and front.

    On a boss ``e_x = (r0 - r180) / 2``, ``e_y = (r90 - r270) / 2``; in a bore both change
    sign. The two opposite sums should agree: a difference is ovality, a slip, a misread,
    or the offset's own geometry, but three lobes pass unseen into the offset.

    >>> four_point(0.3, 0.1, 0.1, 0.1, surface="boss")
    FewPoints(offset_x_mm=0.09999999999999999, offset_y_mm=0.0, closure_mm=0.2)
    """
    failure = _unusable((r0_mm, r90_mm, r180_mm, r270_mm), surface)
    if failure is not None:
        return failure
    x, y = offset_from_first_harmonic((r0_mm - r180_mm) / 2, (r90_mm - r270_mm) / 2, surface)
    return FewPoints(x, y, (r0_mm + r180_mm) - (r90_mm + r270_mm))


def three_point(
    r0_mm: float, r120_mm: float, r240_mm: float, *, surface: Surface
) -> FewPoints | SweepFailure:
    """Return the offset from readings at 0, 120 and 240 degrees; nothing checks it."""
    failure = _unusable((r0_mm, r120_mm, r240_mm), surface)
    if failure is not None:
        return failure
    a1 = (2 * r0_mm - r120_mm - r240_mm) / 3
    b1 = (r120_mm - r240_mm) / 3**0.5
    x, y = offset_from_first_harmonic(a1, b1, surface)
    return FewPoints(x, y, None)


def lobing_factor(order: int, vee_rad: float) -> float:
    """Return what an indicator over a vee block shows of a lobe's amplitude.

    The part is turned in a vee of included angle α, the indicator on its bisector:
    ``F = 1 + cos n(90° + α/2) / sin(α/2)`` (summit set-up of ISO 4292). Zero means that the
    lobes pass unseen; 180 degrees is the two-point measurement of a micrometer.

    >>> round(lobing_factor(3, pi / 3), 9)
    3.0

    Raises
    ------
    ValueError
        If the angle is not above 0 and up to a half turn.
    """
    if not 0 < vee_rad <= pi:
        msg = "a vee's included angle lies above 0 and up to 180 degrees"
        raise ValueError(msg)
    return 1 + cos(order * (pi / 2 + vee_rad / 2)) / sin(vee_rad / 2)
