"""A rough face on a casting held between centres: it can only be rolled about their axis.

With the casting turned by φ a height becomes ``h' = h - φ t``, t being the place across
the axis. The slope along the axis no roll can change: it is cut. Three rolls answer three
questions and are kept apart: least removal, minimum zone, equal share between the ends.
"""

from dataclasses import dataclass
from math import inf, isfinite, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from sweeps.allowance import DEFAULT_ALLOWANCE, Allowance
from sweeps.budget import BudgetLine, combine, coverage_factor
from sweeps.fourier import Float
from sweeps.linear import as_arrays, frozen, unusable_places
from sweeps.plane import common_lines
from sweeps.result import SweepFailure
from sweeps.slope import BUDGET_LENGTH_MM, Slope, scaled, slope_of
from sweeps.zone import edges_at, line_zone, lower_hull

RollName = Literal["least removal", "minimum zone", "equal share"]
_MIN_PLACES = 4
_SURE = 0.95


@dataclass(frozen=True, slots=True)
class RollMove:
    """One jack of an opposing pair: slackened first, or tightened after the other.

    `lift_mm` is how far its head follows the casting: up is positive, and tightens.
    """

    pair: int
    across_mm: float
    action: Literal["slacken", "tighten"]
    lift_mm: float
    u_lift_mm: float
    turns: float
    u_turns: float


@dataclass(frozen=True, slots=True, eq=False)
class Roll:
    """One choice of φ. Lengths in mm, `u_…` k = 1; of the places touched, not between them.

    Attributes
    ----------
    angle
        φ: positive lowers the side at positive `across_mm`.
    floor_mm
        Reading that the lowest place then has: the plane that cleans the face all over.
    removal_mm, u_removal_mm
        From the highest place down to that plane.
    skim_cleans_mm, skim_leaves_witnesses_mm
        Depth below the highest place that surely cleans all places touched, and the
        greatest that surely leaves the lowest ones unmarked (95 %).
    lowest
        Indices of the places that clean last.
    heights_mm
        ``(n,)``: h' of each place.
    """

    name: RollName
    angle: Slope
    budget: tuple[BudgetLine, ...]
    floor_mm: float
    removal_mm: float
    u_removal_mm: float
    skim_cleans_mm: float
    skim_leaves_witnesses_mm: float
    lowest: tuple[int, ...]
    heights_mm: Float
    moves: tuple[RollMove, ...]


