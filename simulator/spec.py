"""What a virtual bench is made of: its work, its slides, its dial, its picture."""

import math
from dataclasses import dataclass, fields
from typing import Literal, get_args

import numpy as np

from readings import BadInputError

Shown = Literal[
    "", "table", "casting", "jacks", "hung", "square", "centres", "chuck", "head", "targets"
]
"""What is drawn under the spindle; "" for the bore or bar that `surface` names."""
Layout = Literal["riding", "still", "orbiting"]
Held = Literal["bore", "bar"]

GRADUATION_MM = 0.01
MARKS_PER_TURN = 100
"""One turn is 1.0 mm, more than the 0.8 mm of travel: the needle at rest (-0.4) and at the end
(+0.4) stand at different places of the face and cannot be taken for one another."""
SCALE_OUTER_DIAMETER_MM = 36.0
NEEDLE_HEIGHT_MM = 1.0


@dataclass(frozen=True, slots=True)
class BenchSpec:
    """Everything that makes one bench differ from another.

    Lengths in mm, angles in degrees (this is an edge where people type). The axes are the
    operator's: +X right, +Y away, angles anticlockwise seen from above.

    In the layout ``riding`` the work stands on the table, the stylus turns with the spindle
    and the camera rides on the same arm. In ``still`` the work turns in the spindle while
    the dial (on a stand on the table, stylus to the right) and the camera stand still. In
    ``orbiting`` stylus and dial turn with the spindle before a camera that stands still.
    """

    layout: Layout = "riding"
    surface: Held = "bore"
    # the work: wall radius(φ) = seat/2 + ovality·cos 2(φ - ovality_deg) + the lobes likewise
    seat_diameter_mm: float = 52.0
    offset_mm: tuple[float, float] = (0.32, -0.21)
    ovality_mm: float = 0.0
    ovality_deg: float = 0.0
    lobe3_mm: float = 0.0
    lobe3_deg: float = 0.0
    more_lobes: tuple[tuple[int, float, float], ...] = ()
    """Further lobes of the wall: (order from 4, amplitude mm, phase deg)."""
    worn_deg: tuple[float, float] = (0.0, 0.0)
    """From, to, anticlockwise: where the wall is worn, at most `worn_mm` away from the stylus."""
    worn_mm: float = 0.0
    slots_mm: tuple[float, ...] = ()
    """Slots along X in the table that an arm sweeps, by their middles' Y from the spindle."""
    slot_wide_mm: float = 14.0
    slot_deep_mm: float = 20.0
    # the slides
    backlash_x_mm: float = 0.06
    backlash_y_mm: float = 0.04
    mm_per_turn_x: float = 5.0
    mm_per_turn_y: float = 5.0
    wheel_divisions: int = 250
    lock_shift_mm: tuple[float, float] = (0.002, -0.001)
    """How far locking each slide pushes the table; unlocking lets it spring back."""
    # the dial: 0.01 mm, 100 divisions a turn, balanced
    travel_mm: tuple[float, float] = (-0.4, 0.4)
    retrace_mm: float = 0.003
    dial_error_mm: float = 0.0
    """Amplitude of the dial's own error, one wave a turn of the needle."""
    dial_error_deg: float = 0.0
    tip_radius_mm: float = 1.0
    drift_mm_min: float = 0.0
    """Warmth: by how much dial and holder push the stylus in more with each minute."""
    preload_mm: float = 0.0
    """Reading with which the stylus was set against the wall at the start."""
    # the hands
    start_deg: float = 0.0
    """Spindle angle at the start."""
    turn_s: float = 25.0
    """Seconds that a hand takes for one turn of the spindle unless told otherwise."""
    wheel_mm_s: float = 1.5
    aim_sigma_deg: float = 0.0
    """Scatter of the hand that points the stylus by eye."""
    # the picture
    fps: float = 30.0
    readout_s: float = 0.0
    """Time in which the picture's rows are read out one after another, the top one first."""
    image_width: int = 1280
    image_height: int = 720
    noise_grey: float = 1.5
    shown: Shown = ""
    collar: bool = True
    """Whether a collar is in sight."""
    collar_markers: int = 16
    collar_zero_deg: float = 0.0
    """Turn of the collar on what carries it."""
    tilt_deg: float = 13.0
    """Line of sight against the face's normal."""
    tilt_towards_deg: float = 205.0
    """Which way the face leans, from the picture's right, anticlockwise."""
    bezel_deg: float = 0.0
    """Where the bezel was turned: the zero mark from straight up, clockwise."""
    needle_shadow: float = 0.25
    """Darkness of the needle's full shadow, 0 (none) to 1."""
    shadow_edge_mm: float = 0.7
    """Width of its half shadow: a lamp seen 0.6 as wide as it is far away, 1.2 mm aslant."""

    def __post_init__(self) -> None:
        _check(self)

    def mm_per_turn(self, axis: Literal["x", "y"]) -> float:
        """Return the travel of one turn of an axis' handwheel (mm)."""
        return self.mm_per_turn_x if axis == "x" else self.mm_per_turn_y

    def backlash_mm(self, axis: Literal["x", "y"]) -> float:
        """Return an axis' backlash (mm)."""
        return self.backlash_x_mm if axis == "x" else self.backlash_y_mm

    @property
    def lobes(self) -> tuple[tuple[int, float, float], ...]:
        """All lobes of the wall: (order, amplitude mm, phase rad), those without size left out."""
        lobes = ((2, self.ovality_mm, self.ovality_deg), (3, self.lobe3_mm, self.lobe3_deg))
        return tuple((n, a, math.radians(p)) for n, a, p in (*lobes, *self.more_lobes) if a)


