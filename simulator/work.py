"""What can be mounted on the bench: how hands reach it, and how far it pushes the stylus.

Lengths in mm, angles in radians; X right, Y away, Z up, angles anticlockwise seen from above.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from simulator.spec import BenchSpec, Layout, Shown

if TYPE_CHECKING:
    from simulator.canvas import Image
    from simulator.painter import Scene

_AIM_DEG = 0.7
"""How well hands stop a spindle at stops that are told by word only."""
Goes = Literal["", "x", "z", "xy", "round"]
"""What brings the dial from place to place: nothing, one or two slides, or the spindle."""
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Knob:
    """One thing that hands turn, push or pack, beside handwheels and spindle.

    `less` and `more` are the words for its two ways, `steps` how far one touch goes (largest
    first, in `unit`), `most` how far it goes at all either way.
    """

    key: str
    label: str
    less: str
    more: str
    unit: str
    steps: tuple[float, ...]
    most: float


@dataclass(frozen=True, slots=True)
class Change:
    """Something that is turned round or set elsewhere in one go; the dial is set anew after it."""

    key: str
    label: str


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """How everything stands at one moment.

    `stylus_rad` is where the stylus is round the work, `table_mm` how far the slides went,
    `at_mm` where the dial was brought over a work that is touched at places (x, y, z).
    """

    stylus_rad: float
    spindle_rad: float
    table_mm: tuple[float, float]
    at_mm: tuple[float, float, float]
    knobs: Mapping[str, float]
    clamped: bool


class Paints(Protocol):
    """What draws a scene."""

    def paint(self, scene: "Scene") -> "Image":
        """Return the picture (height, width, 3), read-only."""


class Work:
    """One thing mounted on the bench; it knows its own truth.

    A kind of work says by its class what hands find on it, and by `contact_mm` how far the
    stylus is pushed in. Works that move when clamped keep the shift for themselves.
    """

    title = ""
    knobs: tuple[Knob, ...] = ()
    changes: tuple[Change, ...] = ()
    goes: Goes = ""
    turns = False
    """Whether full turns of the spindle are part of it."""
    slides = False
    """Whether the handwheels move it."""
    clamp = ""
    """What clamps it, as a button says it: "Tighten the head"; "" where nothing does."""
    unclamp = ""
    marks: tuple[str, ...] = ("mark at dial", "¼ past dial", "½ past dial", "¾ past dial")
    """Where turning work stands at 0, 90, 180 and 270 degrees, as a button says it."""
    start_mm = (0.0, 0.0, 0.0)
    """Where the dial stands when it is mounted."""
    dial = True
    """Whether a dial is set against it."""
    turn_on_deg = 0.0
    """Part of a turn by which hands turn it on at a touch; 0 where marks are pointed at."""

    def __init__(self) -> None:
        self.changed = ""
        """The last change made, "" at first."""

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the bench's spec as it is with this mounted."""
        return spec

    def painter(self, spec: BenchSpec, rng: np.random.Generator) -> "Paints | None":
        """Return what draws it, None for the machine and dial that most stand before."""
        return None

    def contact_mm(self, stand: Stand) -> float:
        """Return how far the stylus is pushed in, up to a constant (mm)."""
        raise NotImplementedError

    def offset_mm(self, stand: Stand) -> tuple[float, float]:
        """Return work axis - spindle axis where there is such a thing."""
        return 0.0, 0.0

    def off_mm(self, stand: Stand) -> float:
        """Return how far it is from being right, in the words of its guide's tolerance."""
        raise NotImplementedError

    def change(self, key: str) -> tuple[float, float, float] | None:
        """Make a change; return where the dial then stands, None where that is left as it is."""
        self.changed = key
        return None


def round_spec(
    spec: BenchSpec,
    layout: Layout,
    held: str,
    shown: Shown = "",
    *,
    collar: bool = True,
) -> BenchSpec:
    """Return a spec whose picture shows a bore, a bar or something else in a layout."""
    surface: Literal["bore", "bar"] = "bore" if held == "bore" else "bar"
    aim_deg = _AIM_DEG if layout == "orbiting" else spec.aim_sigma_deg
    return replace(
        spec,
        layout=layout,
        surface=surface,
        shown=shown,
        collar=collar,
        aim_sigma_deg=aim_deg,
    )


def away(rng: np.random.Generator, least: float, most: float, count: int = 2) -> Floats:
    """Return numbers of a size between two bounds, of either sign."""
    sizes = rng.uniform(least, most, count)
    return np.asarray(sizes * rng.choice([-1.0, 1.0], count))


def towards(angle_rad: float) -> Floats:
    """Return the unit vector at an angle."""
    return np.array([np.cos(angle_rad), np.sin(angle_rad)])
