"""The virtual bench: what hands can do to it, what is seen of it, and its truth."""

import math
import threading
from dataclasses import dataclass
from typing import Any

import numpy as np

from readings import DIRECTION_DEG, BadInputError, Direction, Frame
from simulator.commands import run_command
from simulator.machine import Machine, SlideAxis
from simulator.motion import Move, smooth_profile, uneven_profile
from simulator.painter import Painter, Scene
from simulator.spec import BenchSpec, Held, Layout

_LOCKING_S = 0.4
_REACH_MM_S = 0.4
_LEAST_MOVE_S = 0.4
_LEAST_POINTING_S = 1.0


@dataclass(frozen=True, slots=True)
class Answer:
    """Whether hands could do what was asked, and the sentence that says so."""

    done: bool
    sentence: str

    def __bool__(self) -> bool:
        return self.done


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
    moving: bool


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

    @property
    def offset_mm(self) -> float:
        """Distance of the two axes."""
        return math.hypot(self.offset_x_mm, self.offset_y_mm)


class Bench:
    """A virtual mill. Hands queue moves; moves happen as time advances.

    Every method may be called from any thread. Motions of one handwheel (or of the spindle)
    wait for each other; different things move at the same time.
    """

    def __init__(self, spec: BenchSpec, rng: np.random.Generator) -> None:
        self.spec = spec
        self._rng = rng
        self._lock = threading.RLock()
        self._machine = Machine(spec, (bool(rng.random() < 0.5), bool(rng.random() < 0.5)))
        self._covered = False
        self._painter: Painter | None = None
        self._index = 0

    # what hands do

    def turn_handwheel(self, axis: SlideAxis, mm: float) -> Answer:
        """Turn a handwheel by a signed travel; the table follows once the play is taken up."""
        with self._lock:
            slide = self._machine.slides[axis]
            if slide.will_lock:
                return _no(f"The {axis.upper()} slide is locked: unlock it first.")
            if self._would_jam(axis, mm):
                return _no("That would jam the stylus against the work: turn less.")
            seconds = max(_LEAST_MOVE_S, abs(mm) / self.spec.wheel_mm_s)
            slide.wheel.push(Move(mm, seconds, smooth_profile()))
            divisions = mm / self.spec.mm_per_turn(axis) * self.spec.wheel_divisions
            return _yes(f"Turning the {axis.upper()} handwheel by {divisions:+.1f} divisions.")

    def turn_spindle(self, by_rad: float, *, seconds: float | None = None) -> Answer:
        """Turn the spindle by hand, anticlockwise positive, unevenly as hands do."""
        with self._lock:
            turns = by_rad / (2 * math.pi)
            if seconds is None:
                seconds = max(_LEAST_MOVE_S, abs(turns) * self.spec.turn_s)
            profile = uneven_profile(self._rng, turns)
            self._machine.spindle.push(Move(by_rad, seconds, profile))
            sense = "anticlockwise" if by_rad >= 0 else "clockwise"
            return _yes(f"Turning the spindle {abs(turns):.2f} turns {sense} seen from above.")

    def point_stylus(self, direction: Direction) -> Answer:
        """Turn the shortest way until the stylus is at a side of the work; then stand still."""
        with self._lock:
            aim_rad = math.radians(DIRECTION_DEG[direction])
            aim_rad += math.radians(self.spec.aim_sigma_deg) * float(self._rng.standard_normal())
            target_rad = aim_rad if self.spec.layout == "riding" else -aim_rad
            spindle = self._machine.spindle
            by_rad = math.remainder(target_rad - spindle.goal, 2 * math.pi)
            seconds = max(_LEAST_POINTING_S, abs(by_rad) / (2 * math.pi) * self.spec.turn_s / 2)
            spindle.push(Move(by_rad, seconds, smooth_profile()))
            return _yes(f"Pointing the stylus to the {direction}.")

    def set_reach(self, by_mm: float) -> Answer:
        """Let the stylus out on its arm (or in): by so much the dial is loaded more."""
        with self._lock:
            seconds = max(_LEAST_MOVE_S, abs(by_mm) / _REACH_MM_S)
            self._machine.load.push(Move(by_mm, seconds, smooth_profile()))
            return _yes(
                f"Letting the stylus {'out' if by_mm >= 0 else 'in'} by {abs(by_mm):.3f} mm."
            )

    def lock(self, axis: SlideAxis, on: bool) -> Answer:
        """Lock or unlock a slide, after the moves of it that wait."""
        with self._lock:
            slide = self._machine.slides[axis]
            slide.will_lock = on
            move = Move(0.0, _LOCKING_S, smooth_profile(), lambda: slide.set_lock(on))
            slide.wheel.push(move)
            return _yes(f"{'Locking' if on else 'Unlocking'} the {axis.upper()} slide.")

    def fit_indicator(self, on: bool) -> Answer:
        """Put the indicator on its arm, or take it off."""
        with self._lock:
            self._machine.fit(on)
            return _yes(f"The indicator is {'on' if on else 'off'} its arm.")

    def cover(self, on: bool) -> Answer:
        """Hold a hand before the dial, or take it away."""
        with self._lock:
            self._covered = on
            return _yes(f"A hand is {'before' if on else 'away from'} the dial.")

    def command(self, name: str, **kwargs: Any) -> str:  # noqa: ANN401 - checked in commands.py
        """Do one of the above by its name; return the sentence that answers.

        Raises
        ------
        BadInputError
            If the name or an argument is not one the bench knows.
        """
        return run_command(self, name, kwargs)

    # time

    def advance(self, dt_s: float) -> None:
        """Let bench time pass; moves that wait happen."""
        if not (math.isfinite(dt_s) and dt_s >= 0):
            msg = f"Bench time goes forward: it cannot advance by {dt_s} s."
            raise BadInputError(msg)
        with self._lock:
            self._machine.advance(dt_s)

    def settle(self, *, step_s: float = 0.05, most_s: float = 600.0) -> float:
        """Advance until nothing moves or `most_s` have passed; return the seconds it took."""
        with self._lock:
            start_s = self._machine.t_s
            while self._machine.moving and self._machine.t_s - start_s < most_s:
                self._machine.advance(step_s)
            return self._machine.t_s - start_s

    # what is seen

    def render(self) -> Frame:
        """Return what the camera sees now; the same image object while nothing changed."""
        with self._lock:
            if self._painter is None:
                self._painter = Painter(self.spec, self._rng.spawn(1)[0])
            image = self._painter.paint(self._scene())
            frame = Frame(image, self._machine.t_s, self._index, "bench")
            self._index += 1
            return frame

    def state(self) -> BenchState:
        """Return what a person at the bench sees."""
        with self._lock:
            spec, machine = self.spec, self._machine
            slide_x, slide_y = machine.slides["x"], machine.slides["y"]
            return BenchState(
                t_s=machine.t_s,
                layout=spec.layout,
                surface=spec.surface,
                seat_diameter_mm=spec.seat_diameter_mm,
                wheel_x_mm=slide_x.wheel.place,
                wheel_y_mm=slide_y.wheel.place,
                wheel_x_divisions=self._ring("x"),
                wheel_y_divisions=self._ring("y"),
                wheel_divisions=spec.wheel_divisions,
                mm_per_turn_x=spec.mm_per_turn_x,
                mm_per_turn_y=spec.mm_per_turn_y,
                locked_x=slide_x.locked,
                locked_y=slide_y.locked,
                spindle_rad=machine.spindle.place,
                indicator_fitted=machine.fitted,
                covered=self._covered,
                moving=machine.moving,
            )

    def truth(self) -> BenchTruth:
        """Return what only the bench knows."""
        with self._lock:
            machine = self._machine
            x_mm, y_mm = machine.offset_mm
            return BenchTruth(
                t_s=machine.t_s,
                offset_x_mm=x_mm,
                offset_y_mm=y_mm,
                reading_mm=machine.dial.reading_mm,
                push_mm=machine.push_mm,
                theta_rad=machine.spindle.place,
                stylus_rad=machine.stylus_rad,
                collar_rad=self._collar_rad(),
            )

    def _scene(self) -> Scene:
        machine = self._machine
        return Scene(machine.dial.reading_mm, self._collar_rad(), machine.fitted, self._covered)

    def _collar_rad(self) -> float:
        """Return how far the collar seems turned to the camera.

        A collar's numbers rise anticlockwise seen from above. Carried anticlockwise round it,
        the camera meets rising numbers; a collar that itself turns so shows falling ones.
        Both equal the stylus' angle round the work, up to how the collar was put on.
        """
        return self._machine.stylus_rad + math.radians(self.spec.collar_zero_deg)

    def _ring(self, axis: SlideAxis) -> float:
        turns = self._machine.slides[axis].wheel.place / self.spec.mm_per_turn(axis)
        return turns % 1.0 * self.spec.wheel_divisions

    def _would_jam(self, axis: SlideAxis, mm: float) -> bool:
        goal_mm = self._machine.slides[axis].wheel.goal + mm
        start_mm = self.spec.offset_mm[0 if axis == "x" else 1]
        return abs(start_mm + goal_mm) > 0.25 * self.spec.seat_diameter_mm


def _yes(sentence: str) -> Answer:
    return Answer(True, sentence)


def _no(sentence: str) -> Answer:
    return Answer(False, sentence)
