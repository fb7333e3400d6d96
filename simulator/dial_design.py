"""Dials of many makes, drawn at random: what is printed, what turns, what it is made of.

Lengths are shares of the scale's outer radius unless a name says mm. Angles on a face count
clockwise from the zero mark, as seen.
"""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from simulator.canvas import BLACKED, BRASS, DARK_STEEL, STEEL, Colour, Material

Family = Literal["dev", "held"]
"""Two kinds of looks, so that one can be kept from those who work on the other."""
Pair = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Hand:
    """A needle: how wide it is along its length, and how it looks.

    Attributes
    ----------
    along, half
        Places along the needle from its pivot (tail negative, rising) and half its width there.
    colour
        Linear light from 0 to 1; blue, green, red.
    """

    along: tuple[float, ...]
    half: tuple[float, ...]
    colour: Colour


@dataclass(frozen=True, slots=True)
class Counter:
    """A small dial that counts the needle's turns."""

    centre: Pair
    radius: float
    turns: int
    """Turns of the needle for one of the counter's hand."""
    clockwise: bool
    """A rising reading turns the hand clockwise."""
    hand: Hand
    stands: bool
    """It stays with the case when the bezel turns the scale."""


@dataclass(frozen=True, slots=True)
class Letters:
    """How numerals look."""

    squared: bool
    high: float
    """Height."""
    wide: float
    """Stretch across."""
    slant: float
    pen: float
    """Width of the pen, as a share of the height."""
    upright: bool
    """All stand upright when zero is at the top, instead of turning with the scale."""


@dataclass(frozen=True, slots=True)
class DialDesign:
    """One make of dial."""

    unit: Literal["mm", "in"]
    graduation: float
    marks_per_turn: int
    numbering: Literal["continuous", "balanced"]
    clockwise: bool
    scale_outer_diameter_mm: float
    needle_height_mm: float
    needle_thick_mm: float
    numbered_every: int
    number_step: float
    """What the numerals grow by from one numbered mark to the next."""
    letters: Letters
    mark_depth: tuple[float, float, float]
    """Lengths of ordinary, fifth and numbered marks."""
    mark_half: tuple[float, float, float]
    """Half widths of the same."""
    face: Colour
    ink: Colour
    """Linear light from 0 to 1; blue, green, red."""
    face_radius: float
    bezel_height_mm: float
    bezel_width: float
    bezel: Material
    body: Material
    body_depth: float
    needle: Hand
    cap_radius: float
    cap_colour: Colour
    cap_mm: float
    """Height of the cap over the needle."""
    counter: Counter | None
    tabs: tuple[tuple[float, Colour], ...]
    """Limit tabs on the bezel: where (radians, clockwise) and their colour (0 to 255)."""
    words: tuple[tuple[str, Pair, float], ...]
    """Words on the face, their middle and height."""
    dirt: int
    """Seed of its specks and scratches; 0 for a clean face."""

    @property
    def radius_mm(self) -> float:
        """Radius of the outer ends of the marks."""
        return self.scale_outer_diameter_mm / 2

    @property
    def rising(self) -> float:
        """+1 where the reading rises clockwise, else -1."""
        return 1.0 if self.clockwise else -1.0

    def facts(self) -> dict[str, Any]:
        """Return what an owner knows of the dial, in the keys of `dial.json`."""
        return {
            "unit": self.unit,
            "graduation": self.graduation,
            "marks_per_turn": self.marks_per_turn,
            "numbering": self.numbering,
            "clockwise": self.clockwise,
            "has_turns_counter": self.counter is not None,
            "scale_outer_diameter_mm": self.scale_outer_diameter_mm,
            "needle_height_mm": self.needle_height_mm,
        }


# unit, graduation, marks a turn, numbered every, numerals grow by, numbering
_KINDS: tuple[tuple[Any, ...], ...] = (
    ("mm", 0.01, 100, 10, 10, "continuous"),
    ("mm", 0.01, 100, 10, 10, "balanced"),
    ("mm", 0.01, 100, 5, 5, "continuous"),
    ("mm", 0.01, 80, 10, 10, "balanced"),
    ("mm", 0.01, 60, 10, 10, "balanced"),
    ("mm", 0.01, 50, 5, 5, "continuous"),
    ("mm", 0.02, 40, 5, 10, "continuous"),
    ("mm", 0.002, 100, 10, 20, "balanced"),
    ("mm", 0.002, 140, 10, 20, "balanced"),
    ("mm", 0.001, 200, 10, 10, "continuous"),
    ("mm", 0.001, 120, 20, 20, "balanced"),
    ("mm", 0.001, 240, 20, 20, "continuous"),
    ("mm", 0.005, 160, 20, 10, "continuous"),
    ("in", 0.001, 100, 10, 10, "continuous"),
    ("in", 0.001, 40, 5, 5, "balanced"),
    ("in", 0.0005, 60, 10, 5, "balanced"),
    ("in", 0.0005, 100, 10, 5, "continuous"),
    ("in", 0.0001, 80, 10, 1, "balanced"),
    ("in", 0.0001, 100, 10, 1, "continuous"),
)
_BLACK: Colour = (0.022, 0.020, 0.020)
_WHITE: Colour = (0.80, 0.84, 0.86)
_RED: Colour = (0.035, 0.035, 0.55)
_ORANGE: Colour = (0.03, 0.22, 0.82)
_YELLOW: Colour = (0.06, 0.60, 0.85)
_BLUE: Colour = (0.30, 0.07, 0.03)


