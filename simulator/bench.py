"""The virtual bench: what hands can do to it, what is seen of it, and its truth."""

import math
import threading
from dataclasses import dataclass
from typing import Any

import numpy as np

from readings import DIRECTION_DEG, BadInputError, Direction, Frame
from simulator.bench_state import BenchState, BenchTruth, KnobShown
from simulator.commands import run_command
from simulator.faults import LensFaults, RowDelay
from simulator.machine import Machine, SlideAxis
from simulator.motion import Move, smooth_profile, uneven_profile
from simulator.optics import camera_model
from simulator.orbit import painter_of
from simulator.painter import Scene
from simulator.scenery import ROWS_APART
from simulator.spec import BenchSpec
from simulator.work import Knob, Paints
from simulator.works import as_in_spec, make_work, name_in_spec

_LOCKING_S = 0.4
_REACH_MM_S = 0.4
_LEAST_MOVE_S = 0.4
_LEAST_POINTING_S = 1.0
_GOING_S = 1.2
_KNOB_S = 0.6


@dataclass(frozen=True, slots=True)
class Answer:
    """Whether hands could do what was asked, and the sentence that says so."""

    done: bool
    sentence: str

    def __bool__(self) -> bool:
        return self.done


class Bench:
    """A virtual mill. Hands queue moves; moves happen as time advances.

    Every method may be called from any thread. Motions of one handwheel (or of the spindle)
    wait for each other; different things move at the same time.
    """

    def __init__(self, spec: BenchSpec, rng: np.random.Generator) -> None:
        self.spec = spec
        self._rng = rng
        self._lock = threading.RLock()
        self._work = name_in_spec(spec)
        self._start_spec = spec
        self._machine = Machine(spec, self._played(), as_in_spec(spec))
        self._covered = False
        self._painter: Paints | None = None
        self._lens, self._rows = LensFaults(camera_model(spec)), RowDelay()
        self._index = 0

    def _played(self) -> tuple[bool, bool]:
        return bool(self._rng.random() < 0.5), bool(self._rng.random() < 0.5)

    # what hands do

    def mount(self, work: str) -> Answer:
        """Take everything down and mount the work that a guide sets up, its truth drawn anew.

        Raises
        ------
        BadInputError
            If the bench has no such work.
        """
        with self._lock:
            mounted = make_work(work, self._start_spec, self._rng)
            t_s, self.spec = self._machine.t_s, mounted.spec(self._start_spec)
            self._machine = Machine(self.spec, self._played(), mounted)
            self._machine.t_s = t_s
            self._work, self._covered, self._painter = work, False, None
            self._lens, self._rows = LensFaults(camera_model(self.spec)), RowDelay()
            return _yes(f"Mounted: {mounted.title}.")

    def turn_handwheel(self, axis: SlideAxis, mm: float) -> Answer:
        """Turn a handwheel by a signed travel; the table follows once the play is taken up."""
        with self._lock:
            slide = self._machine.slides[axis]
            if not self._machine.work.slides:
                return _no("The slides stay locked with this work.")
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
            if not self._turnable():
                return _no("The spindle stays locked with this work.")
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
            if not self._turnable():
                return _no("The spindle stays locked with this work.")
            self._point(DIRECTION_DEG[direction])
            return _yes(f"Pointing the stylus to the {direction}.")

    def _turnable(self) -> bool:
        work = self._machine.work
        return work.turns or work.goes == "round"

    def _point(self, degrees: float) -> None:
        """Turn the shortest way until the stylus is at an angle round the work."""
        aim_rad = math.radians(degrees)
        aim_rad += math.radians(self.spec.aim_sigma_deg) * float(self._rng.standard_normal())
        target_rad = aim_rad if self.spec.layout != "still" else -aim_rad
        spindle = self._machine.spindle
        by_rad = math.remainder(target_rad - spindle.goal, 2 * math.pi)
        seconds = max(_LEAST_POINTING_S, abs(by_rad) / (2 * math.pi) * self.spec.turn_s / 2)
        spindle.push(Move(by_rad, seconds, smooth_profile()))

    def go(self, at: tuple[float, ...]) -> Answer:
        """Bring the dial to a place: along one slide or two (mm), or round (degrees)."""
        with self._lock:
            goes = self._machine.work.goes
            if not goes or len(at) != (2 if goes == "xy" else 1):
                return _no("The dial cannot go to such a place on this work.")
            if goes == "round":
                self._point(at[0])
                return _yes(f"Turning the stylus to {at[0]:g} degrees.")
            for axis, goal_mm in zip(goes, at, strict=True):
                mover = self._machine.at["xyz".index(axis)]
                mover.push(Move(goal_mm - mover.goal, _GOING_S, smooth_profile()))
            return _yes("Bringing the dial there.")

    def turn_knob(self, knob: str, by: float) -> Answer:
        """Turn, push or pack one thing of the work, in its own unit."""
        with self._lock:
            known = next((k for k in self._machine.work.knobs if k.key == knob), None)
            if known is None:
                return _no(f"This work has no {knob!r}.")
            if self._machine.clamped:
                return _no(f"It is clamped: {self._machine.work.unclamp.lower()} first.")
            mover = self._machine.knobs[knob]
            if abs(mover.goal + by) > known.most:
                return _no(f"{known.label} goes no further than {known.most:g} {known.unit}.")
            mover.push(Move(by, _KNOB_S, smooth_profile()))
            way = known.more if by >= 0 else known.less
            return _yes(f"{known.label}: {way} by {abs(by):g} {known.unit}.")

    def change(self, what: str) -> Answer:
        """Turn something round or set it elsewhere; the dial is set to mid travel there."""
        with self._lock:
            known = {change.key: change.label for change in self._machine.work.changes}
            if what not in known:
                return _no(f"There is no {what!r} with this work.")
            self._machine.change(what)
            return _yes(f"{known[what]}: done, the dial set to mid travel.")

    def clamp(self, on: bool) -> Answer:
        """Clamp the work, or loosen it: clamping moves work."""
        with self._lock:
            work = self._machine.work
            if not work.clamp:
                return _no("Nothing is to be clamped with this work.")
            self._machine.clamp(on)
            return _yes(f"{work.clamp if on else work.unclamp}: done.")

    def set_dial(self) -> Answer:
        """Set the dial against the work anew, at mid travel."""
        with self._lock:
            self._machine.set_dial()
            return _yes("The dial is set to mid travel here.")

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

    def smear(self, on: bool) -> Answer:
        """Smear the lens with an oily finger, or wipe it."""
        with self._lock:
            self._lens.smear(on)
            return _yes("The lens is smeared." if on else "The lens is wiped.")

    def knock(self) -> Answer:
        """Knock the camera: it looks a little elsewhere from now on."""
        with self._lock:
            self._lens.knock(self._rng)
            return _yes("The camera was knocked: it looks a little elsewhere.")

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
            self._rows.tell(self._machine.t_s, self._machine.stylus_rad)
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
                rng = self._rng.spawn(1)[0]
                own = self._machine.work.painter(self.spec, rng)
                self._painter = own or painter_of(self.spec, rng)
            image = self._lens.seen(self._painter.paint(self.scene()))
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
                smeared=self._lens.smeared,
                knocks=self._lens.knocks,
                moving=machine.moving,
                work=self._work,
                title=machine.work.title,
                turns=machine.work.turns,
                slides=machine.work.slides,
                goes=machine.work.goes,
                marks=machine.work.marks,
                at_mm=machine.stand().at_mm,
                knobs=tuple(self._knob(knob) for knob in machine.work.knobs),
                changes=machine.work.changes,
                changed=machine.work.changed,
                clamp=machine.work.unclamp if machine.clamped else machine.work.clamp,
                clamped=machine.clamped,
                dial=machine.work.dial,
                turn_on_deg=machine.work.turn_on_deg,
            )

    def _knob(self, knob: Knob) -> KnobShown:
        return KnobShown(knob, round(self._machine.knobs[knob.key].place, 6))

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
                off_mm=machine.work.off_mm(machine.stand()),
            )

    def scene(self) -> Scene:
        """Return what the camera sees now: the dial, and the collar as its rows were read out."""
        with self._lock:
            machine = self._machine
            by_s = ROWS_APART * self.spec.readout_s
            stylus = self._rows.before(machine.t_s, machine.stylus_rad, by_s)
            collar = self._collar_rad() + stylus - machine.stylus_rad
            return Scene(machine.dial.reading_mm, collar, machine.fitted, self._covered)

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
