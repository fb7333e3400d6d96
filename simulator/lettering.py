"""Our own stroke letters for the dial's face, as lines of unit height."""

import math

import numpy as np

from simulator.optics import Float


def _arc(
    centre: tuple[float, float], radii: tuple[float, float], start: float, end: float
) -> Float:
    """Return an arc's points (n, 2); degrees, anticlockwise from the right, y up."""
    angles = np.radians(np.linspace(start, end, 33))
    return np.column_stack(
        [centre[0] + radii[0] * np.cos(angles), centre[1] + radii[1] * np.sin(angles)]
    )


def _line(*points: tuple[float, float]) -> Float:
    return np.array(points, dtype=np.float64)


def _moved(line: Float, right: float) -> Float:
    return np.column_stack([line[:, 0] + right, line[:, 1]])


_ARCH = np.vstack([_arc((0.17, 0.46), (0.17, 0.20), 180, 0), _line((0.34, 0.0))])
_GLYPHS: dict[str, tuple[float, list[Float]]] = {
    "0": (0.58, [_arc((0.29, 0.5), (0.27, 0.5), 90, 450)]),
    "1": (0.42, [_line((0.06, 0.76), (0.30, 1.0), (0.30, 0.0))]),
    "2": (
        0.58,
        [np.vstack([_arc((0.29, 0.71), (0.26, 0.29), 165, -38), _line((0.03, 0.0), (0.57, 0.0))])],
    ),
    "3": (
        0.58,
        [
            np.vstack(
                [
                    _arc((0.27, 0.76), (0.23, 0.24), 150, -90),
                    _arc((0.27, 0.26), (0.27, 0.26), 90, -152),
                ]
            )
        ],
    ),
    "4": (0.60, [_line((0.44, 0.0), (0.44, 1.0), (0.02, 0.28), (0.60, 0.28))]),
    "5": (
        0.58,
        [np.vstack([_line((0.52, 1.0), (0.11, 1.0)), _arc((0.27, 0.31), (0.28, 0.31), 128, -150)])],
    ),
    "6": (
        0.58,
        [
            np.vstack([_line((0.47, 0.98)), _arc((0.60, 0.32), (0.57, 0.62), 115, 180)]),
            _arc((0.29, 0.29), (0.26, 0.29), 0, 360),
        ],
    ),
    "7": (0.56, [_line((0.02, 1.0), (0.54, 1.0), (0.18, 0.0))]),
    "8": (
        0.58,
        [_arc((0.29, 0.76), (0.22, 0.24), 0, 360), _arc((0.29, 0.26), (0.27, 0.26), 0, 360)],
    ),
    "9": (
        0.58,
        [
            np.vstack([_line((0.11, 0.02)), _arc((-0.02, 0.68), (0.57, 0.62), -65, 0)]),
            _arc((0.29, 0.71), (0.26, 0.29), 0, 360),
        ],
    ),
    "i": (0.12, [_line((0.06, 0.0), (0.06, 0.66)), _line((0.06, 0.90), (0.06, 0.93))]),
    "n": (0.36, [_line((0.0, 0.0), (0.0, 0.66)), _ARCH]),
    ".": (0.14, [_line((0.07, 0.0), (0.07, 0.03))]),
    "m": (0.68, [_line((0.0, 0.0), (0.0, 0.66)), _ARCH, _moved(_ARCH, 0.34)]),
    " ": (0.26, []),
    "+": (0.60, [_line((0.0, 0.5), (0.6, 0.5)), _line((0.3, 0.2), (0.3, 0.8))]),
    "-": (0.60, [_line((0.0, 0.5), (0.6, 0.5))]),
}
_SQUARED: dict[str, tuple[float, list[Float]]] = {
    "0": (
        0.5,
        [
            _line(
                (0.1, 0),
                (0.4, 0),
                (0.5, 0.1),
                (0.5, 0.9),
                (0.4, 1),
                (0.1, 1),
                (0, 0.9),
                (0, 0.1),
                (0.1, 0),
            )
        ],
    ),
    "1": (0.3, [_line((0.0, 0.8), (0.2, 1.0), (0.2, 0.0)), _line((0.05, 0.0), (0.35, 0.0))]),
    "2": (
        0.5,
        [_line((0, 0.85), (0.12, 1), (0.4, 1), (0.5, 0.88), (0.5, 0.62), (0, 0.0), (0.5, 0))],
    ),
    "3": (
        0.5,
        [
            _line(
                (0, 1),
                (0.5, 1),
                (0.22, 0.58),
                (0.4, 0.56),
                (0.5, 0.44),
                (0.5, 0.1),
                (0.38, 0),
                (0.1, 0),
                (0, 0.12),
            )
        ],
    ),
    "4": (0.5, [_line((0.12, 1.0), (0.0, 0.35), (0.5, 0.35)), _line((0.38, 0.65), (0.38, 0.0))]),
    "5": (
        0.5,
        [
            _line(
                (0.48, 1),
                (0.04, 1),
                (0.02, 0.56),
                (0.38, 0.56),
                (0.5, 0.44),
                (0.5, 0.1),
                (0.38, 0),
                (0, 0),
            )
        ],
    ),
    "6": (
        0.5,
        [
            _line(
                (0.42, 1),
                (0.2, 1),
                (0, 0.7),
                (0, 0.1),
                (0.1, 0),
                (0.4, 0),
                (0.5, 0.1),
                (0.5, 0.42),
                (0.4, 0.52),
                (0, 0.52),
            )
        ],
    ),
    "7": (0.5, [_line((0, 0.9), (0, 1), (0.5, 1), (0.24, 0.4), (0.2, 0))]),
    "8": (
        0.5,
        [
            _line(
                (0.1, 0.55),
                (0.4, 0.55),
                (0.47, 0.65),
                (0.47, 0.9),
                (0.38, 1),
                (0.12, 1),
                (0.03, 0.9),
                (0.03, 0.65),
                (0.1, 0.55),
                (0, 0.43),
                (0, 0.1),
                (0.1, 0),
                (0.4, 0),
                (0.5, 0.1),
                (0.5, 0.43),
                (0.4, 0.55),
            )
        ],
    ),
    "9": (
        0.5,
        [
            _line(
                (0.08, 0),
                (0.3, 0),
                (0.5, 0.3),
                (0.5, 0.9),
                (0.4, 1),
                (0.1, 1),
                (0, 0.9),
                (0, 0.58),
                (0.1, 0.48),
                (0.5, 0.48),
            )
        ],
    ),
}
_GAP = 0.17


def strokes(
    text: str,
    high: float,
    centre: tuple[float, float],
    turn_rad: float,
    *,
    squared: bool = False,
    wide: float = 1.0,
    slant: float = 0.0,
) -> list[Float]:
    """Return the lines (n, 2) of a text, centred, its top turned anticlockwise by `turn_rad`.

    `squared` takes figures made of straight lines; `wide` stretches, `slant` leans to the right.

    Raises
    ------
    KeyError
        If a letter has not been drawn.
    """
    lines: list[Float] = []
    pen = 0.0
    glyphs = {**_GLYPHS, **_SQUARED} if squared else _GLYPHS
    for letter in text:
        width, parts = glyphs[letter]
        lines += [_moved(part, pen) for part in parts]
        pen += width + _GAP
    middle = ((pen - _GAP) / 2, 0.5)
    cos, sin = math.cos(turn_rad), math.sin(turn_rad)
    shape = np.array([[wide, 0.0], [slant, 1.0]])
    spin = shape @ (high * np.array([[cos, sin], [-sin, cos]]))
    return [(line - middle) @ spin + centre for line in lines]
