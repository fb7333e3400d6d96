"""Bar and spindle told apart by seating the bar anew at quarters of a turn.

Seat k shows ``v_k = s + b e^{iφ_k}``: s stays with the spindle, b goes round with the bar.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees, inf, pi, sqrt
from typing import Literal

import numpy as np

from sweeps.axis import Offset, offset_of
from sweeps.budget import BudgetLine, combine
from sweeps.centring import CentringResult
from sweeps.fourier import Complex, Float
from sweeps.orbit import OrbitResult
from sweeps.result import SweepFailure, SweepResult

QUARTERS_RAD = tuple(k * pi / 2 for k in range(4))
_MIN_SEATS = 3
Seated = SweepResult | CentringResult | OrbitResult


@dataclass(frozen=True, slots=True, eq=False)
class ReseatResult:
    """What stays with the spindle and what goes with the bar; lengths in mm, `u_…` k = 1.

    `spindle` is the mean vector: the seat's own eccentricity in the frame of the angles.
    `bar` is in the bar's frame: its runout, or with a target mostly the sticking.
    `mean_of_readings_mm` is the mean of the single TIRs as ISO 230-1 has it (None of
    orbits): it holds bar, spindle and lobes together and is never the mean vector's.
    `seat_scatter_mm` is how far one seating of the bar misses, k = 1 a component.
    """

    spindle: Offset
    bar: Offset
    mean_of_readings_mm: float | None
    seat_scatter_mm: float
    residuals_mm: Float
    """(k, 2): what each seat differs from spindle plus bar."""
    budget: tuple[BudgetLine, ...]
    """Of either component of `spindle`."""
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True


def reseat(
    seats: Sequence[Seated | SweepFailure], turned_rad: Sequence[float] = QUARTERS_RAD
) -> ReseatResult | SweepFailure:
    """Part spindle and bar from sweeps (or target orbits) of one bar seated anew.

    Parameters
    ----------
    seats
        Three or more, four as a rule; all of one kind, angles counted on the spindle.
    turned_rad
        How far the bar stood turned in its seat, anticlockwise seen from above, one for
        each; quarters by default.

    Returns
    -------
    ReseatResult or SweepFailure
        Least squares in the plane; with quarters s is the plain mean of the vectors. The
        scatter of the seats (2k - 4 degrees of freedom) is the uncertainty, reader and dial
        beside it, for they do not average out. A failure where a seat is one, fewer than
        three seats differ, or there is no surface.
    """
    failed = next((seat for seat in seats if isinstance(seat, SweepFailure)), None)
    if failed is not None:
        return failed
    turned = np.asarray(turned_rad, dtype=np.float64)
    reason = _no_seats(seats, turned)
    vectors = [_vector(seat) for seat in seats]
    known = [vector for vector in vectors if vector is not None]
    if reason is not None or len(known) < len(vectors):
        return SweepFailure(reason or "A seat has no vector: say the surface, or give angles.")
    return _parted(list(seats), np.array(known), turned)


def _no_seats(seats: Sequence[Seated | SweepFailure], turned: Float) -> str | None:
    if len(seats) != len(turned) or not np.isfinite(turned).all():
        return "There must be one angle of the bar in its seat for each sweep."
    apart = np.abs(np.exp(1j * turned)[:, None] - np.exp(1j * turned)[None, :])
    if len(seats) < _MIN_SEATS or np.linalg.matrix_rank(apart > 0.1) < 2 or _distinct(apart) < 3:
        return "Bar and spindle need three seats or more, well apart: four at quarters."
    if len({isinstance(seat, OrbitResult) for seat in seats}) > 1:
        return "Sweeps and target orbits do not mix."
    if len({getattr(seat, "surface", None) for seat in seats}) > 1:
        return "The seats were swept on different kinds of surface."
    return None


def _distinct(apart: Float) -> int:
    return sum(bool(np.all(row[:i] > 0.1)) for i, row in enumerate(apart))


def _vector(seat: Seated | SweepFailure) -> complex | None:
    if isinstance(seat, OrbitResult):
        arm = seat.arm_x_mm, seat.arm_y_mm
        return None if arm[0] is None or arm[1] is None else complex(arm[0], arm[1])
    found = offset_of(seat)
    return None if found is None else complex(*found.vector_mm.tolist())


def _parted(seats: list[Seated | SweepFailure], vectors: Complex, turned: Float) -> ReseatResult:
    columns = np.column_stack([np.ones(len(turned)), np.exp(1j * turned)])
    inverse = np.linalg.inv(columns.conj().T @ columns)
    spindle, bar = (inverse @ (columns.conj().T @ vectors)).tolist()
    rest = vectors - columns @ np.array([spindle, bar])
    dof = 2 * len(turned) - 4
    scatter = sqrt(float(np.sum(np.abs(rest) ** 2)) / dof)
    shared = _shared(seats)
    share = [sqrt(float(inverse[i, i].real)) for i in (0, 1)]
    budget = (BudgetLine("seats", share[0] * scatter, dof, "scatter of the seats"), *shared)
    tirs = [seat.tir_mm for seat in seats if isinstance(seat, SweepResult | CentringResult)]
    return ReseatResult(
        spindle=_offset(spindle, budget),
        bar=_offset(bar, (BudgetLine("seats", share[1] * scatter, dof), *shared)),
        mean_of_readings_mm=float(np.mean(tirs)) if tirs else None,
        seat_scatter_mm=scatter,
        residuals_mm=np.column_stack([rest.real, rest.imag]),
        budget=budget,
        flags=tuple(dict.fromkeys(flag for seat in seats for flag in seat.flags)),
        message=f"bar seated {len(turned)} times at "
        + ", ".join(f"{degrees(angle):.0f}" for angle in turned.tolist())
        + " degrees",
    )


def _shared(seats: list[Seated | SweepFailure]) -> tuple[BudgetLine, ...]:
    """Return what repeats in every seat: reader and dial."""
    swept = [seat for seat in seats if isinstance(seat, SweepResult | CentringResult)]
    reader = [line.u_mm for seat in swept for line in seat.budget if line.name == "reader"]
    dial = [seat.u_dial_mm for seat in swept if seat.u_dial_mm is not None]
    lines = (
        BudgetLine("reader", max(reader, default=0.0), inf, "the same in every seat"),
        BudgetLine("dial", max(dial, default=0.0), inf, "its error table"),
    )
    return tuple(line for line in lines if line.u_mm > 0)


def _offset(vector: complex, budget: tuple[BudgetLine, ...]) -> Offset:
    total = combine(budget)
    return Offset(np.array([vector.real, vector.imag]), total.u_mm**2 * np.eye(2), total.dof)
