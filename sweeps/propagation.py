"""Uncertainty through any model by two roads: the GUM's sensitivities, and Monte Carlo.

The first is JCGM 100:2008, 5.1 with G.4 for degrees of freedom, the second JCGM 101:2008.
`roads_agree` is the latter's test (8.1) of whether the first may stand alone.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import floor, log10

import numpy as np

from sweeps.budget import BudgetLine, Combined, combine
from sweeps.distributions import Distribution
from sweeps.drawn import DRAWS, MonteCarlo, summarise
from sweeps.fourier import Float

ModelFunction = Callable[[Float], Float]
"""From ``(inputs, m)`` values to ``(m,)`` results."""
_STEP = 0.1
"""Step of the differences in standard uncertainties: small beside bends, large beside rounding."""


@dataclass(frozen=True, slots=True)
class Input:
    """One input of a model: its best value and what is stated of it, in its own unit."""

    name: str
    value: float
    spread: Distribution


@dataclass(frozen=True, slots=True)
class Propagated:
    """The GUM's road: value, budget on the result, and what second order would add.

    `lines` hold ``|c_i| u_i``; `combined` is first order; `u_second_order` the combined
    standard uncertainty with the next terms (JCGM 100, note to 5.1.2).
    """

    value: float
    lines: tuple[BudgetLine, ...]
    combined: Combined
    u_second_order: float


def propagate(model: ModelFunction, inputs: Sequence[Input]) -> Propagated:
    """Return a result with its budget by the GUM's road; inputs independent.

    Parameters
    ----------
    model
        Called once with ``(inputs, m)`` values, returns ``(m,)`` results.
    inputs
        In the order of the model's rows.

    Notes
    -----
    Sensitivities ``c_i`` by central differences. Second order adds
    ``Σ_ij [½ f_ij² + f_i f_ijj] u_i² u_j²``; its third derivatives come by differences too.
    """
    value = np.array([one.value for one in inputs])
    u = np.array([one.spread.u for one in inputs])
    first, second, third = _derivatives(model, value, u)
    lines = tuple(
        BudgetLine(one.name, abs(float(c)), one.spread.dof)
        for one, c in zip(inputs, first, strict=True)
    )
    extra = float(np.sum(second**2) / 2 + np.sum(first[:, None] * third))
    centre = float(model(value[:, None])[0])
    total = combine(lines)
    return Propagated(centre, lines, total, max(total.u_mm**2 + extra, 0.0) ** 0.5)


def _derivatives(model: ModelFunction, value: Float, u: Float) -> tuple[Float, Float, Float]:
    """Return f_i, f_ij and f_ijj in units of u: shapes (k,), (k, k), (k, k)."""
    k, h = len(value), _STEP

    def at(i: int, a: int, j: int = 0, b: int = 0) -> float:
        away = value.copy()
        away[i] += a * h * u[i]
        away[j] += b * h * u[j]
        return float(model(away[:, None])[0])

    def bend(i: int, a: int, j: int) -> float:
        return at(i, a, j, 1) - 2 * at(i, a) + at(i, a, j, -1)

    first = np.array([at(i, 1) - at(i, -1) for i in range(k)]) / (2 * h)
    second, third = np.empty((k, k)), np.empty((k, k))
    for i in range(k):
        for j in range(k):
            third[i, j] = (bend(i, 1, j) - bend(i, -1, j)) / (2 * h**3)
            mixed = at(i, 1, j, 1) - at(i, 1, j, -1) - at(i, -1, j, 1) + at(i, -1, j, -1)
            second[i, j] = mixed / (4 * h**2)
    return first, second, third


def propagate_monte_carlo(
    model: ModelFunction,
    inputs: Sequence[Input],
    rng: np.random.Generator,
    *,
    draws: int = DRAWS,
    probability: float = 0.95,
) -> MonteCarlo:
    """Return a result by drawing every input from what is stated of it (JCGM 101, 7)."""
    rows = [one.value + one.spread.draw(rng, draws) for one in inputs]
    return summarise(np.asarray(model(np.array(rows))), probability)


def roads_agree(by_gum: Propagated, drawn: MonteCarlo, digits: int = 2) -> bool:
    """Whether the GUM's interval stands within its numerical tolerance (JCGM 101, 8.1).

    The tolerance is half a unit of the last of `digits` significant digits of u.
    """
    u = by_gum.combined.u_mm
    tolerance = 0.5 * 10.0 ** (floor(log10(u)) - digits + 1) if u > 0 else 0.0
    expanded = by_gum.combined.expanded_mm(drawn.probability)
    ends = (by_gum.value - expanded - drawn.low, by_gum.value + expanded - drawn.high)
    return max(abs(end) for end in ends) <= tolerance
