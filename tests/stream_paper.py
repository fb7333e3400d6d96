"""An agent at a paper mill, seen through the session: readings that carry their own truth."""

from dataclasses import dataclass, field
from math import pi

import numpy as np
from paper_mill import PaperMill
from stream_kit import DIAL, WHEELS, Clocks, collar, picture, reading

from readings import DIRECTION_DEG
from records import Book
from stream.messages import Command
from stream.session import Session, Tools

FPS = 20.0
BEGIN = {
    "guide": "centre-bore",
    "job": "Lock paddle winding gear",
    "part": "Gear-case end 1",
    "operation": "Bore 52 mm seat",
    "tolerance_mm": 0.005,
    "diameter_mm": 52.0,
}


def mill_for(seed, **how):
    rng = np.random.default_rng(seed)
    offset = {"x_mm": rng.uniform(-0.5, 0.5), "y_mm": rng.uniform(-0.5, 0.5)}
    return PaperMill(rng, **{"retrace_mm": 0.003, "oval_mm": 0.02, **offset, **how})


@dataclass
class PaperSession:
    """A mill on paper, a session over it, and hands that do what the Advice says."""

    home: object
    mill: object
    clocks: Clocks = field(default_factory=Clocks)
    published: list = field(default_factory=list)
    on_publish: object = None
    sense: int = 1
    index: int = 0

    def __post_init__(self):
        self.open()

    def open(self):
        self.book = Book.open(self.home, program_version="test", now=self.clocks.now)
        self.session = Session(
            self.book,
            Tools(DIAL, WHEELS, source="paper"),
            self.publish,
            clock=self.clocks.clock,
            now=self.clocks.now,
        )

    def publish(self, topic, body, payload=None):
        self.published.append((topic, body))
        if self.on_publish:
            self.on_publish(topic, body)

    def of(self, topic):
        return [body for name, body in self.published if name == topic]

    def crash(self):
        """Lose the session as a killed process would: nothing is ended in order."""
        self.book.close()

    def command(self, name, **args):
        return self.session.command(Command(name, args))

    @property
    def view(self):
        return self.session.view()

    # time

    def frame(self, **how):
        self.clocks.t_s += 1.0 / FPS
        t_s = self.clocks.t_s
        self.index += 1
        value = how.get("value_mm", self.mill.reading_mm())
        self.session.observe(
            picture(t_s, self.index),
            reading(t_s, value),
            collar(t_s, self.mill.collar_rad() + self.mill.rng.normal(0.0, 0.0003)),
        )
        self.session.tick()

    def rest(self, seconds, *, until_changed=False, **how):
        before = self.view.revision
        for _ in range(round(seconds * FPS)):
            self.frame(**how)
            if until_changed and self.view.revision != before:
                return

    def turn(self, degrees, seconds):
        places = max(1, round(seconds * FPS))
        start = self.mill.theta_rad
        for i in range(1, places + 1):
            self.mill.turn_to(start + degrees * pi / 180.0 * i / places, places=1)
            self.frame()

    def point(self, direction):
        to = self.mill.nearest(DIRECTION_DEG[direction]) + self.mill.rng.normal(0.0, 0.03)
        self.turn((to - self.mill.theta_rad) * 180.0 / pi, 1.0)
        self.rest(2.5, until_changed=True)

    # what the hands do

    def tick_lines(self):
        for line in self.view.lines:
            if not line.ticked:
                said = self.command("touch", checklist=self.view.checklist, line=line.key, who="me")
                assert said.ok

    def act(self):
        view = self.view
        advice = view.advice
        if advice.wants == "key":
            if view.step == "lock":
                self.mill.lock()
            assert self.command("next").ok
        elif advice.wants == "ticks":
            self.tick_lines()
        elif advice.wants == "turn":
            self.turn(self.sense * 380.0, 8.0)
            self.sense = -self.sense
            self.rest(0.5)
        elif advice.moves:
            self.follow(advice.moves[advice.move])
        else:
            self.point(advice.stylus)

    def follow(self, move):
        mill = self.mill
        if abs(mill.theta_rad - mill.nearest(DIRECTION_DEG[move.stylus])) > 0.2:
            self.point(move.stylus)
        before = self.view
        target = self.session.live().target_mm
        if self.view.advice.wants != "still" or target is None:
            return
        if move.what == "stylus":
            mill.let_out(move.move_mm or 0.02)
        elif move.back_off_mm:
            way = 1.0 if move.move_mm > 0 else -1.0
            mill.move(move.axis, -way * move.back_off_mm)
            self.creep(move, target)
        else:
            self.creep(move, target)
        self.rest(2.5, until_changed=before.revision == self.view.revision)

    def creep(self, move, target):
        """Move by the needle, coming from one side."""
        gain = -1.0 if move.stylus in ("right", "back") else 1.0
        for _ in range(12):
            left = (target - self.mill.reading_mm()) / gain
            if abs(left) < 0.3 * move.window_mm:
                return
            self.mill.move(move.axis, left if abs(left) < 0.02 else 0.8 * left, places=10)
            self.rest(0.2)
            target = self.session.live().target_mm or target

    def until(self, *steps, most=120):
        """Act until the setup stands at one of the steps."""
        for _ in range(most):
            if self.view.step in steps:
                return
            self.act()
        raise AssertionError(f"still at {self.view.step}: {self.view.advice}")

    def begun(self):
        answer = self.command("begin", **BEGIN)
        assert answer.ok, answer.said
        return self
