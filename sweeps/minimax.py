"""Smallest largest deviation, solved by exchange: a handful of places decides, the rest follow.

Both problems are linear programs in few variables. Each round solves the small problem of
the places in hand exactly, looks for the place that contradicts it most, and takes that in
for the one whose leaving gives the highest level (E. Stiefel, Numer. Math. 1 (1959) 1; the
dual simplex method). The level is a lower bound all the way, so the answer proves itself:
no place lies further off. Where places coincide and the exchange stalls, a linear program
(HiGHS) finishes.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.optimize import linprog

from sweeps.fourier import Float

_ROUNDS = 200
_TOLERANCE = 1e-13
_WORST_CONDITION = 1e12
_WEAK = 1e-9
"""A place of less weight holds nothing: the others alone fix the parameters."""


@dataclass(frozen=True, slots=True, eq=False)
class Minimax:
    """The parameters, the largest deviation that cannot be beaten, and who decides it.

    `level = Σ weights * values[contacts]`: the weights are the derivative of the level by
    each deciding value.
    """

    parameters: Float
    level: float
    contacts: np.ndarray
    weights: Float


def smallest_zone(columns: Float, values: Float) -> Minimax | None:
    """Minimise ``max |values - columns @ p|`` (Chebyshev); `columns` is ``(n, m)``, n > m.

    Returns None where the columns are dependent.
    """
    count = columns.shape[1] + 1
    start = _spread(columns, values, count)
    found = _exchange(columns, values, start, True) if start is not None else None
    return found if found is not None else _program(columns, values, True)


def smallest_top(columns: Float, values: Float) -> Minimax | None:
    """Minimise ``max (values - columns @ p)``; None where it has no lower bound."""
    start = _surrounding(columns, values)
    found = _exchange(columns, values, start, False) if start is not None else None
    return found if found is not None else _program(columns, values, False)


def _spread(columns: Float, values: Float, count: int) -> np.ndarray | None:
    """Return the place furthest from the least-squares fit in each of `count` stretches."""
    gram = columns.T @ columns
    if np.linalg.cond(gram) > _WORST_CONDITION:
        return None
    residual = np.abs(values - columns @ np.linalg.solve(gram, columns.T @ values))
    edges = np.linspace(0, len(values), count + 1).astype(int).tolist()
    return np.array([a + int(np.argmax(residual[a:b])) for a, b in pairwise(edges)])


def _surrounding(columns: Float, values: Float) -> np.ndarray | None:
    """Return three places round the origin of a plane, the highest value among them."""
    if columns.shape[1] != 2:
        return None
    angle = np.arctan2(columns[:, 1], columns[:, 0])
    first = int(np.argmax(values))
    for spread in (120.0, 150.0, 100.0):
        aims = angle[first] + np.radians([spread, -spread])
        near = [int(np.argmax(np.cos(angle - aim))) for aim in aims]
        chosen = np.array([first, *near])
        if _levels(columns[chosen][None], values[chosen][None], False)[0][0] > -np.inf:
            return chosen
    return None


def _levels(rows: Float, values: Float, two_sided: bool) -> tuple[Float, Float]:
    """Return the level and the weights of k small problems; -inf where one has none.

    `rows` is ``(k, m + 1, m)``, `values` ``(k, m + 1)``. The weights are the null vector of
    the rows by cofactors, ``Σ |w| = 1``; one-sided ones may not be negative.
    """
    count = rows.shape[1]
    weights = np.linalg.det(rows[:, _others(count)]) * (-1.0) ** np.arange(count)
    size = np.abs(weights).sum(axis=1, keepdims=True)
    weights = weights / np.where(size > 0, size, np.nan)
    side = (weights * values if two_sided else weights).sum(axis=1, keepdims=True)
    weights = np.where(side < 0, -weights, weights)
    levels = (weights * values).sum(axis=1)
    sound = np.isfinite(levels) if two_sided else weights.min(axis=1) > -_TOLERANCE
    return np.where(sound, levels, -np.inf), weights


def _others(count: int) -> np.ndarray:
    """Return for each of `count` indices all the others, ``(count, count - 1)``."""
    index = np.arange(count - 1)[None, :]
    others: np.ndarray = index + (index >= np.arange(count)[:, None])
    return others


def _held(rows: Float, values: Float, sides: Float, weight: Float) -> Float:
    """Return the parameters that leave every chosen value at the level, on its side."""
    if np.abs(weight).min() > _WEAK:
        return np.asarray(np.linalg.solve(np.column_stack([rows, sides]), values))[:-1]
    level = float(weight @ values)
    return np.asarray(np.linalg.lstsq(rows, values - sides * level, rcond=None)[0])


def _exchange(columns: Float, values: Float, chosen: np.ndarray, two_sided: bool) -> Minimax | None:
    scale = float(np.ptp(values)) or 1.0
    leave = _others(len(chosen) + 1)[:-1]
    levels, weights = _levels(columns[chosen][None], values[chosen][None], two_sided)
    level, weight = float(levels[0]), weights[0]
    for _ in range(_ROUNDS):
        sides = np.where(weight < 0, -1.0, 1.0) if two_sided else np.ones(len(weight))
        beta = _held(columns[chosen], values[chosen], sides, weight)
        residual = values - columns @ beta
        worst = int(np.argmax(np.abs(residual) if two_sided else residual))
        height = abs(float(residual[worst])) if two_sided else float(residual[worst])
        if height <= level + _TOLERANCE * scale:
            return Minimax(beta, level, chosen, weight)
        trials = np.append(chosen, worst)[leave]
        levels, weights = _levels(columns[trials], values[trials], two_sided)
        best = int(np.argmax(levels))
        if not float(levels[best]) > level:
            return None
        chosen, level, weight = trials[best], float(levels[best]), weights[best]
    return None


def _program(columns: Float, values: Float, two_sided: bool) -> Minimax | None:
    scale = float(np.ptp(values)) or 1.0
    middle = float(values.mean())
    height = (values - (0.0 if two_sided else middle)) / scale
    rules, limits = np.column_stack([-columns, -np.ones(len(values))]), -height
    if two_sided:
        below = np.column_stack([columns, -np.ones(len(values))])
        rules, limits = np.vstack([rules, below]), np.concatenate([limits, height])
    cost = np.append(np.zeros(columns.shape[1]), 1.0)
    found = linprog(cost, A_ub=rules, b_ub=limits, bounds=(None, None), method="highs")
    if found.x is None:
        return None
    beta = np.asarray(found.x[:-1], dtype=np.float64) * scale
    residual = values - columns @ beta
    marginal = -np.asarray(found.ineqlin.marginals)
    weights = marginal[: len(values)] - (marginal[len(values) :] if two_sided else 0.0)
    contacts = np.flatnonzero(np.abs(weights) > 1e-9)
    level = float(np.max(np.abs(residual) if two_sided else residual))
    return Minimax(beta, level, contacts, weights[contacts])
