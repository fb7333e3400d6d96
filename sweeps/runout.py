"""Runout of a bar or a held part: TIR, eccentricity, high spot, lobes; at any height."""

from dataclasses import dataclass
from math import hypot, sqrt
from typing import Literal

import numpy as np

from sweeps.axis import AxisResult, Offset, axis_through
from sweeps.budget import BudgetLine, Verdict, combine, verdict
from sweeps.centring import CentringResult
from sweeps.fourier import Float, harmonic_columns
from sweeps.orbit import OrbitResult
from sweeps.result import Harmonic, SweepFailure, SweepResult, judge_places

_CURVE_POINTS = 720


@dataclass(frozen=True, slots=True, eq=False)
class RunoutResult:
    """Runout at one height; lengths in mm, `u_…` k = 1.

    `tir_mm` is maximum minus minimum of the fitted curve (1 to 15 undulations a turn): it
    holds offset and lobes. `eccentricity_mm` is half of a pure offset's TIR. The two are
    never mixed. `budget` adds up to `u_tir_mm`.
    """

    tir_mm: float
    u_tir_mm: float
    dof: float
    budget: tuple[BudgetLine, ...]
    eccentricity_mm: float
    u_eccentricity_mm: float
    high_spot_deg: float
    lobes: tuple[Harmonic, ...]
    places: int
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    def judge(self, tolerance_mm: float) -> Verdict:
        """Judge the TIR; where not every place was touched it can never say "inside"."""
        found = judge_places(self.tir_mm, combine(self.budget), tolerance_mm, self.places)
        if found.word == "inside" and "tir at least" in self.flags:
            return Verdict("cannot tell", found.guard_mm, float("inf"))
        return found


def runout(found: SweepResult | CentringResult | SweepFailure) -> RunoutResult | SweepFailure:
    """Return the runout that a swept bar, boss or held bore shows.

    An offset's errors count twice in a TIR: retrace and dial stand in the budget so.

    Returns
    -------
    RunoutResult or SweepFailure
        A failure where the sweep is one.
    """
    if isinstance(found, SweepFailure):
        return found
    if isinstance(found, OrbitResult):
        return SweepFailure("A target's orbit shows the axis, never a runout: sweep the bar.")
    retrace = sum(line.u_mm**2 for line in found.budget if line.name == "retrace")
    lines = [
        BudgetLine("curve", found.u_tir_mm, found.dof_total, "fit and reader at both ends"),
        BudgetLine("retrace", 2 * sqrt(retrace), note="rest at each turn of the needle"),
    ]
    if found.u_dial_mm is not None:
        lines.append(BudgetLine("dial", 2 * found.u_dial_mm, note="its error table"))
    total = combine(lines)
    lobes = found.lobes if isinstance(found, CentringResult) else found.harmonics[1:]
    return RunoutResult(
        tir_mm=found.tir_mm,
        u_tir_mm=total.u_mm,
        dof=total.dof,
        budget=tuple(lines),
        eccentricity_mm=found.eccentricity_mm,
        u_eccentricity_mm=found.u_total_mm,
        high_spot_deg=found.high_spot_deg,
        lobes=lobes,
        places=found.places,
        flags=found.flags,
        message=found.message,
    )


@dataclass(frozen=True, slots=True, eq=False)
class RunoutAt:
    """Runout told for a height, between or beyond the two swept; lengths in mm, k = 1."""

    height_mm: float
    tir_mm: float
    u_tir_mm: float
    dof: float
    offset: Offset

    def judge(self, tolerance_mm: float) -> Verdict:
        """Judge the TIR against a tolerance."""
        return verdict(self.tir_mm, self.u_tir_mm, tolerance_mm, self.dof)


