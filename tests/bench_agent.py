"""An agent at the virtual bench that does only what `Advice` says, seeing only what is shown.

Everything between is real: drawn frames, the dial and collar readers, the capture, the
session and its book. Only time is the bench's own.
"""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from math import pi

import cv2
import numpy as np

from calibration.collars import Collar
from calibration.handwheels import Handwheel
from readings import DIRECTION_DEG
from records import Book
from setups import Instrument
from simulator import Bench, camera_model
from stream.messages import Command
from stream.session import Session, Tools
from vision.collar_reader import CollarReader
from vision.dial_reader import DialReader

FRAMES_PER_S = 5.0
"""While no spindle turns; a camera of few pictures will do."""
TURN_FRAMES_PER_S = 10.0
TURN_S = 3.6
START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


@dataclass
class BenchAgent:
    """One bench, one session, one pair of hands."""

    spec: object
    seed: int
    dial: object
    home: object
    guide: str = "centre-bore"
    tolerance_mm: float = 0.005
    published: list = field(default_factory=list)
    sense: int = 1
    frames: int = 0

    def __post_init__(self):
        cv2.setNumThreads(1)
        self.bench = Bench(self.spec, np.random.default_rng(self.seed))
        camera = camera_model(self.spec)
        self.reader = DialReader(self.dial, camera)
        self.collar = CollarReader(Collar(self.spec.collar_markers), camera)
        self.book = Book.open(self.home, program_version="test", now=self.now)
        instrument = Instrument(
            self.dial.name,
            self.dial.graduation_mm,
            self.dial.marks_per_turn,
            self.dial.travel_mm,
            tip_radius_mm=self.spec.tip_radius_mm,
        )
        wheels = (Handwheel("x", 5.0, 250), Handwheel("y", 5.0, 250))
        self.session = Session(
            self.book,
            Tools(instrument, wheels, source="bench"),
            self.publish,
            clock=self.clock,
            now=self.now,
        )

    def publish(self, topic, body, payload=None):
        if topic in ("saved", "state"):
            self.published.append((topic, body))

    def clock(self):
        return self.bench.state().t_s

    def now(self):
        return START + timedelta(seconds=self.clock())

    def close(self):
        self.session.close()
        self.book.close()

    # time and sight

    def frame(self, step_s=1.0 / FRAMES_PER_S):
        self.bench.advance(step_s)
        frame = self.bench.render()
        self.session.observe(frame, self.reader.read(frame), self.collar.read(frame))
        self.session.tick(self.clock())
        self.frames += 1

    def watch(self, seconds, *, until_changed=True):
        """Let the hands finish and then hold still for a while, or until the advice changes."""
        before = self.revision
        for _ in range(600):
            if not self.bench.state().moving:
                break
            self.frame()
        for _ in range(round(seconds * FRAMES_PER_S)):
            if until_changed and self.revision != before:
                return
            self.frame()

    @property
    def revision(self):
        return self.session.view().revision

    def command(self, name, **args):
        answer = self.session.command(Command(name, args, "agent", 0))
        assert answer.ok, answer.said

    # what the hands do

    def begin(self):
        self.command(
            "begin",
            guide=self.guide,
            job="Lock paddle winding gear",
            part="Gear-case end 1",
            operation="Bore 52 mm seat",
            tolerance_mm=self.tolerance_mm,
            diameter_mm=self.spec.seat_diameter_mm,
        )
        return self

    def act(self):
        view = self.session.view()
        advice = view.advice
        if advice.wants == "key":
            if view.step == "lock":
                self.slides(locked=True)
            self.command("next")
        elif advice.wants == "ticks":
            for line in view.lines:
                if not line.ticked:
                    self.command("touch", checklist=view.checklist, line=line.key, who="agent")
        elif advice.wants == "turn":
            self.bench.turn_spindle(self.sense * 385.0 * pi / 180.0, seconds=TURN_S)
            self.sense = -self.sense
            for _ in range(round(TURN_S * TURN_FRAMES_PER_S)):
                self.frame(1.0 / TURN_FRAMES_PER_S)
            self.watch(1.0, until_changed=False)
        elif advice.moves:
            self.follow(view, advice.moves[advice.move])
        else:
            self.point(advice.stylus)

    def slides(self, *, locked):
        self.bench.lock("x", locked)
        self.bench.lock("y", locked)
        self.watch(0.3, until_changed=False)

    def point(self, direction):
        self.bench.point_stylus(direction)
        self.watch(3.0)

    def stands_at(self, direction):
        theta = self.session.live().theta_deg
        return theta is not None and abs((theta - DIRECTION_DEG[direction] + 180) % 360 - 180) < 10

    def follow(self, view, move):
        if self.bench.state().locked_x:
            self.slides(locked=False)
        if not self.stands_at(move.stylus):
            self.point(move.stylus)
        elif view.step == "rough":
            self.follow_the_needle(move)
        else:
            self.come_from_one_side(move)

    def follow_the_needle(self, move):
        """Go the way that was told until the needle stands at its reading, then let go."""
        for _ in range(14):
            left_mm = move.needle_mm - (self.session.live().value_mm or 0.0)
            if abs(left_mm) < 0.3 * move.window_mm:
                break
            if move.what == "stylus":
                self.bench.set_reach(left_mm)
            else:
                self.bench.turn_handwheel(move.axis, left_mm / self.gain(move))
            self.hold()
        self.watch(3.0)

    def hold(self):
        """Let the hands finish; look once more."""
        while self.bench.state().moving:
            self.frame()
        self.frame()

    def come_from_one_side(self, move):
        """Back off as told, then creep up to the reading by the needle alone."""
        way = 1.0 if move.move_mm > 0 else -1.0
        before = self.revision
        back = self.to_go_mm(move) - way * max(move.back_off_mm, 0.15)
        self.bench.turn_handwheel(move.axis, back)
        self.hold()
        for _ in range(25):
            left = way * self.to_go_mm(move)
            if left <= 0.3 * move.window_mm:
                break
            self.bench.turn_handwheel(move.axis, way * (left if left < 0.03 else 0.8 * left))
            self.hold()
        if self.revision == before or self.same_move(move):
            self.watch(2.5)

    def same_move(self, move):
        advice = self.session.view().advice
        return advice.moves and advice.moves[advice.move].axis == move.axis

    def to_go_mm(self, move):
        """Travel that still parts the needle from its reading, as a person sees it."""
        live = self.session.live()
        target = move.needle_mm if live.target_mm is None else live.target_mm
        if live.value_mm is None:
            return 0.0
        return (target - live.value_mm) / self.gain(move)

    def gain(self, move):
        """How the reading goes as the table moves along an axis: a boss presses where it comes."""
        inside = self.spec.surface == "bore"
        return -1.0 if (move.stylus in ("right", "back")) == inside else 1.0

    def run(self, most=160):
        """Act until the setup is done, or `most` acts; return whether it is."""
        self.frame()
        for _ in range(most):
            if self.session.view().step == "done":
                return True
            self.act()
        return False

    def off_mm(self):
        truth = self.bench.truth()
        return float(np.hypot(truth.offset_x_mm, truth.offset_y_mm))
