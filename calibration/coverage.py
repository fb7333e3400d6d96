"""What a board's views show of a camera: which parts of its picture, and which tilts.

Known already while views are taken, before there is a model: tilts are told by a focal length
that most cameras come near to, which is good enough to tell a board that leans from one that
does not.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.boards import View

Float = NDArray[np.float64]
Bools = NDArray[np.bool_]

CELLS = (6, 4)
"""Parts of the picture, across and down."""
TILT_DEG = 12.0
"""A board leans by so much before its tilt tells anything."""
TILTS = ("left", "right", "upper", "lower")
"""Which of the board's edges, as the picture shows it, is nearer."""
ROUGH_FOCAL = 0.9
"""A camera's usual focal length over its picture's width (58 degrees across)."""
ENOUGH_SHARE = 0.8
ENOUGH_OF_A_SIDE = 0.5


@dataclass(frozen=True, slots=True)
class Coverage:
    """Which cells held corners (row by row, from the top left) and which tilts were seen."""

    cells: tuple[bool, ...] = (False,) * (CELLS[0] * CELLS[1])
    tilts: frozenset[str] = frozenset()

    @property
    def share(self) -> float:
        """Share of the cells that held corners."""
        return sum(self.cells) / len(self.cells)

    @property
    def missing(self) -> tuple[str, ...]:
        """What further views should show, in words."""
        return (
            *(f"the board in the {side} of the picture" for side in self.bare_sides),
            *(f"the board's {side} edge nearer" for side in self.tilts_missing),
        )

    @property
    def missing_in_short(self) -> str:
        """The same in one line; empty where nothing is missing.

        >>> Coverage((True,) * 18 + (False,) * 6, frozenset(TILTS)).missing_in_short
        'the bottom of the picture'
        """
        sides, tilts = listed(self.bare_sides), listed(self.tilts_missing)
        parts = (
            f"the {sides} of the picture" if sides else "",
            f"the board's {tilts} edge nearer" if tilts else "",
        )
        return "; ".join(part for part in parts if part)

    @property
    def complete(self) -> bool:
        """Whether nothing is missing and most of the picture was covered."""
        return self.share >= ENOUGH_SHARE and not self.missing

    @property
    def bare_sides(self) -> tuple[str, ...]:
        """The sides of the picture that held few corners or none."""
        grid = np.array(self.cells).reshape(CELLS[1], CELLS[0])
        sides = {"left": grid[:, 0], "right": grid[:, -1], "top": grid[0], "bottom": grid[-1]}
        return tuple(side for side, part in sides.items() if part.mean() < ENOUGH_OF_A_SIDE)

    @property
    def tilts_missing(self) -> tuple[str, ...]:
        """The edges of the board that were never nearer."""
        return tuple(side for side in TILTS if side not in self.tilts)


def listed(words: tuple[str, ...]) -> str:
    """Return words as a sentence lists them.

    >>> listed(("left", "top", "bottom")), listed(("left",))
    ('left, top and bottom', 'left')
    """
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def coverage_of(views: Iterable[View], normals: Iterable[Float] | None = None) -> Coverage:
    """Return what some views cover.

    `normals` are the board's directions as `normal_of` gives them, (3,) each, where a model
    tells them better.
    """
    shown = list(views)
    cells = np.zeros(CELLS[0] * CELLS[1], dtype=bool)
    for view in shown:
        cells |= cells_of(view)
    leaning = [normal_of(view) for view in shown] if normals is None else list(normals)
    return Coverage(tuple(map(bool, cells)), frozenset().union(*map(tilts_of, leaning)))


def cells_of(view: View) -> Bools:
    """Return which cells hold corners of a view, row by row."""
    share = view.points_px / view.size
    column = np.clip(share[:, 0] * CELLS[0], 0, CELLS[0] - 1).astype(int)
    row = np.clip(share[:, 1] * CELLS[1], 0, CELLS[1] - 1).astype(int)
    cells = np.zeros(CELLS[0] * CELLS[1], dtype=bool)
    cells[row * CELLS[0] + column] = True
    return cells


def normal_of(view: View) -> Float:
    """Return a board's direction (3,), length 1, away from the camera, by the rough focal length.

    From the homography of its plane: two of its columns are the board's own axes.
    """
    width, height = view.size
    rays = (view.points_px - [(width - 1) / 2, (height - 1) / 2]) / (ROUGH_FOCAL * width)
    matrix, _ = cv2.findHomography(view.points_mm[:, :2], rays)
    if matrix is None:
        return np.array([0.0, 0.0, 1.0])
    normal = np.cross(matrix[:, 0], matrix[:, 1])
    normal = normal / max(float(np.linalg.norm(normal)), 1e-12)
    return np.asarray(normal if normal[2] > 0 else -normal, dtype=np.float64)


def tilts_of(normal: Float) -> frozenset[str]:
    """Return which edges are nearer on a board of this direction (3,)."""
    least = np.sin(np.radians(TILT_DEG))
    ways = (normal[0] < -least, normal[0] > least, normal[1] < -least, normal[1] > least)
    return frozenset(side for side, leans in zip(TILTS, ways, strict=True) if leans)
