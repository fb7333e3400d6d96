"""Small numeric helpers for loops that run many times a picture."""

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from readings.median import median

Angle = TypeVar("Angle", float, NDArray[np.float64])


def spread(values: NDArray[Any]) -> float:
    """Return the robust standard deviation of values about zero: 1.4826 times their median size."""
    return 1.4826 * median(np.abs(values))


def wrapped_rad(angle_rad: Angle) -> Angle:
    """Return an angle or angles (rad) turned by whole turns into [-pi, pi)."""
    return (angle_rad + np.pi) % (2 * np.pi) - np.pi
