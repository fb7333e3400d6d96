"""Works on paper seen through drawn frames: the real readers, capture, session and book.

An agent does only what the view says; only the physics and the time are paper's own.
"""

from datetime import UTC, datetime, timedelta
from math import radians

import cv2
import numpy as np
from guide_agent import POINTS

from calibration.collars import Collar
from readings import Frame
from records import Book
from setups import Instrument
from setups.measuring import wanted_place
from simulator import camera_model
from simulator.orbit import painter_of
from simulator.painter import Scene
from stream.messages import Command
from stream.session import Session, Tools
from vision.collar_reader import CollarReader
from vision.dial_reader import DialReader

FRAMES_PER_S = 10.0
TURN_S = 4.5
START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


class DrawnGuide:
    """One guide on one work, walked through pictures."""

    def __init__(self, guide, work, spec, dial, home, *, sizes, at=None, changed=None):
        cv2.setNumThreads(1)
        self.work, self.spec = work, spec
        self.at = at or (lambda work, place: None)
        self.changed = changed or (lambda work, key: None)
        self.painter = painter_of(spec, np.random.default_rng(1))
        camera = camera_model(spec)
        self.reader = DialReader(dial, camera)
        self.collar = CollarReader(Collar(spec.collar_markers), camera) if spec.collar else None
        self.index, self.sense = 0, 1
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

    def frame(self):
        work, self.index = self.work, self.index + 1
        work.time_s += 1.0 / FRAMES_PER_S
        low, high = self.spec.travel_mm
        shown = min(high, max(low, work.reading_mm()))
        turned = work.collar_rad() if self.collar else work.theta_rad
        image = self.painter.paint(Scene(shown, turned, fitted=True, covered=False))
        frame = Frame(image, work.time_s, self.index, "drawn")
        angle = self.collar.read(frame) if self.collar else None
        self.session.observe(frame, self.reader.read(frame), angle)
        self.session.tick(work.time_s)

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
        for share in np.linspace(0, 1, 12)[1:]:
            self.work.theta_rad = float(start + share * (goal - start))
            self.frame()

    def full_turn(self):
        start, n = self.work.theta_rad, round(TURN_S * FRAMES_PER_S)
        for i in range(1, n + 1):
            self.work.theta_rad = start + self.sense * radians(385.0) * i / n
            self.frame()
        self.sense = -self.sense
        for _ in range(8):
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
