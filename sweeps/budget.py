"""Uncertainty budgets as the GUM has them, and the verdict of ISO 14253-1."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot, inf, isfinite
from typing import Literal

import numpy as np
from scipy.special import ndtri, stdtrit

from sweeps.distributions import Distribution, Scaled, Student
from sweeps.drawn import DRAWS, MonteCarlo, summarise

VerdictWord = Literal["inside", "outside", "cannot tell"]


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One contribution: standard uncertainty in mm (k = 1) on the quantity judged.

    `spread` is its distribution on that quantity where it is known to be no normal one or
    Student's t; the GUM's road does not use it.
    """

    name: str
    u_mm: float
    dof: float = inf
    note: str = ""
    spread: Distribution | None = None

    def __post_init__(self) -> None:
        if not (self.u_mm >= 0 and self.dof > 0):
            msg = f"the budget's line {self.name!r} has u {self.u_mm} and {self.dof} dof"
            raise ValueError(msg)

    @classmethod
    def of(
        cls, name: str, spread: Distribution, factor: float = 1.0, note: str = ""
    ) -> "BudgetLine":
        """Return the line of an input with this spread, `factor` its sensitivity.

        >>> BudgetLine.of("dial", Student(0.002, 9), 0.5).u_mm
        0.001
        """
        return cls(name, abs(factor) * spread.u, spread.dof, note, Scaled(spread, factor))


@dataclass(frozen=True, slots=True)
class Combined:
    """Combined standard uncertainty and its effective degrees of freedom."""

    u_mm: float
    dof: float

    def expanded_mm(self, probability: float = 0.95) -> float:
        """Return the two-sided expanded uncertainty U in mm for this coverage probability."""
        return coverage_factor(0.5 + probability / 2, self.dof) * self.u_mm


def coverage_factor(one_sided: float, dof: float) -> float:
    """Return Student's t for a one-sided probability, the normal quantile at infinite dof.

    >>> round(coverage_factor(0.95, inf), 3)
    1.645
    """
    return float(stdtrit(dof, one_sided) if isfinite(dof) else ndtri(one_sided))


def combine(lines: Iterable[BudgetLine]) -> Combined:
    """Combine independent contributions (JCGM 100:2008, 5.1.2 and G.4.1).

    ``u² = Σ u_i²``; effective dof by Welch-Satterthwaite, ``u⁴ / Σ (u_i⁴ / ν_i)``.
    """
    used = [line for line in lines if line.u_mm > 0]
    u_mm = hypot(*(line.u_mm for line in used)) if used else 0.0
    weight = sum(line.u_mm**4 / line.dof for line in used)
    return Combined(u_mm, u_mm**4 / weight if weight > 0 else inf)


def monte_carlo(
    lines: Iterable[BudgetLine],
    rng: np.random.Generator,
    *,
    draws: int = DRAWS,
    probability: float = 0.95,
) -> MonteCarlo:
    """Return what the lines add up to when each is drawn: the second road for `combine`."""
    total = np.zeros(draws)
    for line in lines:
        spread = line.spread if line.spread is not None else Student(line.u_mm, line.dof)
        total += spread.draw(rng, draws)
    return summarise(total, probability)


def shares(lines: Iterable[BudgetLine]) -> tuple[tuple[str, float], ...]:
    """Return each name's share of the variance, the heaviest first; nothing for no variance.

    >>> shares([BudgetLine("fit", 3.0), BudgetLine("dial", 4.0)])
    (('dial', 0.64), ('fit', 0.36))
    """
    used = tuple(lines)
    total = sum(line.u_mm**2 for line in used)
    if total == 0:
        return ()
    each = [(line.name, line.u_mm**2 / total) for line in used]
    return tuple(sorted(each, key=lambda one: -one[1]))


@dataclass(frozen=True, slots=True)
class Verdict:
    """One of three answers; `guard_mm` is the guard band on either side of the tolerance.

    `least_provable_mm` is the smallest tolerance that a perfect result could be proven
    inside of with this uncertainty.
    """

    word: VerdictWord
    guard_mm: float
    least_provable_mm: float


def verdict(
    value_mm: float,
    u_mm: float | None,
    tolerance_mm: float,
    dof: float = inf,
    probability: float = 0.95,
) -> Verdict:
    """Judge a size (its sign does not matter) against a tolerance with guard bands (ISO 14253-1).

    Parameters
    ----------
    value_mm, u_mm, tolerance_mm
        The result, its standard uncertainty (None, negative or not finite: unknown), the limit.
    dof
        Effective degrees of freedom of `u_mm`.
    probability
        One-sided probability to be reached before anything is called proven.

    Returns
    -------
    Verdict
        "inside" where value + guard <= tolerance, "outside" where value - guard >
        tolerance, else "cannot tell".

    >>> verdict(0.002, 0.001, 0.005).word
    'inside'
    >>> verdict(0.004, 0.001, 0.005).word
    'cannot tell'
    """
    guard = _guard_mm(u_mm, dof, probability)
    if guard is None or not isfinite(value_mm) or not isfinite(tolerance_mm):
        return Verdict("cannot tell", inf, inf)
    size = abs(value_mm)
    if size + guard <= tolerance_mm:
        return Verdict("inside", guard, guard)
    word: VerdictWord = "outside" if size - guard > tolerance_mm else "cannot tell"
    return Verdict(word, guard, guard)


def _guard_mm(u_mm: float | None, dof: float, probability: float) -> float | None:
    """Return the guard band, None where what is known of the uncertainty gives none."""
    if u_mm is None or not (isfinite(u_mm) and u_mm >= 0 and dof > 0):
        return None
    return coverage_factor(probability, dof) * u_mm


def verdict_between(
    value_mm: float,
    u_mm: float | None,
    limits_mm: tuple[float, float],
    dof: float = inf,
    probability: float = 0.95,
) -> Verdict:
    """Judge a signed value against a lower and an upper limit, either of which may be infinite.

    "inside" where the value is a guard band inside both, "outside" where it is one
    outside either (ISO 14253-1). `least_provable_mm` is the least width between limits.

    >>> verdict_between(0.4, 0.1, (0.0, inf)).word
    'inside'
    """
    low, high = limits_mm
    guard = _guard_mm(u_mm, dof, probability)
    if guard is None or not isfinite(value_mm) or not low <= high:
        return Verdict("cannot tell", inf, inf)
    if low + guard <= value_mm <= high - guard:
        return Verdict("inside", guard, 2 * guard)
    out = value_mm < low - guard or value_mm > high + guard
    return Verdict("outside" if out else "cannot tell", guard, 2 * guard)
