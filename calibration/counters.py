"""A dial's turns counter: the small circle of marks with a hand of its own inside the scale."""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readings import frozen_array

Float = NDArray[np.float64]

_ARRAYS = ("hand_step", "hand")


@dataclass(frozen=True, slots=True, eq=False)
class TaughtCounter:
    """A turns counter as teaching photos showed it. Lengths in mm, angles clockwise in rad.

    Directions count from the zero mark. A counter that stays with the case while the bezel
    turns is seen at another bearing then: its bearing tells the bezel's turn.
    """

    distance_mm: float
    """From the dial's centre to the counter's."""
    home_rad: float
    """The counter's bearing where the bezel's turn counts as none."""
    home_sure: bool
    """Whether that holds while the bezel turns; else only while the counter is seen there."""
    ring_mm: float
    """Radius of its circle."""
    turns: int
    """Turns of the needle for one turn of the counter's hand."""
    rising: float
    """+1 where its hand turns clockwise as the reading rises, -1 anticlockwise, 0 unknown."""
    seen_rad: float
    """The hand's direction, the bezel at home, ..."""
    seen_turns: float
    """... when the needle had made so many turns from zero."""
    hand_step: Float
    """(3,) linear BGR from the face to the hand, in units of the marks' contrast."""
    hand: Float
    """(rings, directions) the hand's share of each place about its pivot, from direction 0."""


def pack_counter(counter: TaughtCounter | None) -> tuple[dict[str, Any] | None, dict[str, Float]]:
    """Return a counter as plain values and named arrays; (None, {}) where there is none."""
    if counter is None:
        return None, {}
    names = [field.name for field in fields(counter)]
    plain = {name: getattr(counter, name) for name in names if name not in _ARRAYS}
    return plain, {f"counter_{name}": np.asarray(getattr(counter, name)) for name in _ARRAYS}


def unpack_counter(
    plain: dict[str, Any] | None,
    archive: Any,  # noqa: ANN401 - numpy types its archives as Any
) -> TaughtCounter | None:
    """Return what `pack_counter` packed."""
    if plain is None:
        return None
    arrays: dict[str, Any] = {name: frozen_array(archive[f"counter_{name}"]) for name in _ARRAYS}
    return TaughtCounter(**plain, **arrays)
