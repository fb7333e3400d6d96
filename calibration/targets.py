"""The printed flat target: five discs about one centre, a numbered marker at each corner."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readings import BadInputError

Float = NDArray[np.float64]

RADII = (0.30, 0.24, 0.18, 0.12, 0.06)
"""Radii of the discs, black and white in turn, over the target's size."""
MARKER = 0.16
"""Side of a marker over the target's size."""
REACH = 0.40
"""From the centre to a marker's outer edge, likewise."""
MARKERS = 4
MOST = 24


@dataclass(frozen=True, slots=True)
class Target:
    """One target as it was printed.

    `stretch` is by how much the printer drew too large along x and y.
    """

    number: int
    size_mm: float
    stretch: tuple[float, float] = (1.0, 1.0)

    def __post_init__(self) -> None:
        if not 0 <= self.number <= MOST:
            msg = f"target {self.number} cannot be: numbers go from 0 to {MOST}."
            raise BadInputError(msg)
        if not 20.0 <= self.size_mm <= 150.0:
            msg = f"a target of {self.size_mm:g} mm cannot be: give 20 to 150."
            raise BadInputError(msg)

    @property
    def radii_mm(self) -> Float:
        """(5,) radii of the discs, the largest first."""
        return self.size_mm * np.array(RADII)

    def corners_mm(self, k: int) -> Float:
        """Return (4, 2) corners of marker k, as its detector orders them; y down."""
        reach, side = REACH * self.size_mm, MARKER * self.size_mm
        left = -reach if k in (0, 3) else reach - side
        top = -reach if k in (0, 1) else reach - side
        square = np.array([[0, 0], [side, 0], [side, side], [0, side]]) + np.array([left, top])
        return np.asarray(square * np.array(self.stretch), dtype=np.float64)