@dataclass(frozen=True, slots=True, eq=False)
class BarResult:
    """A bar swept at two heights: its axis and, from it, its runout at any height."""

    axis: AxisResult
    runouts: tuple[RunoutResult, RunoutResult]
    lobes_mm: tuple[Float, Float]
    """Coefficients (a2, b2, a3, …) at either height, to the order that both carry."""
    lobes_covariance: tuple[Float, Float]

    def __bool__(self) -> Literal[True]:
        return True

    def at(self, height_mm: float) -> RunoutAt:
        """Return the runout at a height: the axis on its line, the lobes between the two.

        Beyond either height the lobes are that height's own.
        """
        offset = self.axis.at(height_mm)
        low, high = self.axis.heights_mm
        share = float(np.clip((height_mm - low) / (high - low), 0.0, 1.0))
        lobes = (1 - share) * self.lobes_mm[0] + share * self.lobes_mm[1]
        spread = (1 - share) ** 2 * self.lobes_covariance[0] + share**2 * self.lobes_covariance[1]
        columns = harmonic_columns(np.linspace(0, 2 * np.pi, _CURVE_POINTS), len(lobes) // 2 + 1)
        curve = columns[:, 1:3] @ offset.vector_mm + columns[:, 3:] @ lobes
        apart = columns[int(np.argmax(curve))] - columns[int(np.argmin(curve))]
        variance = float(apart[1:3] @ offset.covariance @ apart[1:3])
        variance += float(apart[3:] @ spread @ apart[3:])
        return RunoutAt(height_mm, float(np.ptp(curve)), sqrt(variance), offset.dof, offset)


def bar_at_two_heights(
    first: SweepResult | CentringResult | SweepFailure,
    first_height_mm: float,
    second: SweepResult | CentringResult | SweepFailure,
    second_height_mm: float,
) -> BarResult | SweepFailure:
    """Return axis tilt and runout at any height of a bar or boss swept at two.

    Returns
    -------
    BarResult or SweepFailure
        A failure as `axis_through` has them, or where the surface is a bore's.
    """
    axis = axis_through(first, first_height_mm, second, second_height_mm)
    if not axis:
        return axis
    one, other = runout(first), runout(second)
    if not one or not other or isinstance(first, SweepFailure) or isinstance(second, SweepFailure):
        return SweepFailure("One of the two heights gives no runout.")
    if first.surface == "bore":
        return SweepFailure("This is a bore: its axis from two depths is axis_through's to tell.")
    lobes = [_lobes(found) for found in (first, second)]
    size = min(len(values) for values, _ in lobes)
    cut = [(values[:size], spread[:size, :size]) for values, spread in lobes]
    return BarResult(axis, (one, other), (cut[0][0], cut[1][0]), (cut[0][1], cut[1][1]))


def _lobes(found: SweepResult | CentringResult) -> tuple[Float, Float]:
    """Return (a2, b2, …) of the bar itself and their covariance."""
    if isinstance(found, CentringResult):
        return found.shape_values_mm[3:], found.shape_covariance[3:, 3:]
    size = 2 * found.model.order + 1
    values = np.array(found.values_mm[3:size])
    if len(values):
        high = np.radians(2 * found.high_spot_deg)
        values[:2] -= found.geometry[1] * np.array([np.cos(high), np.sin(high)])
    return values, found.covariance[3:size, 3:size]


@dataclass(frozen=True, slots=True, eq=False)
class ReversalOfPart:
    """Part and spindle by Donaldson's reversal, in orders 2 and up; lengths in mm, k = 1.

    `part_mm` and `spindle_mm` are coefficients (a2, b2, a3, b3, …) at the part's angle,
    `covariance` that of either; the spindle's are its motion towards the stylus in the
    first setting. `part_tir_mm` and `spindle_tir_mm` are of those orders alone.
    """

    part_mm: Float
    spindle_mm: Float
    covariance: Float
    dof: float
    part_tir_mm: float
    u_part_tir_mm: float
    spindle_tir_mm: float
    u_spindle_tir_mm: float
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True


def donaldson_reversal(
    plain: SweepResult | SweepFailure, reversed_: SweepResult | SweepFailure
) -> ReversalOfPart | SweepFailure:
    """Part the roundness of the work from the motion of the spindle (R. Donaldson, 1972).

    Parameters
    ----------
    plain, reversed_
        Two sweeps at the part's own angle: the second with the part turned half round on
        the spindle and the stylus on the opposite side, so that the spindle's motion enters
        with its sign turned: ``P = (r1 + r2) / 2``, ``S = (r1 - r2) / 2``.

    Returns
    -------
    ReversalOfPart or SweepFailure
        The first order is setting-up in both and is not told. A failure where either is
        one, the surfaces differ, or they do not both carry two lobes.
    """
    if isinstance(plain, SweepFailure):
        return plain
    if isinstance(reversed_, SweepFailure):
        return reversed_
    if plain.surface != reversed_.surface or plain.diameter_mm != reversed_.diameter_mm:
        return SweepFailure("The two sweeps of a reversal were not over the same surface.")
    (one, one_u), (other, other_u) = _lobes(plain), _lobes(reversed_)
    size = min(len(one), len(other))
    if size < 2:
        return SweepFailure("These sweeps carry no lobes: a reversal needs a whole turn each.")
    part, spindle = (one[:size] + other[:size]) / 2, (one[:size] - other[:size]) / 2
    spread = (one_u[:size, :size] + other_u[:size, :size]) / 4
    tirs = [_tir(values, spread) for values in (part, spindle)]
    return ReversalOfPart(
        part_mm=part,
        spindle_mm=spindle,
        covariance=spread,
        dof=combine(
            BudgetLine("", hypot(*np.sqrt(np.diag(u))[:2]), r.dof)
            for u, r in ((one_u, plain), (other_u, reversed_))
        ).dof,
        part_tir_mm=tirs[0][0],
        u_part_tir_mm=tirs[0][1],
        spindle_tir_mm=tirs[1][0],
        u_spindle_tir_mm=tirs[1][1],
        flags=tuple(dict.fromkeys((*plain.flags, *reversed_.flags))),
        message=f"reversal of {plain.n} and {reversed_.n} readings",
    )


def _tir(lobes: Float, covariance: Float) -> tuple[float, float]:
    columns = harmonic_columns(np.linspace(0, 2 * np.pi, _CURVE_POINTS), len(lobes) // 2 + 1)[:, 3:]
    curve = columns @ lobes
    apart = columns[int(np.argmax(curve))] - columns[int(np.argmin(curve))]
    return float(np.ptp(curve)), sqrt(float(apart @ covariance @ apart))
