"""The proof afterwards: both seats swept, from one side at two depths or between centres.

Where each centre lies to the spindle, or to the line of the centres, does not matter: only
how one seat's axis lies to the other's. So what is common to all sweeps (how the part is
held, where the spindle stands) falls out, and what is not (the Z travel's straightness)
belongs into each centre's covariance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt
from typing import Literal

import numpy as np
from scipy.special import chdtri

from sweeps.budget import BudgetLine, Verdict, combine
from sweeps.centring import CentringResult
from sweeps.fourier import Float
from sweeps.radial import measured_verdict, radial_quantile, widened
from sweeps.result import SweepFailure, SweepResult

_LEAST_DEPTHS = 2


@dataclass(frozen=True, slots=True, eq=False)
class Centre:
    """A seat's centre at one depth, in mm, with its (2, 2) covariance in mm²."""

    z_mm: float
    x_mm: float
    y_mm: float
    covariance: Float
    dof: float = inf


def centre_of(
    found: CentringResult | SweepResult | SweepFailure, z_mm: float, u_travel_mm: float = 0.0
) -> Centre | SweepFailure:
    """Return the centre that a sweep found at depth `z_mm`.

    `u_travel_mm` is how far from straight the travel between the depths may be, k = 1.
    A failure where the sweep gave no offset.
    """
    if isinstance(found, SweepFailure):
        return found
    covariance = found.covariance if isinstance(found, CentringResult) else found.u_offset_mm
    x, y = found.offset_x_mm, found.offset_y_mm
    if x is None or y is None or covariance is None:
        return SweepFailure("What was swept is not said, so the sweep gives no offset.")
    wide = covariance + u_travel_mm**2 * np.eye(2)
    return Centre(z_mm, x, y, wide, found.dof_total)


@dataclass(frozen=True, slots=True, eq=False)
class ProofResult:
    """The second axis seen from the first. Lengths in mm, leans in rad, `u_…` k = 1.

    `values` and `covariance` (4, 4) are x, y, lean x, lean y of the second axis from the
    first's, at the middle of the second seat. Zones are diameters (ISO 1101): coaxiality
    twice the offset at the seat's worse end, parallelism the lean times its length; None
    where the second seat was swept at one depth only, whose offset then stands alone.
    `u_…` of a size that is lost in the noise is that of the least known direction; the
    bounds hold 95 % there as well.
    """

    values: Float
    covariance: Float
    coaxiality_mm: float
    u_coaxiality_mm: float
    coaxiality_bound_mm: float
    parallelism_mm: float | None
    u_parallelism_mm: float | None
    parallelism_bound_mm: float | None
    dof: float
    budget: tuple[BudgetLine, ...]
    """What each sweep adds to the coaxiality along its own direction."""
    worse_end_mm: float
    place: Float
    place_covariance: Float
    seat_mm: tuple[float, float]
    residuals_mm: Float
    """(n, 2): of the first seat's centres, then the second's, about their lines."""
    n: int
    chi_square: float
    """Of the residuals in the stated covariances; its degrees of freedom are `spare`."""
    spare: int
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    def judge_coaxiality(self, tolerance_mm: float) -> Verdict:
        """Judge the coaxiality zone's diameter against a tolerance."""
        found = measured_verdict(self.place, self.place_covariance, tolerance_mm / 2, self.dof)
        return Verdict(found.word, 2 * found.guard_mm, 2 * found.least_provable_mm)

    def judge_parallelism(self, tolerance_mm: float) -> Verdict:
        """Judge the parallelism zone's diameter; one depth can never tell."""
        if self.parallelism_mm is None:
            return Verdict("cannot tell", inf, inf)
        length = abs(self.seat_mm[1] - self.seat_mm[0])
        lean, covariance = length * self.values[2:], length**2 * self.covariance[2:, 2:]
        return measured_verdict(lean, covariance, tolerance_mm, self.dof)


