"""Works on paper seen through drawn frames: the real readers, capture, session and book.

An agent does only what the view says; only the physics and the time are paper's own.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from math import radians

import cv2
import numpy as np
from guide_agent import POINTS

from calibration.collars import Collar
from readings import Frame
from records import Book
from setups import Instrument
from setups.machine import SET_FOR_TURN
from setups.measuring import wanted_place
from simulator import camera_model
from simulator.orbit import painter_of
from simulator.painter import Scene
from stream.messages import Command
from stream.session import Session, Tools
from vision.collar_reader import CollarReader
from vision.dial_reader import DialReader

FRAMES_PER_S = 5.0
"""While nothing turns the same picture comes again and again: a camera of few pictures will do."""
TURN_FRAMES = 30
TURN_S = 3.0
START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


@lru_cache(maxsize=3)
def painter(spec):
    """What draws a bench; guides on the same bench share what it has drawn of it."""
    return painter_of(spec, np.random.default_rng(1))


def missed(walk, seeds, dial, home):
    """Walk many benches, each with a home of its own; return (seed, why) of those that fail."""
    failed = []
    for seed in seeds:
        try:
            walk(seed, dial, home / str(seed))
        except AssertionError as error:
            failed.append((seed, str(error)[:200]))
    return failed


class DrawnGuide:
    """One guide on one work, walked through pictures."""

    def __init__(self, guide, work, spec, dial, home, *, sizes, at=None, changed=None):
        cv2.setNumThreads(1)
        self.work, self.spec = work, spec
        self.at = at or (lambda work, place: None)
        self.changed = changed or (lambda work, key: None)
        self.painter = painter(spec)
        camera = camera_model(spec)
        self.reader = DialReader(dial, camera)
        self.collar = CollarReader(Collar(spec.collar_markers), camera) if spec.collar else None
        self.index, self.sense = 0, 1
        self.image, self.alike, self.said = None, 0, (None, None)
        work.noise_mm = 0.0
        self.book = Book.open(home, program_version="test", now=self.now)
        instrument = Instrument(dial.name, dial.graduation_mm, dial.marks_per_turn, dial.travel_mm)
        self.session = Session(
            self.book,
            Tools(instrument, (), source="drawn"),
            lambda *a: None,
            clock=lambda: self.work.time_s,
            now=self.now,
        )
        self.command(
            "begin",
            guide=guide,
            job="Lock paddle winding gear",
            part="Gear-case end 1",
            operation="Face and seats",
            sizes=sizes,
        )

    def now(self):
        return START + timedelta(seconds=self.work.time_s)

    def close(self):
        self.session.close()
        self.book.close()

    @property
    def view(self):
        return self.session.view()

    def command(self, name, **args):
        answer = self.session.command(Command(name, args, "agent", 0))
        assert answer.ok, answer.said

    def frame(self, step_s=1.0 / FRAMES_PER_S):
        work, self.index = self.work, self.index + 1
        work.time_s += step_s
        low, high = self.spec.travel_mm
        shown = min(high, max(low, work.reading_mm()))
        turned = work.collar_rad() if self.collar else work.theta_rad
        image = self.painter.paint(Scene(shown, turned, fitted=True, covered=False))
        frame = Frame(image, work.time_s, self.index, "drawn")
        self.session.observe(frame, *self.read(frame))
        self.session.tick(work.time_s)

    def read(self, frame):
        """Read a picture; the very same one, read twice already, says what it said."""
        self.alike = self.alike + 1 if frame.image is self.image else 0
        self.image = frame.image
        if self.alike < 2:
            self.said = self.reader.read(frame), self.collar.read(frame) if self.collar else None
        reading, angle = self.said
        if not reading.ok:
            self.alike = 0
        return replace(reading, t_s=frame.t_s), angle and replace(angle, t_s=frame.t_s)

    def watch(self, seconds):
        before = self.view.revision
        for _ in range(round(seconds * FRAMES_PER_S)):
            self.frame()
            if self.view.revision != before:
                return

    def turn_to(self, degrees):
        start = self.work.theta_rad
        self.work.turn_to(degrees)
        goal = self.work.theta_rad
        for share in np.linspace(0, 1, 4)[1:]:
            self.work.theta_rad = float(start + share * (goal - start))
            self.frame()

    def full_turn(self):
        start = self.work.theta_rad
        for share in np.linspace(0, 1, TURN_FRAMES + 1)[1:]:
            self.work.theta_rad = float(start + self.sense * radians(385.0) * share)
            self.frame(TURN_S / TURN_FRAMES)
        self.sense = -self.sense
        for _ in range(4):
            self.frame()

    def act(self):
        view, work = self.view, self.work
        advice = view.advice
        if advice.wants == "ticks":
            for line in view.lines:
                if not line.ticked:
                    self.command("touch", checklist=view.checklist, line=line.key, who="agent")
        elif advice.wants == "place":
            self.at(work, wanted_place(self.session.state))
            self.watch(0.6)
            self.command("next")
            self.watch(3.0)
        elif advice.todo is not None:
            self.put_right(advice.todo)
        elif advice.wants in ("key", "sizes"):
            self.touch_next(view)
        elif advice.wants == "turn":
            if SET_FOR_TURN in advice.note:
                work.set_for_turn()
                self.watch(1.0)
            self.full_turn()
        else:
            self.turn_to(POINTS[advice.stylus])
            self.watch(3.0)

    def put_right(self, todo):
        if todo.stylus_deg is not None:
            self.turn_to(todo.stylus_deg)
        theta = self.work.theta_rad
        self.work.do(todo)
        if todo.stylus_deg is not None:
            self.work.theta_rad = theta
        if todo.needle_mm is None:
            self.command("next")
        else:
            self.watch(3.0)

    def touch_next(self, view):
        if view.kind == "lock":
            self.work.lock()
        self.changed(self.work, view.step)
        if view.kind in ("prepare", "change"):
            self.work.load()
        self.command("next")

    def run(self, most=200):
        self.frame()
        for _ in range(most):
            if self.view.step == "done":
                return self
            self.act()
        raise AssertionError(f"did not end: {self.view.advice}")
