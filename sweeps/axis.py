"""An axis from two heights: where it is, how it leans, and whether the surface is a cone.

The heights are along +Z (up), the offsets are e = work axis - spindle axis (for the orbit of
a target: the rotation axis in the picture's own frame).
"""

from dataclasses import dataclass
from math import degrees, hypot, inf, sqrt
from typing import Literal

import numpy as np

from sweeps.budget import BudgetLine, Combined, Verdict, combine, verdict
from sweeps.centring import CentringResult
from sweeps.fourier import Float
from sweeps.orbit import OrbitResult
from sweeps.result import SweepFailure, SweepResult

Located = CentringResult | SweepResult | OrbitResult
_LEAST_LENGTH_MM = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Offset:
    """Where an axis stands at one height: ``(2,)`` in mm, covariance in mm², dof."""

    vector_mm: Float
    covariance: Float
    dof: float

    @property
    def size_mm(self) -> float:
        """How far off."""
        return float(np.hypot(*self.vector_mm))

    @property
    def u_size_mm(self) -> float:
        """Standard uncertainty of `size_mm`, k = 1."""
        return u_of_size(self.vector_mm, self.covariance)

    @property
    def high_spot_deg(self) -> float:
        """Direction in degrees from +X, anticlockwise seen from above."""
        return degrees(float(np.arctan2(self.vector_mm[1], self.vector_mm[0]))) % 360.0

    def judge(self, tolerance_mm: float) -> Verdict:
        """Judge the size against a tolerance."""
        return verdict(self.size_mm, self.u_size_mm, tolerance_mm, self.dof)


@dataclass(frozen=True, slots=True, eq=False)
class AxisResult:
    """An axis through two heights. Lengths in mm, angles in rad, `u_…` k = 1.

    `tilt_x_rad` > 0 leans to +X going up. `covariance` is of (x, y at the first height,
    x, y at the second) in mm². `cone_mm_per_mm` is the growth of the diameter a mm up,
    None where the dial was set anew between the heights.
    """

    heights_mm: tuple[float, float]
    offsets: tuple[Offset, Offset]
    covariance: Float
    tilt_x_rad: float
    tilt_y_rad: float
    tilt_covariance: Float
    tilt_rad: float
    u_tilt_rad: float
    tilt_deg: float
    """Towards where the axis leans going up, degrees from +X, anticlockwise from above."""
    dof: float
    cone_mm_per_mm: float | None
    u_cone_mm_per_mm: float | None
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    def at(self, height_mm: float) -> Offset:
        """Return where the axis stands at any height; beyond the two the uncertainty grows."""
        share = _share(self.heights_mm, height_mm)
        one, other = self.offsets
        lines = _lines((1 - share, one), (share, other))
        return Offset(
            (1 - share) * one.vector_mm + share * other.vector_mm,
            (1 - share) ** 2 * one.covariance + share**2 * other.covariance,
            combine(lines).dof,
        )

    def lean_mm(self, length_mm: float) -> float:
        """Return how far the axis leans over a length."""
        return self.tilt_rad * length_mm

    def judge(self, tolerance_mm: float, length_mm: float) -> Verdict:
        """Judge the lean over a length against a tolerance."""
        return verdict(self.lean_mm(length_mm), self.u_tilt_rad * length_mm, tolerance_mm, self.dof)


def axis_through(
    first: Located | SweepFailure,
    first_height_mm: float,
    second: Located | SweepFailure,
    second_height_mm: float,
    *,
    same_setting: bool = False,
) -> AxisResult | SweepFailure:
    """Return the axis through two depths of a bore, or two heights of a boss, bar or orbit.

    Parameters
    ----------
    first, second
        Two centrings, two sweeps with a surface, or two orbits.
    first_height_mm, second_height_mm
        Along +Z, from any zero.
    same_setting
        Whether the stylus kept its radius between them: then a difference of the means is
        a cone. ``growth = ±2 Δmean / Δz``, minus in a bore.

    Returns
    -------
    AxisResult or SweepFailure
        What repeats at both heights (reader, dial, roundness) is counted as if it did not:
        the lean's uncertainty errs on the large side. A failure where either is one, the
        surfaces differ or have no centre, or the heights are the same or not numbers.
    """
    for one in (first, second):
        if isinstance(one, SweepFailure):
            return one
    length = second_height_mm - first_height_mm
    reason = _no_axis(first, second, length)
    offsets = offset_of(first), offset_of(second)
    if reason is not None or offsets[0] is None or offsets[1] is None:
        return SweepFailure(reason or "An axis needs a bore, a boss, a bar or an orbit: say which.")
    return _result(
        (first, second), (offsets[0], offsets[1]), (first_height_mm, length), same_setting
    )


