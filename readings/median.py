"""The median, as numpy's own: one place is sought, which is several times as fast as its two."""

from typing import Any

import numpy as np
from numpy.typing import NDArray


def median(values: NDArray[Any]) -> float:
    """Return the median of ``(n,)`` values without NaN; NaN where there are none.

    >>> median(np.array([3.0, 1.0, 2.0, 9.0]))
    2.5
    """
    half = len(values) // 2
    if len(values) == 0:
        return float("nan")
    parted = np.partition(values, half)
    upper = float(parted[half])
    return upper if len(values) % 2 else 0.5 * (float(parted[:half].max()) + upper)