def _check(spec: BenchSpec) -> None:
    _check_finite(spec)
    _check_work(spec)
    low, high = spec.travel_mm
    _demand(low < high, f"a dial's travel must rise, got {low} to {high} mm")
    _demand(low <= spec.preload_mm <= high, "the stylus must start inside the dial's travel")
    rates = (spec.turn_s, spec.wheel_mm_s, spec.fps, spec.mm_per_turn_x, spec.mm_per_turn_y)
    _demand(min(rates) > 0, "turn_s, wheel_mm_s, fps and mm_per_turn must be above 0")
    _demand(0 <= spec.readout_s <= 0.2, "readout_s is a time from 0 to 0.2 s")
    slots = spec.slot_wide_mm > 0 and spec.slot_deep_mm > 0
    _demand(slots, "a slot must have a width and a depth")
    _demand(0 <= spec.needle_shadow <= 1, "needle_shadow is a share from 0 to 1")
    _demand(spec.shadow_edge_mm >= 0.05, "shadow_edge_mm must be 0.05 or more")
    least = (spec.backlash_x_mm, spec.backlash_y_mm, spec.retrace_mm, spec.noise_grey)
    _demand(min(least) >= 0, "backlash, retrace and noise cannot be negative")
    _demand(spec.wheel_divisions >= 1, "a handwheel needs at least one division")
    _demand(6 <= spec.collar_markers <= 50, "a collar carries 6 to 50 markers")
    _demand(abs(spec.tilt_deg) <= 45.0, "the dial's face is drawn up to 45 degrees of tilt")
    sized = 320 <= spec.image_width <= 4096 and 180 <= spec.image_height <= 2304
    _demand(sized, "the picture must be 320 x 180 to 4096 x 2304 pixels")


def _check_work(spec: BenchSpec) -> None:
    known = get_args(Layout)
    _demand(spec.layout in known, f"layout is one of {', '.join(known)}, got {spec.layout!r}")
    _demand(spec.surface in ("bore", "bar"), f"surface is bore or bar, got {spec.surface!r}")
    room = spec.seat_diameter_mm / 2 - (spec.tip_radius_mm if spec.surface == "bore" else 0.0)
    _demand(spec.tip_radius_mm > 0 and room > 0, "the stylus tip must be smaller than the work")
    _demand(math.hypot(*spec.offset_mm) < 0.5 * room, "the offset must lie well inside the work")
    worn = math.radians((spec.worn_deg[1] - spec.worn_deg[0]) % 360.0)
    steep = 2 * abs(spec.worn_mm) * (math.pi / worn) ** 2 if worn else 0.0
    _demand(spec.worn_mm >= 0 and steep < 0.5 * room, "the wear is too deep for so narrow an arc")
    _demand(not spec.worn_mm or worn > 0, "wear needs an arc, from and to in degrees")
    bent = sum(n * n * abs(a) for n, a, _ in spec.lobes)
    _demand(bent < 0.5 * room, "the lobes are too large: the tip would touch at two places")


def _check_finite(spec: BenchSpec) -> None:
    for field in fields(spec):
        value = getattr(spec, field.name)
        if isinstance(value, (int, float)):
            _demand(math.isfinite(value), f"{field.name} must be a number, got {value}")


def _demand(holds: bool, sentence: str) -> None:
    if not holds:
        msg = f"This bench cannot be built: {sentence}."
        raise BadInputError(msg)


def random_spec(rng: np.random.Generator, *, layout: Layout = "riding") -> BenchSpec:
    """Return a bench drawn from the range in which the closed loop must hold.

    Offset 0.1 to 0.8 mm any way, ovality to 0.05 mm, three lobes to 0.01 mm, backlash to
    0.1 mm, a dial with ±0.4 mm of travel and 3 micrometres of retrace.
    """
    away_mm, towards = rng.uniform(0.1, 0.8), rng.uniform(0.0, 2 * math.pi)
    return BenchSpec(
        layout=layout,
        surface="bore" if layout == "riding" else "bar",
        seat_diameter_mm=float(rng.choice([47.0, 52.0])),
        offset_mm=(away_mm * math.cos(towards), away_mm * math.sin(towards)),
        ovality_mm=float(rng.uniform(0.0, 0.05)),
        ovality_deg=float(rng.uniform(0.0, 180.0)),
        lobe3_mm=float(rng.uniform(0.0, 0.01)),
        lobe3_deg=float(rng.uniform(0.0, 120.0)),
        backlash_x_mm=float(rng.uniform(0.0, 0.1)),
        backlash_y_mm=float(rng.uniform(0.0, 0.1)),
        lock_shift_mm=(float(rng.uniform(-0.002, 0.002)), float(rng.uniform(-0.002, 0.002))),
        start_deg=float(rng.uniform(-180.0, 180.0)),
        collar_zero_deg=float(rng.uniform(0.0, 360.0)),
        tilt_deg=float(rng.uniform(6.0, 18.0)),
        tilt_towards_deg=float(rng.uniform(150.0, 260.0)),
        bezel_deg=float(rng.uniform(-25.0, 25.0)),
    )