def random_design(rng: np.random.Generator, family: Family | None = None) -> DialDesign:
    """Return a dial of some make.

    `family` restricts numerals and needles: what "dev" has, "held" has not. None takes both.
    """
    looks = family or ("dev", "held")[int(rng.integers(2))]
    unit, graduation, marks, every, step, numbering = _KINDS[int(rng.integers(len(_KINDS)))]
    dark = bool(rng.random() < 0.35)
    face, ink = _print_colours(rng, dark)
    diameter_mm = float(rng.uniform(26.0, 58.0))
    face_radius = float(rng.uniform(1.03, 1.09))
    depth, high = _mark_depths(rng), float(rng.uniform(0.10, 0.145))
    reach = 1.0 - depth[0] * rng.uniform(-0.1, 1.35)
    needle = _needle(rng, looks, float(reach), dark)
    counter = _counter(rng, looks, needle) if rng.random() < 0.4 else None
    plain = bool(rng.random() < 0.7)
    return DialDesign(
        unit=unit,
        graduation=graduation,
        marks_per_turn=marks,
        numbering=numbering,
        clockwise=bool(rng.random() < 0.75),
        scale_outer_diameter_mm=round(diameter_mm, 2),
        needle_height_mm=round(float(rng.uniform(0.035, 0.095)) * diameter_mm / 2, 1),
        needle_thick_mm=float(rng.uniform(0.1, 0.45)),
        numbered_every=every,
        number_step=step,
        letters=_letters(rng, looks, high * min(1.0, 12 * every / marks)),
        mark_depth=depth,
        mark_half=_mark_halves(rng, marks),
        face=face,
        ink=ink,
        face_radius=face_radius,
        bezel_height_mm=float(rng.uniform(0.08, 0.22)) * diameter_mm / 2,
        bezel_width=float(rng.uniform(0.06, 0.14)),
        bezel=(STEEL, STEEL, DARK_STEEL, BLACKED, BRASS)[int(rng.integers(5))],
        body=(BLACKED, DARK_STEEL, STEEL)[int(rng.integers(3))],
        body_depth=float(rng.uniform(0.25, 0.6)),
        needle=needle,
        cap_radius=float(rng.uniform(0.05, 0.095)),
        cap_colour=_cap_colour(rng, needle.colour),
        cap_mm=float(rng.uniform(0.3, 1.5)),
        counter=counter,
        tabs=() if plain else _tabs(rng),
        words=_words(rng, unit, graduation, counter),
        dirt=int(rng.integers(1, 1 << 30)) if rng.random() < 0.6 else 0,
    )


def _print_colours(rng: np.random.Generator, dark: bool) -> tuple[Colour, Colour]:
    tint = rng.uniform(0.94, 1.06, 3)
    if dark:
        return _tinted(rng.uniform(0.02, 0.07), tint), _tinted(rng.uniform(0.6, 0.85), tint)
    return _tinted(rng.uniform(0.55, 0.8), tint), _tinted(rng.uniform(0.015, 0.05), tint)


def _tinted(level: float, tint: "np.ndarray[Any, np.dtype[np.float64]]") -> Colour:
    blue, green, red = (float(v) for v in np.clip(level * tint, 0.0, 1.0))
    return blue, green, red


def _mark_depths(rng: np.random.Generator) -> tuple[float, float, float]:
    short = float(rng.uniform(0.055, 0.095))
    return short, short * float(rng.uniform(1.0, 1.5)), short * float(rng.uniform(1.4, 1.9))


def _mark_halves(rng: np.random.Generator, marks: int) -> tuple[float, float, float]:
    spacing = 2 * np.pi / marks
    thin = float(np.clip(0.5 * rng.uniform(0.13, 0.24) * spacing, 0.0030, 0.0075))
    most = 0.19 * spacing
    return thin, thin, float(min(thin * rng.uniform(1.0, 1.9), most))


def _letters(rng: np.random.Generator, looks: Family, high: float) -> Letters:
    held = looks == "held"
    return Letters(
        squared=held,
        high=high,
        wide=float(rng.uniform(0.8, 1.05) if held else rng.uniform(0.9, 1.25)),
        slant=float(rng.choice([0.0, 0.18])) if held else 0.0,
        pen=float(rng.uniform(0.10, 0.22)),
        upright=bool(rng.random() < 0.25),
    )


