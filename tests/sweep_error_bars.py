"""Is an error bar true? One helper for every quantity: simulate, compare, count.

Use, in a test file::

    from sweep_error_bars import Bar, check_full, check_light, joint

    def scene(rng):                       # one simulated measurement, truth drawn anew
        truth = rng.uniform(-0.1, 0.1)
        result = measure(simulated(truth, rng))
        assert result
        return {
            "lean_x": Bar(result.lean_x - truth, result.u_lean_x, result.dof),
            "both": joint(found_vector - true_vector, result.covariance, result.dof),
        }                                 # or a single Bar

    def test_light():                     # 300 runs, default tests
        check_light(scene)

    @pytest.mark.long
    def test_full():                      # 3000 runs: 0.93..1.07, 93.5..96.5 %
        check_full(scene)

The ratio is root mean square error over root mean square of the stated u. Student's tails at
few degrees of freedom do not spoil it, since u² is unbiased, so pass the dof that is stated:
the interval is ``±t(0.975, dof) u``. A joint bar counts the 95 % ellipse by F(k, dof) and has
no ratio. Where u holds allowances (dial, roundness, ...), draw them in the scene as they are
stated, else the ratio is small for good reason; or set them to nothing.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import inf, isfinite

import numpy as np
from scipy.special import chdtri, fdtri, stdtrit
from scipy.stats import binom, chi2
from sweep_making import TYPICAL_MM, stops, turn

KINDS = {
    "full": lambda work, rng, **how: turn(work, rng, n=40, arc_rad=2 * np.pi, **how),
    "partial": lambda work, rng, sense="anticlockwise": turn(
        work,
        rng,
        n=40,
        arc_rad=1.5 * np.pi,
        start_rad=-0.3 + (1.5 * np.pi if sense == "clockwise" else 0.0),
        sense=sense,
    ),
    "stops": lambda work, rng, **_: stops(work, rng, per_turn=8, noise_mm=TYPICAL_MM),
}
"""Small sweeps of each kind: ``KINDS[kind](work, rng, sense="clockwise")``."""

FULL, LIGHT = 3000, 300
RATIO_FULL, COVERAGE_FULL = (0.93, 1.07), (0.935, 0.965)
_TAIL = 0.0005
"""Chance of a false alarm on either side of a light check."""


@dataclass(frozen=True)
class Bar:
    """One simulated result: its error, the standard uncertainty it states, and its dof."""

    error: float
    u: float
    dof: float = inf

    @property
    def inside(self) -> bool:
        """Whether the stated 95 % interval holds the truth."""
        return abs(self.error) <= stdtrit(min(self.dof, 1e9), 0.975) * self.u


@dataclass(frozen=True)
class JointBar:
    """A vector's error as its squared distance in the stated covariance."""

    square: float
    size: int
    dof: float = inf

    @property
    def inside(self) -> bool:
        """Whether the stated 95 % ellipse holds the truth."""
        if not isfinite(self.dof):
            return self.square <= chdtri(self.size, 0.05)
        return self.square <= self.size * fdtri(self.size, self.dof, 0.95)


@dataclass(frozen=True)
class Tally:
    """What many simulated results say of one quantity."""

    name: str
    count: int
    inside: int
    ratio: float | None
    """Scatter over stated sigma; None for a joint bar."""
    effective: float
    """How many runs of equal sigma carry as much of the ratio."""

    @property
    def coverage(self) -> float:
        """Share of 95 % intervals that hold the truth."""
        return self.inside / self.count


Found = Bar | JointBar | Mapping[str, Bar | JointBar]


def joint(error, covariance, dof: float = inf) -> JointBar:
    """Return the bar of a vector result with its ``(k, k)`` covariance."""
    error = np.asarray(error, dtype=float)
    return JointBar(float(error @ np.linalg.solve(covariance, error)), len(error), dof)


def tally(scene: Callable[[np.random.Generator], Found], count: int, seed: int) -> list[Tally]:
    """Run `scene` `count` times and return one tally a quantity."""
    rng = np.random.default_rng(seed)
    runs: dict[str, list[Bar | JointBar]] = {}
    for _ in range(count):
        found = scene(rng)
        named = found if isinstance(found, Mapping) else {"result": found}
        for name, bar in named.items():
            runs.setdefault(name, []).append(bar)
    return [_tally(name, bars) for name, bars in runs.items()]


def _tally(name: str, bars: list[Bar | JointBar]) -> Tally:
    inside = sum(bool(bar.inside) for bar in bars)
    if any(isinstance(bar, JointBar) for bar in bars):
        return Tally(name, len(bars), inside, None, len(bars))
    error = np.array([bar.error for bar in bars])
    square = np.array([bar.u for bar in bars]) ** 2
    ratio = float(np.sqrt(np.mean(error**2) / np.mean(square)))
    return Tally(name, len(bars), inside, ratio, float(square.sum() ** 2 / np.sum(square**2)))


def check_light(scene, *, count: int = LIGHT, seed: int = 20261125) -> list[Tally]:
    """Check a tenth: coverage within its binomial bounds, the ratio within those of χ²."""
    found = tally(scene, count, seed)
    for one in found:
        low, high = binom.ppf([_TAIL, 1 - _TAIL], one.count, 0.95)
        assert low <= one.inside <= high, one
        if one.ratio is not None:
            low, high = np.sqrt(chi2.ppf([_TAIL, 1 - _TAIL], one.effective) / one.effective)
            assert low <= one.ratio <= high, one
    return found


def check_full(scene, *, count: int = FULL, seed: int = 20261125) -> list[Tally]:
    """Check all of it: ratio 0.93 to 1.07, coverage 93.5 to 96.5 %."""
    found = tally(scene, count, seed)
    for one in found:
        assert COVERAGE_FULL[0] <= one.coverage <= COVERAGE_FULL[1], one
        assert one.ratio is None or RATIO_FULL[0] <= one.ratio <= RATIO_FULL[1], one
    return found
