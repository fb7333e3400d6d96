"""What a drawn dial's crystal mirrors: windows, lamps, the edge of a bright wall."""

import math
from dataclasses import dataclass

import numpy as np

from simulator.optics import Float

Pair = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Glare:
    """A bright thing mirrored in the crystal.

    Attributes
    ----------
    corners
        Polygons on the face, in radii of the scale.
    level
        Linear light that it adds.
    soft
        Softness of its edges, in radii.
    """

    corners: tuple[tuple[Pair, ...], ...]
    level: float
    soft: float


def random_glare(rng: np.random.Generator) -> tuple[Glare, ...]:
    """Return one or two bright things."""
    return tuple(_one_glare(rng) for _ in range(int(rng.integers(1, 3))))


def _one_glare(rng: np.random.Generator) -> Glare:
    shape = (_wedge, _window, _band)[int(rng.integers(3))]
    sharp = rng.random() < 0.5
    soft = float(rng.uniform(0.004, 0.02) if sharp else rng.uniform(0.04, 0.15))
    return Glare(shape(rng), float(rng.uniform(0.08, 0.55)), soft)


def _wedge(rng: np.random.Generator) -> tuple[tuple[Pair, ...], ...]:
    start, wide = rng.uniform(0, 2 * math.pi), rng.uniform(0.5, 1.5)
    middle = rng.uniform(-0.3, 0.3, 2)
    rim = [
        (float(middle[0] + 1.6 * math.sin(a)), float(middle[1] + 1.6 * math.cos(a)))
        for a in np.linspace(start, start + wide, 12)
    ]
    return (((float(middle[0]), float(middle[1])), *rim),)


def _window(rng: np.random.Generator) -> tuple[tuple[Pair, ...], ...]:
    """Return two panes side by side."""
    middle, turn = rng.uniform(-0.75, 0.75, 2), rng.uniform(0, 2 * math.pi)
    wide, high = rng.uniform(0.12, 0.35), rng.uniform(0.25, 0.6)
    panes = []
    for side in (-1, 1):
        box = np.array([[0.03, -0.5], [1.0, -0.5], [1.0, 0.5], [0.03, 0.5]]) * (side * wide, high)
        panes.append(_moved(box, turn, middle))
    return tuple(panes)


def _band(rng: np.random.Generator) -> tuple[tuple[Pair, ...], ...]:
    away, turn, half = rng.uniform(-0.7, 0.7), rng.uniform(0, 2 * math.pi), rng.uniform(0.05, 0.2)
    box = np.array([[-2, away - half], [2, away - half], [2, away + half], [-2, away + half]])
    return (_moved(box, turn, np.zeros(2)),)


def _moved(box: Float, turn: float, middle: Float) -> tuple[Pair, ...]:
    cos, sin = math.cos(turn), math.sin(turn)
    spun = box @ np.array([[cos, sin], [-sin, cos]]) + middle
    return tuple((float(x), float(y)) for x, y in spun)