def _no_axis(
    first: Located | SweepFailure, second: Located | SweepFailure, length: float
) -> str | None:
    if not np.isfinite(length) or abs(length) < _LEAST_LENGTH_MM:
        return "The two heights must be numbers and differ: an axis has no lean over no length."
    if getattr(first, "surface", None) != getattr(second, "surface", None):
        return "The two heights were swept on different kinds of surface."
    return None


def offset_of(found: Located | SweepFailure) -> Offset | None:
    """Return the offset that a result holds, None where it has none."""
    if isinstance(found, CentringResult):
        vector, covariance = (found.offset_x_mm, found.offset_y_mm), found.covariance
        return Offset(np.array(vector), covariance, found.dof_total)
    if isinstance(found, OrbitResult):
        return Offset(np.array((found.x_mm, found.y_mm)), found.covariance, found.dof)
    if isinstance(found, SweepResult) and found.u_offset_mm is not None:
        vector_mm = np.array((found.offset_x_mm, found.offset_y_mm), dtype=np.float64)
        return Offset(vector_mm, found.u_offset_mm, found.dof_total)
    return None


def u_of_size(vector: Float, covariance: Float) -> float:
    """Return the uncertainty of a vector's size; the worst direction where it is lost in it."""
    worst = sqrt(max(float(np.linalg.eigvalsh(covariance)[-1]), 0.0))
    size = float(np.hypot(*vector))
    if size < 3 * worst or size == 0.0:
        return worst
    unit = vector / size
    return sqrt(max(float(unit @ covariance @ unit), 0.0))


def _share(heights: tuple[float, float], height_mm: float) -> float:
    return (height_mm - heights[0]) / (heights[1] - heights[0])


def _lines(*parts: tuple[float, Offset]) -> list[BudgetLine]:
    return [
        BudgetLine("", abs(weight) * sqrt(float(np.trace(part.covariance))), part.dof)
        for weight, part in parts
    ]


def _result(
    found: tuple[Located | SweepFailure, Located | SweepFailure],
    offsets: tuple[Offset, Offset],
    span: tuple[float, float],
    same_setting: bool,
) -> AxisResult:
    low, length = span
    lean = (offsets[1].vector_mm - offsets[0].vector_mm) / length
    covariance = (offsets[0].covariance + offsets[1].covariance) / length**2
    full = np.zeros((4, 4))
    full[:2, :2], full[2:, 2:] = offsets[0].covariance, offsets[1].covariance
    cone = _cone(found, length) if same_setting else None
    return AxisResult(
        heights_mm=(low, low + length),
        offsets=offsets,
        covariance=full,
        tilt_x_rad=float(lean[0]),
        tilt_y_rad=float(lean[1]),
        tilt_covariance=covariance,
        tilt_rad=hypot(*lean.tolist()),
        u_tilt_rad=u_of_size(lean, covariance),
        tilt_deg=degrees(float(np.arctan2(lean[1], lean[0]))) % 360.0,
        dof=combine(_lines((1.0, offsets[0]), (1.0, offsets[1]))).dof,
        cone_mm_per_mm=cone[0] if cone is not None else None,
        u_cone_mm_per_mm=cone[1].u_mm if cone is not None else None,
        flags=tuple(dict.fromkeys((*found[0].flags, *found[1].flags))),
        message=f"an axis from two heights {abs(length):g} mm apart",
    )


def _cone(
    found: tuple[Located | SweepFailure, Located | SweepFailure], length: float
) -> tuple[float, Combined] | None:
    means, lines = [], []
    for one in found:
        if not isinstance(one, SweepResult | CentringResult):
            return None
        mean = one.shape_values_mm[0] if isinstance(one, CentringResult) else one.mean_mm
        means.append(float(mean) - (one.geometry[0] if isinstance(one, SweepResult) else 0.0))
        fit = one.covariance if isinstance(one, SweepResult) else one.shape_covariance
        reader = next(line.u_mm for line in one.budget if line.name == "reader")
        own = hypot(sqrt(float(fit[0, 0])), reader, one.u_dial_mm or 0.0)
        lines.append(BudgetLine("", 2 * own / abs(length), inf))
    sign = -2.0 if getattr(found[0], "surface", None) == "bore" else 2.0
    return sign * (means[1] - means[0]) / length, combine(lines)
