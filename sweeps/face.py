"""The part's own face swept square to the spindle: tilt, and shims at its supports."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from readings import Sweep
from sweeps.allowance import DEFAULT_ALLOWANCE, Allowance
from sweeps.budget import BudgetLine, Verdict
from sweeps.fourier import Float
from sweeps.linear import frozen, layout_is_singular
from sweeps.result import Harmonic, SweepFailure
from sweeps.slope import BUDGET_LENGTH_MM, Slope, judge_both, slope_of
from sweeps.swept import SweptFace, sweep_face
from sweeps.tram import with_arm


@dataclass(frozen=True, slots=True, eq=False)
class FaceResult:
    """Tilt of a face against the spindle, and the shims that take it away.

    `tilt_x` is positive where the face rises to +X, `tilt_y` to +Y. `shims_mm` ``(m,)``
    are added under the supports in the order given, none under the one that is high
    enough; `u_shims_mm` is of each against that one. Once they are in, the dial shows
    `face.shape_mm(θ)`: the face's own form, but for a constant.
    """

    tilt_x: Slope
    tilt_y: Slope
    covariance_rad2: Float
    budget_x: tuple[BudgetLine, ...]
    budget_y: tuple[BudgetLine, ...]
    shims_mm: Float
    u_shims_mm: Float
    shape: tuple[Harmonic, ...]
    face: SweptFace
    n: int
    dof: float
    residuals_mm: Float
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    def judge(self, tolerance_mm: float, per_mm: float = BUDGET_LENGTH_MM) -> Verdict:
        """Judge the tilt in both planes against a tolerance in mm over `per_mm`."""
        return judge_both(self.tilt_x, self.tilt_y, tolerance_mm, per_mm)


def face_square_to_spindle(
    sweeps: Sweep | Sequence[Sweep],
    radius_mm: float,
    supports_mm: ArrayLike,
    *,
    u_radius_mm: float = 0.5,
    allowance: Allowance = DEFAULT_ALLOWANCE,
    u_dial_mm: float | None = None,
    travel_mm: tuple[float, float] | None = None,
) -> FaceResult | SweepFailure:
    """Return the tilt of a face swept by an arm on the spindle, and shims at its supports.

    Parameters
    ----------
    sweeps, radius_mm, u_radius_mm, allowance, u_dial_mm, travel_mm
        As in `tram_by_arm`; the stylus looks down at the face.
    supports_mm
        ``(m, 2)``, m >= 3: X and Y of the supports from the spindle's axis.

    Returns
    -------
    FaceResult or SweepFailure
        A failure where the sweep fails or the supports lie on a line.

    Notes
    -----
    The face's high side pushes the stylus in: it rises to +X by ``a1 / S``. A support at
    (x, y) needs ``-(tilt_x x + tilt_y y)``, and the least of these is made nothing.
    """
    supports = np.array(supports_mm, dtype=np.float64)
    reason = _unusable(radius_mm, u_radius_mm, supports)
    if reason is not None:
        return SweepFailure(reason)
    face = sweep_face(sweeps, allowance=allowance, u_dial_mm=u_dial_mm, travel_mm=travel_mm)
    if not face:
        return face
    face = with_arm(face, radius_mm, u_radius_mm)
    tilt = np.array([face.a1_mm, face.b1_mm]) / radius_mm
    covariance = face.covariance_mm2 / radius_mm**2
    factor = BUDGET_LENGTH_MM / radius_mm
    budget_x, budget_y = face.lines((1.0, 0.0), factor), face.lines((0.0, 1.0), factor)
    shims, u_shims = _shims(supports, tilt, covariance)
    return FaceResult(
        tilt_x=slope_of(float(tilt[0]), budget_x),
        tilt_y=slope_of(float(tilt[1]), budget_y),
        covariance_rad2=covariance,
        budget_x=budget_x,
        budget_y=budget_y,
        shims_mm=shims,
        u_shims_mm=u_shims,
        shape=face.shape,
        face=face,
        n=face.n,
        dof=face.dof,
        residuals_mm=face.residuals_mm,
        flags=face.flags,
        message=face.message,
    )


def _unusable(radius_mm: float, u_radius_mm: float, supports: Float) -> str | None:
    if not (isfinite(radius_mm) and radius_mm > 0 and isfinite(u_radius_mm) and u_radius_mm >= 0):
        return "The arm's length must be a number over zero."
    if supports.ndim != 2 or supports.shape[1] != 2 or len(supports) < 3:
        return "Shims need three supports or more, each with X and Y."
    if not np.isfinite(supports).all():
        return "A support's place is not a number."
    if layout_is_singular(supports):
        return "The supports lie on a line or in one place: they fix no plane."
    return None


def _shims(supports: Float, tilt: Float, covariance: Float) -> tuple[Float, Float]:
    lift = -(supports @ tilt)
    apart = supports - supports[int(np.argmin(lift))]
    u = [sqrt(max(float(each @ covariance @ each), 0.0)) for each in apart]
    return frozen(lift - lift.min()), frozen(u)
