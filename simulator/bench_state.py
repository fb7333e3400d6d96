"""What is told of a bench: to a person who stands at it, and to tests that want the truth."""

import math
from dataclasses import dataclass

from simulator.spec import Held, Layout
from simulator.work import Change, Goes, Knob


@dataclass(frozen=True, slots=True)
class KnobShown:
    """One thing that hands turn beside handwheels and spindle, and how far it was turned."""

    knob: Knob
    at: float


@dataclass(frozen=True, slots=True)
class BenchState:
    """What a person who stands at the bench can see, for drawing the machine."""

    t_s: float
    layout: Layout
    surface: Held
    seat_diameter_mm: float
    wheel_x_mm: float
    """Travel turned on the handwheel since the start; the table may be behind by its play."""
    wheel_y_mm: float
    wheel_x_divisions: float
    """What the handwheel's ring shows, from 0 up to its divisions."""
    wheel_y_divisions: float
    wheel_divisions: int
    mm_per_turn_x: float
    mm_per_turn_y: float
    locked_x: bool
    locked_y: bool
    spindle_rad: float
    """Spindle angle, unwrapped, anticlockwise seen from above, from +X."""
    indicator_fitted: bool
    covered: bool
    smeared: bool
    knocks: int
    """How often the camera was knocked since the work was mounted."""
    moving: bool
    work: str
    """Name of the work mounted: the guide that sets it up; "" where no guide does."""
    title: str
    turns: bool
    slides: bool
    goes: Goes
    marks: tuple[str, ...]
    at_mm: tuple[float, float, float]
    knobs: tuple[KnobShown, ...]
    changes: tuple[Change, ...]
    changed: str
    clamp: str
    """What a touch of the clamp does now, "" where nothing clamps the work."""
    clamped: bool
    dial: bool = True
    """Whether a dial is set against it."""
    turn_on_deg: float = 0.0
    """Part of a turn by which a touch turns it on, 0 where marks are pointed at."""


@dataclass(frozen=True, slots=True)
class BenchTruth:
    """What only the bench knows; for tests."""

    t_s: float
    offset_x_mm: float
    """Work axis - spindle axis, in the frame in which `stylus_rad` counts."""
    offset_y_mm: float
    reading_mm: float
    """What the needle shows, exactly."""
    push_mm: float
    """What the wall does to the stylus: no stops, no retrace, no error of the dial."""
    theta_rad: float
    """Spindle angle, unwrapped."""
    stylus_rad: float
    """Angle of the stylus round the work: theta when riding, -theta when the work turns."""
    collar_rad: float
    """The collar's angle as it is seen, rising with the marker number, up to one constant."""
    off_mm: float
    """How far the work mounted is from being right, in the words of its guide's tolerance."""

    @property
    def offset_mm(self) -> float:
        """Distance of the two axes."""
        return math.hypot(self.offset_x_mm, self.offset_y_mm)
