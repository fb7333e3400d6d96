"""Boards that a camera is calibrated with: where their corners lie, in mm, and views of them.

A chessboard is told by its inner corners; a ChArUco board by its squares, so that a part of
it is enough and a mirrored print is found out.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from readings import BadInputError

Float = NDArray[np.float64]
Pattern = Literal["chessboard", "charuco"]
DICTIONARY = "DICT_5X5_100"
"""The ArUco dictionary of our own boards."""
MARKER_SHARE = 0.72
"""Side of a marker over the side of its square."""


@dataclass(frozen=True, slots=True)
class Board:
    """A flat board. `columns` and `rows` are inner corners, `square_mm` a square's side.

    `stretch` is by how much the printer drew too large along columns and rows.
    """

    pattern: Pattern
    columns: int
    rows: int
    square_mm: float
    stretch: tuple[float, float] = (1.0, 1.0)

    def __post_init__(self) -> None:
        if not (3 <= self.columns <= 60 and 3 <= self.rows <= 60):
            msg = (
                f"a board of {self.columns} x {self.rows} inner corners was given: 3 to 60 each "
                "way are needed, counted where four squares meet"
            )
            raise BadInputError(msg)
        if not 0.5 <= self.square_mm <= 500.0:
            msg = f"squares of {self.square_mm:g} mm were given: measure one, 0.5 to 500 mm"
            raise BadInputError(msg)

    @property
    def points_mm(self) -> Float:
        """(n, 3) corners on the board, row by row, z = 0."""
        y, x = np.mgrid[: self.rows, : self.columns]
        flat = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)
        return np.asarray(flat * self.square_mm * [*self.stretch, 1.0], dtype=np.float64)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of all squares."""
        return (self.columns + 1) * self.square_mm, (self.rows + 1) * self.square_mm


OUR_BOARD = Board("charuco", 9, 6, 25.0)
"""What `print board` prints on A4 and Letter, landscape."""


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One view of a board: its name, and the corners seen, (n, 3) in mm and (n, 2) in pixels.

    `size` is the picture's width and height, `blur_px` how wide its edges are.
    """

    name: str
    points_mm: Float
    points_px: Float
    size: tuple[int, int]
    blur_px: float = 0.0


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A picture or view that was not used, or several in a row, and why."""

    name: str
    reason: str
    pictures: int = 1


def told_together(left_out: Iterable[LeftOut]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return the reasons, each once and in order, with the names of what was left out for it."""
    names: dict[str, list[str]] = {}
    for one in left_out:
        names.setdefault(one.reason, []).append(one.name)
    return tuple((reason, tuple(each)) for reason, each in names.items())


def first_names(names: tuple[str, ...], most: int = 6) -> str:
    """Return the first names, and how many more there are.

    >>> first_names(("a", "b", "c", "d"), 2)
    'a, b and 2 more'
    """
    shown = ", ".join(names[:most])
    return f"{shown} and {len(names) - most} more" if len(names) > most else shown


def shift_px(one: View, other: View) -> Float:
    """Return how far each corner that both views show lies apart, (n,) pixels; n may be 0."""
    places = {tuple(mm): px for mm, px in zip(one.points_mm, one.points_px, strict=True)}
    apart = [
        np.linalg.norm(px - places[tuple(mm)])
        for mm, px in zip(other.points_mm, other.points_px, strict=True)
        if tuple(mm) in places
    ]
    return np.asarray(apart, dtype=np.float64)
