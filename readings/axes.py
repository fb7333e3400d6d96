"""Axes and signs, in one place.

Axes follow ISO 841 for a vertical spindle as the operator sees it: +X right,
+Y away (to the back), +Z up. The angle θ runs from +X, anticlockwise seen from
above. A reading rises as the stylus is pushed in. With
``r(θ) = c0 + Σ a_n cos nθ + b_n sin nθ`` and ``e = work axis - spindle axis``:
in a bore ``e = -(a1, b1)``, on a boss ``e = +(a1, b1)``; the work moves by ``-e``.
"""

from typing import Literal

Axis = Literal["x", "y", "z"]
Direction = Literal["right", "back", "left", "front"]
Sense = Literal["anticlockwise", "clockwise"]
"""Sense of turning of the spindle (or the work), always as seen from above."""
Surface = Literal["bore", "boss", "bar", "face"]

DIRECTION_DEG: dict[Direction, float] = {"right": 0.0, "back": 90.0, "left": 180.0, "front": 270.0}

_MOVE_WORDS: dict[tuple[Axis, bool], str] = {
    ("x", True): "right",
    ("x", False): "left",
    ("y", True): "to the back",
    ("y", False): "to the front",
    ("z", True): "up",
    ("z", False): "down",
}


def move_word(axis: Axis, move_mm: float) -> str:
    """Return the direction of a signed move in the operator's words.

    >>> move_word("y", -0.2)
    'to the front'
    """
    return _MOVE_WORDS[axis, move_mm >= 0]


def _surface_sign(surface: Surface) -> float:
    if surface == "face":
        msg = "a face has no centre: an offset belongs to a bore, a boss or a bar"
        raise ValueError(msg)
    return -1.0 if surface == "bore" else 1.0


def offset_from_first_harmonic(a1_mm: float, b1_mm: float, surface: Surface) -> tuple[float, float]:
    """Return e = work axis - spindle axis (x, y in mm) from the reading's first harmonic.

    A wall that is nearer pushes the stylus in. In a bore the wall is nearest on
    the side away from which the work is displaced, hence the minus.

    >>> offset_from_first_harmonic(0.1, 0.0, "bore")
    (-0.1, -0.0)
    """
    sign = _surface_sign(surface)
    return sign * a1_mm, sign * b1_mm


def reading_change_for_move(
    move_x_mm: float, move_y_mm: float, cos_theta: float, sin_theta: float, surface: Surface
) -> float:
    """Return how the reading at stylus angle θ changes (mm) when the work moves, to first order.

    In a bore the work moving towards the stylus' side takes the wall away: the reading falls.
    """
    return _surface_sign(surface) * (move_x_mm * cos_theta + move_y_mm * sin_theta)