@dataclass(frozen=True, slots=True, eq=False)
class RollResult:
    """Three rolls of one casting, and what no roll changes.

    `end_errors_mm` are the rises across the width that remain at the near and the far end
    under equal share, one the other's negative; `along` is the slope along the axis.
    """

    least_removal: Roll
    minimum_zone: Roll
    equal_share: Roll
    witnesses: tuple[int, int]
    """The two lowest places of `least_removal`, on the negative and the positive side."""
    end_errors_mm: tuple[float, float]
    u_end_error_mm: float
    width_mm: float
    along: Slope
    cut_along_mm: float
    """Rise along the length touched: cut, not jacked."""
    n: int
    dof: int
    residuals_mm: Float
    """``(n,)`` about the twisted plane."""
    flags: tuple[str, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True


def roll_between_centres(
    along_mm: ArrayLike,
    across_mm: ArrayLike,
    height_mm: ArrayLike,
    *,
    sigma_mm: ArrayLike,
    pairs_mm: ArrayLike = (),
    pitch_mm: float = 1.0,
    allowance: Allowance = DEFAULT_ALLOWANCE,
    u_dial_mm: float | None = None,
) -> RollResult | SweepFailure:
    """Return how to roll a casting between centres before its rough face is cut.

    Parameters
    ----------
    along_mm, across_mm, height_mm
        ``(n,)``, n >= 4: place along the axis, place across it (0 is above the axis), and
        the reading of a dial looking down. Both sides and both ends must be touched.
    sigma_mm
        Standard uncertainty of each height, ``(n,)`` or one for all.
    pairs_mm, pitch_mm
        ``(m, 2)``: where the jacks of each opposing pair stand across the axis, one on
        either side, and their thread's pitch. The jacks push up.
    allowance, u_dial_mm
        As in `traverse`.

    Returns
    -------
    RollResult or SweepFailure
        A failure where fewer than four places were touched, all on one side or at one end,
        a value is not finite, or a pair does not stand on either side of the axis.

    Notes
    -----
    Least removal is measured above the axis, which stays: its plane stands at
    ``max over φ of min (h - φ t)``, the height above the axis of the lower convex hull in
    the view along the axis, whose edge there ends in the two witnesses. Minimum zone is
    the least max - min of h'. Equal share is the roll in the middle of the length of
    the twisted plane ``c + m s + φ t + κ s t``, by least squares.
    """
    same = np.shape(along_mm) == np.shape(across_mm)
    where = np.column_stack([along_mm, across_mm]) if same else np.empty((0, 2))
    place, height, sigma = as_arrays(where, height_mm, sigma_mm)
    pairs = np.array(pairs_mm, dtype=np.float64).reshape(-1, 2)
    reason = _unusable(place, height, sigma) or _unusable_pairs(pairs, pitch_mm)
    if reason is not None:
        return SweepFailure(reason)
    return _result(
        _Casting(place[:, 0], place[:, 1], height, sigma, pairs, pitch_mm), allowance, u_dial_mm
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Casting:
    along: Float
    across: Float
    height: Float
    sigma: Float
    pairs: Float
    pitch_mm: float

    @property
    def twisted_columns(self) -> Float:
        """``(n, 4)``: level, along from the middle, across, and their product."""
        s = self.along - (self.along.max() + self.along.min()) / 2
        return np.column_stack([np.ones(len(s)), s, self.across, s * self.across])


def _unusable(place: Float, height: Float, sigma: Float) -> str | None:
    reason = unusable_places(place, height, sigma, width=2)
    if reason is not None:
        return reason
    if len(height) < _MIN_PLACES:
        return f"Only {len(height)} place(s) were touched; {_MIN_PLACES} or more are needed."
    across = place[:, 1]
    if not (across.min() < 0 < across.max()):
        return "All places lie on one side of the axis: touch both sides."
    columns = _Casting(place[:, 0], across, height, sigma, place, 1.0).twisted_columns
    scaled = columns / np.maximum(np.linalg.norm(columns, axis=0), 1e-300)
    if np.linalg.svd(scaled, compute_uv=False)[-1] < 1e-6:
        return "Touch both sides at both ends: these places do not show how the face is twisted."
    return None


def _unusable_pairs(pairs: Float, pitch_mm: float) -> str | None:
    if not np.isfinite(pairs).all() or not (isfinite(pitch_mm) and pitch_mm > 0):
        return "Jacks need their places as numbers and a thread's pitch over zero."
    if np.any(pairs.min(axis=1, initial=np.inf) >= 0) or np.any(
        pairs.max(axis=1, initial=-np.inf) <= 0
    ):
        return "The jacks of a pair stand on opposite sides of the axis."
    return None


def _result(casting: _Casting, allowance: Allowance, u_dial_mm: float | None) -> RollResult:
    columns = casting.twisted_columns
    pseudo = np.linalg.pinv(columns)
    beta = pseudo @ casting.height
    edge = _witnesses(casting)
    zone = line_zone(casting.across, casting.height)
    build = _Builder(casting, allowance, u_dial_mm)
    width, length = float(np.ptp(casting.across)), float(np.ptp(casting.along))
    half = float(beta[3]) * length / 2 * width
    u_half = sqrt(float(pseudo[3] ** 2 @ casting.sigma**2)) * length / 2 * width
    along = build.slope(float(beta[1]), pseudo[1], length)
    sides = (edge[0], edge[1])
    return RollResult(
        least_removal=build.roll("least removal", _edge_weights(casting.across, sides)),
        minimum_zone=build.roll("minimum zone", zone.slope_weights[0]),
        equal_share=build.roll("equal share", pseudo[2]),
        witnesses=sides,
        end_errors_mm=(-half, half),
        u_end_error_mm=u_half,
        width_mm=width,
        along=along[0],
        cut_along_mm=along[0].over_mm(length),
        n=len(casting.height),
        dof=len(casting.height) - 4,
        residuals_mm=frozen(casting.height - columns @ beta),
        flags=("dial unchecked",) if u_dial_mm is None else (),
        message=f"{len(casting.height)} places over {length:.0f} by {width:.0f} mm",
    )


def _witnesses(casting: _Casting) -> tuple[int, int]:
    """Return the ends of the lower hull's edge above the axis, seen along it."""
    hull = lower_hull(casting.across, casting.height)
    before, after = edges_at(casting.across, hull, 0.0)
    assert before is not None
    assert after is not None
    # the same edge, unless a place right above the axis is lowest: then its neighbours
    return before[0], after[1]


def _edge_weights(across: Float, ends: tuple[int, int]) -> Float:
    weights = np.zeros(len(across))
    run = float(across[ends[1]] - across[ends[0]])
    weights[ends[0]], weights[ends[1]] = -1 / run, 1 / run
    return weights


@dataclass(frozen=True, slots=True, eq=False)
class _Builder:
    casting: _Casting
    allowance: Allowance
    u_dial_mm: float | None

    def slope(
        self, rad: float, weights: Float, length_mm: float
    ) -> tuple[Slope, tuple[BudgetLine, ...]]:
        """Return a slope given by its weights on the heights, with its budget over 300 mm."""
        factor = BUDGET_LENGTH_MM / length_mm
        fit = sqrt(float(weights**2 @ self.casting.sigma**2)) * BUDGET_LENGTH_MM
        common = common_lines(rad * length_mm, self.allowance, self.u_dial_mm, 0.0)
        lines = (
            BudgetLine("fit", fit, inf, "scatter of the heights that decide"),
            *scaled(common, factor),
        )
        return slope_of(rad, lines), lines

    def roll(self, name: RollName, weights: Float) -> Roll:
        """Return the roll whose angle is ``weights · heights``."""
        height, across = self.casting.height, self.casting.across
        phi = float(weights @ height)
        base = float(np.ptp(across[weights != 0]))
        angle, budget = self.slope(phi, weights, base)
        rolled = height - phi * across
        top, low = int(np.argmax(rolled)), int(np.argmin(rolled))
        removal = float(rolled[top] - rolled[low])
        u_removal = self._u_removal(removal, top, low, weights)
        guard = coverage_factor(_SURE, inf) * u_removal
        near = rolled <= rolled[low] + max(1e-9, 1e-9 * removal)
        return Roll(
            name=name,
            angle=angle,
            budget=budget,
            floor_mm=float(rolled[low]),
            removal_mm=removal,
            u_removal_mm=u_removal,
            skim_cleans_mm=removal + guard,
            skim_leaves_witnesses_mm=max(removal - guard, 0.0),
            lowest=tuple(np.flatnonzero(near).tolist()),
            heights_mm=frozen(rolled),
            moves=self._moves(angle),
        )

    def _u_removal(self, removal: float, top: int, low: int, weights: Float) -> float:
        across = self.casting.across
        own = -(across[top] - across[low]) * weights
        own[top] += 1.0
        own[low] -= 1.0
        fit = BudgetLine("fit", sqrt(float(own**2 @ self.casting.sigma**2)))
        return combine([fit, *common_lines(removal, self.allowance, self.u_dial_mm, 0.0)]).u_mm

    def _moves(self, angle: Slope) -> tuple[RollMove, ...]:
        """Return each pair's moves, the jack to be slackened before the one to be tightened."""
        moves = []
        for pair, sides in enumerate(self.casting.pairs.tolist()):
            for across in sorted(sides, key=lambda t: -angle.rad * t):
                lift = -angle.over_mm(across)
                action: Literal["slacken", "tighten"] = "slacken" if lift < 0 else "tighten"
                u_lift = angle.u_over_mm(across)
                turns, u_turns = lift / self.casting.pitch_mm, u_lift / self.casting.pitch_mm
                moves.append(RollMove(pair, across, action, lift, u_lift, turns, u_turns))
        return tuple(moves)