def _needle(rng: np.random.Generator, looks: Family, reach: float, dark: bool) -> Hand:
    if dark:
        colour = (_WHITE, _YELLOW, _ORANGE, _RED)[int(rng.integers(4))]
    else:
        colour = (_BLACK, _BLACK, _RED, _ORANGE, _BLUE)[int(rng.integers(5))]
    shapes = (_arrow, _lance) if looks == "held" else (_taper, _counterweight, _baton)
    along, half = shapes[int(rng.integers(len(shapes)))](rng, reach)
    return Hand(along, half, colour)


Shape = tuple[tuple[float, ...], tuple[float, ...]]


def _taper(rng: np.random.Generator, reach: float) -> Shape:
    wide, tail = float(rng.uniform(0.018, 0.034)), float(rng.uniform(0.16, 0.34))
    flare = wide * float(rng.uniform(0.9, 2.2))
    return (-tail, 0.0, reach), (flare, wide, float(rng.uniform(0.004, 0.009)))


def _counterweight(rng: np.random.Generator, reach: float) -> Shape:
    wide, tail = float(rng.uniform(0.014, 0.024)), float(rng.uniform(0.22, 0.34))
    ball = float(rng.uniform(0.045, 0.075))
    turn = np.linspace(-1.0, 1.0, 9)
    place = -tail + ball * turn
    bulge = np.maximum(ball * np.sqrt(1 - turn**2), 0.004)
    along = (*place.tolist(), -tail + 1.15 * ball, 0.0, reach)
    return along, (*bulge.tolist(), wide, wide, float(rng.uniform(0.004, 0.008)))


def _baton(rng: np.random.Generator, reach: float) -> Shape:
    wide, tail = float(rng.uniform(0.010, 0.018)), float(rng.uniform(0.12, 0.28))
    return (-tail, reach - 3 * wide, reach), (wide, wide, 0.003)


def _arrow(rng: np.random.Generator, reach: float) -> Shape:
    thin, head = float(rng.uniform(0.010, 0.016)), float(rng.uniform(0.12, 0.2))
    wide, tail = thin * float(rng.uniform(2.0, 3.2)), float(rng.uniform(0.18, 0.34))
    fan = thin * float(rng.uniform(1.0, 3.0))
    back = reach - head
    along = (-tail, -0.6 * tail, -0.5 * tail, back - 0.01, back, reach)
    return along, (fan, fan, thin, thin, wide, 0.003)


def _lance(rng: np.random.Generator, reach: float) -> Shape:
    thin, wide = float(rng.uniform(0.009, 0.015)), float(rng.uniform(0.024, 0.04))
    belly, tail = float(rng.uniform(0.35, 0.6)) * reach, float(rng.uniform(0.15, 0.3))
    return (-tail, 0.0, 0.12, belly, reach), (1.6 * thin, thin, thin, wide, 0.003)


def _counter(rng: np.random.Generator, looks: Family, needle: Hand) -> Counter:
    towards, away = rng.uniform(0.0, 2 * np.pi), float(rng.uniform(0.36, 0.46))
    radius = float(rng.uniform(0.14, 0.19))
    colour = needle.colour if rng.random() < 0.6 else (_RED, _BLUE)[int(rng.integers(2))]
    if max(colour) < 0.4 < max(needle.colour):
        colour = needle.colour
    half = (0.014, 0.020, 0.004) if looks == "dev" else (0.009, 0.012, 0.003)
    return Counter(
        centre=(away * float(np.sin(towards)), away * float(np.cos(towards))),
        radius=radius,
        turns=10,
        clockwise=bool(rng.random() < 0.5),
        hand=Hand((-0.28 * radius, 0.0, 0.82 * radius), half, colour),
        stands=bool(rng.random() < 0.3),
    )


def _cap_colour(rng: np.random.Generator, needle: Colour) -> Colour:
    choices: tuple[Colour, ...] = (needle, (0.5, 0.52, 0.55), (0.10, 0.30, 0.42), _BLACK)
    return choices[int(rng.integers(4))]


def _tabs(rng: np.random.Generator) -> tuple[tuple[float, Colour], ...]:
    colours: tuple[Colour, ...] = ((40.0, 40.0, 190.0), (60.0, 140.0, 50.0), (36.0, 36.0, 36.0))
    return tuple(
        (float(rng.uniform(0.0, 2 * np.pi)), colours[int(rng.integers(3))]) for _ in range(2)
    )


def _words(
    rng: np.random.Generator, unit: str, graduation: float, counter: Counter | None
) -> tuple[tuple[str, Pair, float], ...]:
    away = float(rng.uniform(0.3, 0.45))
    where = (0.0, -away) if rng.random() < 0.6 else (0.0, away)
    if counter is not None:
        near = np.array(counter.centre)
        place = -near * away / np.linalg.norm(near)
        where = (float(place[0]), float(place[1]))
    return ((f"{graduation:g} {unit}", where, float(rng.uniform(0.06, 0.085))),)
