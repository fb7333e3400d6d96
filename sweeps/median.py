"""The median, as numpy's own: one place is sought, which is several times as fast as its two."""

import numpy as np

from sweeps.fourier import Float


def median(values: Float) -> float:
    """Return the median of ``(n,)`` finite values, n >= 1.

    >>> median(np.array([3.0, 1.0, 2.0, 9.0]))
    2.5
    """
    half = len(values) // 2
    parted = np.partition(values, half)
    upper = float(parted[half])
    return upper if len(values) % 2 else (float(parted[:half].max()) + upper) / 2
