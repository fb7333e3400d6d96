"""What a traverse says: parallelism, straightness, and the corrections that follow."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sweeps.budget import BudgetLine, Verdict, combine, verdict
from sweeps.fourier import Float
from sweeps.slope import Slope


@dataclass(frozen=True, slots=True, eq=False)
class TraverseResult:
    """Numbers of one line of readings. Lengths in mm, `u_…` k = 1.

    `slope` is the rise of the reading over place, by least squares; a positive one comes
    nearer to the stylus with growing place. `covariance` is the fit's, of `values` in the
    order of `parameters` (level in the middle in mm, slope in mm per mm, then form,
    retrace and drift in mm where they were fitted). `budget` lists what touches the rise
    over 300 mm. Straightness is max - min about the least-squares line and about the
    minimum zone; `parallelism_mm` is max - min of the readings themselves, form included.
    """

    slope: Slope
    rise_mm: float
    """Of the fitted line over the length run."""
    u_rise_mm: float
    near_mm: float
    far_mm: float
    level_mm: float
    """Reading of the fitted line in the middle."""
    parameters: tuple[str, ...]
    values: Float
    covariance: Float
    n: int
    dof: float
    residuals_mm: Float
    kept: np.ndarray
    budget: tuple[BudgetLine, ...]
    straightness_ls_mm: float
    u_straightness_ls_mm: float
    straightness_mz_mm: float
    u_straightness_mz_mm: float
    straightness_budget: tuple[BudgetLine, ...]
    """Of the minimum zone."""
    parallelism_mm: float
    profile_place_mm: Float
    profile_mm: Float
    """(m,): readings by place, retrace and drift taken off, means of neighbours if many."""
    retrace_mm: float | None
    """Way there minus way back; None where it was run one way."""
    drift_mm: float | None
    """From first reading to last; None where it cannot be told from the rise."""
    return_mm: float | None
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    @property
    def length_mm(self) -> float:
        """Length run."""
        return self.far_mm - self.near_mm

    def line_mm(self, at_mm: float) -> float:
        """Return the fitted line's reading at a place, beyond the ends as well."""
        return self.level_mm + self.slope.rad * (at_mm - (self.near_mm + self.far_mm) / 2)

    def correction_mm(self, at_mm: float, pivot_mm: float) -> float:
        """Return by how much the work must come towards the stylus at one place, in mm.

        It is turned about a pivot where nothing moves; negative is away from the stylus.
        """
        return -self.slope.over_mm(at_mm - pivot_mm)

    def u_correction_mm(self, at_mm: float, pivot_mm: float) -> float:
        """Return the standard uncertainty in mm of `correction_mm`."""
        return self.slope.u_over_mm(at_mm - pivot_mm)

    def reading_when_right_mm(self, at_mm: float, pivot_mm: float) -> float:
        """Return the reading to bring the needle to at a place, its own form included."""
        shown = float(np.interp(at_mm, self.profile_place_mm, self.profile_mm))
        inside = min(max(at_mm, self.near_mm), self.far_mm)
        return self.line_mm(pivot_mm) + shown - self.line_mm(inside)

    def judge_straightness(self, tolerance_mm: float) -> Verdict:
        """Judge the minimum-zone straightness; scatter alone is never called "outside"."""
        total = combine(self.straightness_budget)
        found = verdict(self.straightness_mz_mm, total.u_mm, tolerance_mm, total.dof)
        if found.word == "outside" and "form within scatter" in self.flags:
            return Verdict("cannot tell", found.guard_mm, found.least_provable_mm)
        return found
