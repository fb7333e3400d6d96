"""What is printed, as black rectangles, lines and words in mm: board, target, collar.

Origin at the sheet's top left, x to the right, y down. No file format is known here.
"""

from dataclasses import dataclass
from math import pi

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.boards import DICTIONARY, MARKER_SHARE, Board
from calibration.collars import Collar
from calibration.targets import MARKER, MARKERS, Target
from readings import BadInputError

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Paper by name: width and height upright, mm."""
MARGIN_MM = 8.0
"""Printers leave this much of the edge white."""
RULER_MM = (150.0, 100.0)
"""Lengths of the ruler lines along the sheet's width and height."""
_QUIET_MM = 4.0
COLLAR_DICTIONARY = "DICT_4X4_50"


@dataclass(frozen=True, slots=True)
class Rect:
    """A black (or white) rectangle."""

    x: float
    y: float
    width: float
    height: float
    black: bool = True


@dataclass(frozen=True, slots=True)
class Disc:
    """A round black (or white) disc."""

    x: float
    y: float
    radius: float
    black: bool = True


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text; `size` is the height of its capitals."""

    x: float
    y: float
    text: str
    size: float = 3.0


Shape = Rect | Disc | Words


@dataclass(frozen=True, slots=True)
class Sheet:
    """One printed page."""

    title: str
    width_mm: float
    height_mm: float
    shapes: tuple[Shape, ...]


def scale_of(measured_mm: float | None, along: int) -> float:
    """Return by how much a printer draws too large, from a ruler line's measured length.

    `along` is 0 for the line along the width, 1 for the one along the height.

    Raises
    ------
    BadInputError
        If the length is none that a printer at 100 % could make.
    """
    if measured_mm is None:
        return 1.0
    share = measured_mm / RULER_MM[along]
    if not 0.9 <= share <= 1.1:
        msg = (
            f"the ruler line of {RULER_MM[along]:g} mm was measured as {measured_mm:g} mm: print "
            "at 100 % (no fit to page) and measure again."
        )
        raise BadInputError(msg)
    return share


def board_sheet(board: Board, paper: str) -> Sheet:
    """Return a ChArUco board on a landscape page.

    Raises
    ------
    BadInputError
        If the paper is unknown or the board does not fit on it.
    """
    height, width = _paper(paper)
    across, down = board.size_mm
    _demand_fit("board", (across, down), (width, height - 14.0), paper)
    left, top = (width - across) / 2, (height - down) / 2 - 4.0
    shapes: list[Shape] = []
    count = 0
    side = board.square_mm
    for row in range(board.rows + 1):
        for column in range(board.columns + 1):
            x, y = left + column * side, top + row * side
            if (row + column) % 2 == 0:
                shapes.append(Rect(x, y, side, side))
                continue
            inner = MARKER_SHARE * side
            edge = (side - inner) / 2
            shapes += marker(DICTIONARY, count, x + edge, y + edge, inner)
            count += 1
    words = f"Board {board.columns} x {board.rows}, squares {side:g} mm. {_PRINT}"
    return _with_rulers("board", width, height, shapes, words)


def target_sheet(number: int, size_mm: float, paper: str) -> Sheet:
    """Return a flat target: rings about a centre, a numbered marker at each corner.

    The centre is the common one of the rings' edges; the markers tell number and turn.

    Raises
    ------
    BadInputError
        If the number or the size cannot be.
    """
    width, height = _paper(paper)
    target = Target(number, size_mm)
    middle = (width / 2, height / 2)
    shapes: list[Shape] = [
        Disc(*middle, radius, black=k % 2 == 0) for k, radius in enumerate(target.radii_mm.tolist())
    ]
    for k in range(MARKERS):
        left, top = target.corners_mm(k)[0].tolist()
        side = MARKER * size_mm
        shapes += marker(DICTIONARY, MARKERS * number + k, middle[0] + left, middle[1] + top, side)
    words = f"Target {number}, {size_mm:g} mm. {_PRINT}"
    return _with_rulers("target", width, height, shapes, words)


def collar_sheet(collar: Collar, diameter_mm: float, paper: str) -> Sheet:
    """Return a strip for a cylinder: N markers at equal spacing, a flap at the seam.

    Raises
    ------
    BadInputError
        If the strip does not fit on the paper in up to three pieces, or the diameter is none.
    """
    height, width = _paper(paper)
    if not (np.isfinite(diameter_mm) and 8.0 <= diameter_mm <= 250.0):
        msg = f"a collar for {diameter_mm:g} mm cannot be printed: give a diameter of 8 to 250 mm."
        raise BadInputError(msg)
    pitch = pi * diameter_mm / collar.markers
    side, high = 0.7 * pitch, 0.7 * pitch + 2 * _QUIET_MM
    a_row = int((width - 2 * MARGIN_MM - 12.0) / pitch)
    rows = -(-collar.markers // max(a_row, 1))
    if a_row < 1 or rows * (high + 10.0) > height - 60.0 or side < 3.0:
        msg = (
            f"{collar.markers} markers on {diameter_mm:g} mm do not fit on {paper}: take more or "
            "fewer markers, or larger paper."
        )
        raise BadInputError(msg)
    shapes: list[Shape] = []
    for k in range(collar.markers):
        row, column = divmod(k, a_row)
        x = MARGIN_MM + 2.0 + column * pitch + (pitch - side) / 2
        y = 20.0 + row * (high + 10.0) + _QUIET_MM
        shapes += marker(COLLAR_DICTIONARY, k, x, y, side)
    for row in range(rows):
        first, last = row * a_row, min(collar.markers, (row + 1) * a_row)
        x, y = MARGIN_MM + 2.0, 20.0 + row * (high + 10.0)
        shapes += _outline(x, y, (last - first) * pitch, high)
        flap = "glue the next piece here" if last < collar.markers else "glue the beginning here"
        shapes.append(Words(x + (last - first) * pitch + 1.0, y + high / 2, flap, 1.6))
    words = (
        f"Collar, {collar.markers} markers round {diameter_mm:g} mm, {pi * diameter_mm:.2f} mm "
        f"long without its flap. Numbers rise to the right. {_PRINT}"
    )
    return _with_rulers("collar", width, height, shapes, words)


_PRINT = "Print at 100 %, no fit to page."


def marker(dictionary: str, number: int, x: float, y: float, side: float) -> list[Shape]:
    """Return a square marker as a black square with its white cells merged row by row."""
    words = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, dictionary))
    cells = _cells(words, number)
    step = side / len(cells)
    shapes: list[Shape] = [Rect(x, y, side, side)]
    for i, row in enumerate(cells):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row, [0]]).astype(int)))
        for begin, end in edges.reshape(-1, 2).tolist():
            shapes.append(Rect(x + begin * step, y + i * step, (end - begin) * step, step, False))
    return shapes


def _cells(words: "cv2.aruco.Dictionary", number: int) -> NDArray[np.bool_]:
    count = words.markerSize + 2
    image = words.generateImageMarker(number, 8 * count)
    return np.asarray(image)[4::8, 4::8] > 127


def _paper(name: str) -> tuple[float, float]:
    if name.lower() not in PAPERS:
        raise BadInputError(f"there is no paper {name!r}: give {' or '.join(PAPERS)}.")
    return PAPERS[name.lower()]


def _demand_fit(
    what: str, size: tuple[float, float], room: tuple[float, float], paper: str
) -> None:
    if size[0] > room[0] - 2 * MARGIN_MM or size[1] > room[1] - 2 * MARGIN_MM:
        msg = (
            f"the {what} is {size[0]:g} x {size[1]:g} mm and does not fit on {paper}: take "
            "smaller or fewer squares."
        )
        raise BadInputError(msg)


def _outline(x: float, y: float, width: float, height: float) -> list[Shape]:
    thin = 0.15
    return [
        Rect(x, y - thin, width, thin),
        Rect(x, y + height, width, thin),
        Rect(x - thin, y - thin, thin, height + 2 * thin),
        Rect(x + width, y - thin, thin, height + 2 * thin),
    ]


def _with_rulers(title: str, width: float, height: float, shapes: list[Shape], words: str) -> Sheet:
    """Add the words and a ruler line each way, clear of the shapes."""
    thin = 0.2
    x, y = MARGIN_MM + 4.0, height - MARGIN_MM
    rulers: list[Shape] = [
        Rect(x, y - thin / 2, RULER_MM[0], thin),
        Rect(x - thin / 2, y - 2.0, thin, 4.0),
        Rect(x + RULER_MM[0] - thin / 2, y - 2.0, thin, 4.0),
        Words(x + RULER_MM[0] + 3.0, y + 1.0, f"{RULER_MM[0]:g} mm: measure it", 2.2),
    ]
    side, top = width - MARGIN_MM + 2.0, MARGIN_MM + 6.0
    rulers += [
        Rect(side - thin / 2, top, thin, RULER_MM[1]),
        Rect(side - 2.0, top - thin / 2, 4.0, thin),
        Rect(side - 2.0, top + RULER_MM[1] - thin / 2, 4.0, thin),
        Words(side - 20.0, top - 2.0, f"{RULER_MM[1]:g} mm", 2.2),
    ]
    note = Words(MARGIN_MM + 4.0, y - 4.5, words, 2.2)
    return Sheet(title, width, height, (*shapes, *rulers, note))