def prove(
    first: Sequence[Centre | SweepFailure],
    second: Sequence[Centre | SweepFailure],
    seat_mm: tuple[float, float],
) -> ProofResult | SweepFailure:
    """Return how the second seat's axis lies to the first's.

    Parameters
    ----------
    first, second
        Centres of the first seat at two depths or more, of the second at one or more; any
        frame that all share.
    seat_mm
        Depths of both ends of the second seat.

    Returns
    -------
    ProofResult or SweepFailure
        Straight lines by weighted least squares, ``x(z) = p + l z`` in x and y at once. A
        failure with fewer centres, depths that are all the same, a covariance that cannot
        be, or a value that is not a number; a failed sweep is handed on.
    """
    for centre in (*first, *second):
        if isinstance(centre, SweepFailure):
            return centre
    one = [c for c in first if isinstance(c, Centre)]
    other = [c for c in second if isinstance(c, Centre)]
    reason = _unusable(one, other, seat_mm)
    if reason is not None:
        return SweepFailure(reason)
    return _result(one, other, seat_mm)


def _unusable(
    first: list[Centre], second: list[Centre], seat_mm: tuple[float, float]
) -> str | None:
    if len({c.z_mm for c in first}) < _LEAST_DEPTHS:
        return "The first seat needs two different depths or more: one centre gives no axis."
    if not second:
        return "The second seat was not swept."
    if not np.isfinite(seat_mm).all() or seat_mm[0] == seat_mm[1]:
        return "The second seat has no length."
    for centre in (*first, *second):
        if not np.isfinite([centre.z_mm, centre.x_mm, centre.y_mm, *centre.covariance.flat]).all():
            return "A centre is not a number."
        if np.linalg.eigvalsh(centre.covariance)[0] <= 0:
            return "A centre's covariance cannot be: it must be above zero in every direction."
    return None


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """Weights (4, 2n) from the centres to p and l at a height, and what is left over."""

    weights: Float
    values: Float
    residuals: Float
    chi_square: float
    spare: int


def _line(centres: list[Centre], at_mm: float) -> _Line:
    """Fit (x, y, lean x, lean y) at a height; a lean of one depth is left at nothing."""
    leans = len({c.z_mm for c in centres}) >= _LEAST_DEPTHS
    columns = np.vstack([_columns(c.z_mm - at_mm, leans=leans) for c in centres])
    measured = np.array([[c.x_mm, c.y_mm] for c in centres]).ravel()
    inverse = np.zeros((2 * len(centres), 2 * len(centres)))
    for k, c in enumerate(centres):
        inverse[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] = np.linalg.inv(c.covariance)
    weights = np.linalg.solve(columns.T @ inverse @ columns, columns.T @ inverse)
    values = weights @ measured
    rest = measured - columns @ values
    whole = np.zeros((4, 2 * len(centres)))
    whole[: len(weights)] = weights
    found = np.zeros(4)
    found[: len(values)] = values
    spare = len(measured) - columns.shape[1]
    return _Line(whole, found, rest.reshape(-1, 2), float(rest @ inverse @ rest), spare)


def _columns(z_mm: float, *, leans: bool) -> Float:
    place = np.eye(2)
    return np.hstack([place, z_mm * place]) if leans else place


def _result(first: list[Centre], second: list[Centre], seat_mm: tuple[float, float]) -> ProofResult:
    one_depth = len({c.z_mm for c in second}) < _LEAST_DEPTHS
    middle = second[0].z_mm if one_depth else sum(seat_mm) / 2
    lines = [_line(first, middle), _line(second, middle)]
    values = lines[1].values - lines[0].values
    weights = np.hstack([-lines[0].weights, lines[1].weights])
    centres = [*first, *second]
    if one_depth:
        values[2:], weights[2:] = 0.0, 0.0
    covariance = weights @ _blocks(centres) @ weights.T
    ends = (middle,) if one_depth else seat_mm
    return _finish(centres, lines, seat_mm, values, covariance, weights, middle, ends)


def _blocks(centres: list[Centre]) -> Float:
    total = np.zeros((2 * len(centres), 2 * len(centres)))
    for k, c in enumerate(centres):
        total[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] = c.covariance
    return total


