"""What many drawn results say: mean, standard deviation, intervals (JCGM 101:2008, 7)."""

from dataclasses import dataclass
from math import floor

import numpy as np

from sweeps.fourier import Float

DRAWS = 200_000


@dataclass(frozen=True, slots=True)
class MonteCarlo:
    """The Monte Carlo road: mean, standard deviation and a 95 % interval of `draws` results.

    `low`, `high` leave equal shares outside; `shortest` is the shortest interval that
    holds the probability.
    """

    value: float
    u: float
    low: float
    high: float
    shortest: tuple[float, float]
    probability: float
    draws: int


def summarise(results: Float, probability: float = 0.95) -> MonteCarlo:
    """Return mean, standard deviation and the 95 % intervals of ``(m,)`` drawn results."""
    ordered = np.sort(results)
    m = len(ordered)
    held = min(max(floor(probability * m + 0.5), 1), m - 1)
    start = (m - held) // 2
    width = ordered[held:] - ordered[: m - held]
    least = int(np.argmin(width))
    return MonteCarlo(
        float(ordered.mean()),
        float(ordered.std(ddof=1)),
        float(ordered[start]),
        float(ordered[start + held]),
        (float(ordered[least]), float(ordered[least + held])),
        probability,
        m,
    )
