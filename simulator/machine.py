"""The machine behind the picture: slides with play, a spindle, a dial against the work mounted."""

import math
from typing import Literal

from simulator.contact import follow
from simulator.motion import Mover
from simulator.spec import GRADUATION_MM, MARKS_PER_TURN, BenchSpec
from simulator.work import Stand, Work

SlideAxis = Literal["x", "y"]
LONGEST_STEP_S = 0.01
"""Bench time in one step of a move: fine enough for play to see every turning point."""


class Slide:
    """One slide of the table: its handwheel, the play of its screw, its lock."""

    def __init__(self, play_mm: float, lock_shift_mm: float, *, takes_up: bool) -> None:
        self.wheel = Mover(0.0)
        self.locked = False
        self.will_lock = False
        """As `locked`, once the moves that wait are done."""
        self._play_mm = play_mm
        self._lock_shift_mm = lock_shift_mm
        self._start_mm = play_mm / 2 if takes_up else -play_mm / 2
        self._nut_mm = self._start_mm

    def advance(self, dt_s: float) -> None:
        """Let the handwheel move on and the table follow behind the play."""
        self.wheel.advance(dt_s)
        self._nut_mm = follow(self._nut_mm, self.wheel.place, self._play_mm)

    def set_lock(self, on: bool) -> None:
        """Lock or unlock, now."""
        self.locked = on

    @property
    def place_mm(self) -> float:
        """How far the table moved from its start."""
        return self._nut_mm - self._start_mm + (self._lock_shift_mm if self.locked else 0.0)


class Dial:
    """A dial with limited travel, rest at its low end, and retrace."""

    def __init__(self, spec: BenchSpec) -> None:
        self._low_mm, self._high_mm = spec.travel_mm
        self._retrace_mm = spec.retrace_mm
        self._error = spec.dial_error_mm, math.radians(spec.dial_error_deg)
        self._train_mm = self._low_mm

    def press(self, push_mm: float) -> None:
        """Push the stylus to `push_mm`; it cannot follow beyond its stops."""
        pushed_mm = self._between_stops(push_mm)
        self._train_mm = follow(self._train_mm, pushed_mm, self._retrace_mm)

    def release(self) -> None:
        """Take the stylus off the work: the needle goes to its rest."""
        self._train_mm = self._low_mm

    @property
    def reading_mm(self) -> float:
        """What the needle shows."""
        shown_mm = self._between_stops(self._train_mm)
        size_mm, phase = self._error
        waves = shown_mm / (GRADUATION_MM * MARKS_PER_TURN)
        return shown_mm + size_mm * math.sin(2 * math.pi * waves + phase)

    def _between_stops(self, value_mm: float) -> float:
        return min(max(value_mm, self._low_mm), self._high_mm)


class Machine:
    """Slides, spindle, arm, dial and the work mounted, in bench time; it knows the truth.

    `takes_up` says for x and y on which side of its play each screw was left.
    """

    def __init__(self, spec: BenchSpec, takes_up: tuple[bool, bool], work: Work) -> None:
        self.spec, self.work = spec, work
        shift = spec.lock_shift_mm
        self.slides: dict[SlideAxis, Slide] = {
            "x": Slide(spec.backlash_x_mm, shift[0], takes_up=takes_up[0]),
            "y": Slide(spec.backlash_y_mm, shift[1], takes_up=takes_up[1]),
        }
        self.spindle = Mover(math.radians(spec.start_deg))
        self.load = Mover(spec.preload_mm)
        self.at = tuple(Mover(place_mm) for place_mm in work.start_mm)
        self.knobs = {knob.key: Mover(0.0) for knob in work.knobs}
        self.clamped = False
        self.dial = Dial(spec)
        self.fitted = True
        self.t_s = 0.0
        self._free_mm = work.contact_mm(self.stand())
        self._touch()

    @property
    def moving(self) -> bool:
        """Whether any move is under way or waiting."""
        return any(mover.busy for mover in self._movers())

    def advance(self, dt_s: float) -> None:
        """Let bench time pass."""
        self.t_s += dt_s
        steps = max(1, math.ceil(dt_s / LONGEST_STEP_S))
        for _ in range(steps):
            if not self.moving:
                break
            self._step(dt_s / steps)
        if self.spec.drift_mm_min:
            self._touch()

    def fit(self, on: bool) -> None:
        """Put the indicator on its arm, or take it off."""
        self.fitted = on
        self._touch()

    def clamp(self, on: bool) -> None:
        """Clamp the work, or loosen it, now."""
        self.clamped = on
        self._touch()

    def set_dial(self) -> None:
        """Set the stylus against the work at the reading it was set to at the start."""
        self._free_mm = self.work.contact_mm(self.stand())
        self.load.place = self.spec.preload_mm
        self.dial.release()
        self._touch()

    def change(self, key: str) -> None:
        """Turn something round or set it elsewhere; the dial is set anew."""
        place = self.work.change(key)
        for mover, place_mm in zip(self.at, place or (), strict=False):
            mover.place = place_mm
        self.set_dial()

    @property
    def stylus_rad(self) -> float:
        """Where the stylus is round the work, in the frame in which the work's wall is given.

        Riding: the spindle carries the stylus round the still work. Still: the spindle turns
        the work away under a stylus that stands to the right.
        """
        turned = self.spindle.place
        return turned if self.spec.layout != "still" else -turned

    def stand(self) -> Stand:
        """Return how everything stands."""
        x, y, z = (mover.place for mover in self.at)
        return Stand(
            stylus_rad=self.stylus_rad,
            spindle_rad=self.spindle.place,
            table_mm=(self.slides["x"].place_mm, self.slides["y"].place_mm),
            at_mm=(x, y, z),
            knobs={key: mover.place for key, mover in self.knobs.items()},
            clamped=self.clamped,
        )

    @property
    def offset_mm(self) -> tuple[float, float]:
        """Work axis - spindle axis (x, y), in the frame of `stylus_rad`."""
        return self.work.offset_mm(self.stand())

    @property
    def push_mm(self) -> float:
        """How far the work pushes the stylus in, from the dial's zero, stops not minded."""
        warmth_mm = self.spec.drift_mm_min * self.t_s / 60.0
        return self.load.place + self.work.contact_mm(self.stand()) - self._free_mm + warmth_mm

    def _movers(self) -> tuple[Mover, ...]:
        wheels = (self.slides["x"].wheel, self.slides["y"].wheel)
        return (*wheels, self.spindle, self.load, *self.at, *self.knobs.values())

    def _step(self, dt_s: float) -> None:
        for slide in self.slides.values():
            slide.advance(dt_s)
        for mover in self._movers()[2:]:
            mover.advance(dt_s)
        self._touch()

    def _touch(self) -> None:
        if self.fitted:
            self.dial.press(self.push_mm)
        else:
            self.dial.release()