def _place_at(values: Float, covariance: Float, up_mm: float) -> tuple[Float, Float]:
    """Return the offset and its covariance `up_mm` above the height of `values`."""
    lever = np.hstack([np.eye(2), up_mm * np.eye(2)])
    return lever @ values, lever @ covariance @ lever.T


def _direction(place: Float, covariance: Float) -> Float:
    """Return the unit vector along an offset; the least known one where it is lost in noise."""
    variance, axes = np.linalg.eigh(covariance)
    size = float(np.hypot(*place))
    if size < 3 * sqrt(max(float(variance[-1]), 0.0)):
        return np.asarray(axes[:, -1])
    return place / size


def _budget(centres: list[Centre], names: list[str], row: Float) -> tuple[BudgetLine, ...]:
    """Return what each sweep adds to twice the offset; `row` (2n,) is the offset's weights."""
    lines = []
    for k, centre in enumerate(centres):
        part = row[2 * k : 2 * k + 2]
        u_mm = 2 * sqrt(max(float(part @ centre.covariance @ part), 0.0))
        lines.append(BudgetLine(names[k], u_mm, centre.dof, "sweep"))
    return tuple(lines)


def _finish(
    centres: list[Centre],
    lines: list[_Line],
    seat_mm: tuple[float, float],
    values: Float,
    covariance: Float,
    weights: Float,
    middle: float,
    ends: Sequence[float],
) -> ProofResult:
    places = [_place_at(values, covariance, end - middle) for end in ends]
    worse = int(np.argmax([np.hypot(*place) for place, _ in places]))
    place, wide = places[worse]
    unit = _direction(place, wide)
    row = (weights[:2] + (ends[worse] - middle) * weights[2:]).T @ unit
    split = len(lines[0].residuals)
    names = [
        f"{'first' if k < split else 'second'} seat at {c.z_mm:g} mm" for k, c in enumerate(centres)
    ]
    budget = _budget(centres, names, row)
    total = combine(budget)
    lean = _lean(values, covariance, seat_mm, total.dof) if len(ends) > 1 else (None, None, None)
    chi_square = sum(line.chi_square for line in lines)
    spare = sum(line.spare for line in lines)
    return ProofResult(
        values=values,
        covariance=covariance,
        coaxiality_mm=2 * float(np.hypot(*place)),
        u_coaxiality_mm=total.u_mm,
        coaxiality_bound_mm=2 * radial_quantile(0.95, place, widened(wide, total.dof)),
        parallelism_mm=lean[0],
        u_parallelism_mm=lean[1],
        parallelism_bound_mm=lean[2],
        dof=total.dof,
        budget=budget,
        worse_end_mm=ends[worse],
        place=place,
        place_covariance=wide,
        seat_mm=seat_mm,
        residuals_mm=np.vstack([line.residuals for line in lines]),
        n=len(centres),
        chi_square=chi_square,
        spare=spare,
        flags=_flags(chi_square, spare, one_depth=len(ends) == 1),
        message=f"{split} and {len(centres) - split} depths",
    )


def _lean(
    values: Float, covariance: Float, seat_mm: tuple[float, float], dof: float
) -> tuple[float, float, float]:
    """Return parallelism over the seat, its standard uncertainty and its 95 % bound."""
    length = abs(seat_mm[1] - seat_mm[0])
    lean, wide = length * values[2:], length**2 * covariance[2:, 2:]
    unit = _direction(lean, wide)
    u_mm = sqrt(float(unit @ wide @ unit))
    return float(np.hypot(*lean)), u_mm, radial_quantile(0.95, lean, widened(wide, dof))


def _flags(chi_square: float, spare: int, *, one_depth: bool) -> tuple[str, ...]:
    bent = spare > 0 and chi_square > chdtri(spare, 0.001)
    raised = {"depths disagree": bent, "one depth only": one_depth}
    return tuple(name for name, on in raised.items() if on)
