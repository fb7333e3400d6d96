"""The rotation axis by printed targets: drawn frames, the real reader, session and book."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import hypot, radians

import cv2
import numpy as np
import pytest

from records import Book, BookReader
from setups import GUIDES, Instrument
from setups.tasks_orbit import rotation_axis
from simulator import Bench, BenchSpec, camera_model
from stream.messages import Command
from stream.session import Session, Tools
from vision.target_pair import PairReader

FRAMES_PER_S = 4.0
START = datetime(2026, 11, 28, 9, 0, tzinfo=UTC)
SPEC = BenchSpec(image_width=800, image_height=450, turn_s=4.0)
DIAL = Instrument("bench", 0.01, 100, (-0.4, 0.4))


class TargetBench:
    """A bench with two targets and hands that do what is told."""

    def __init__(self, home, seed, spec=SPEC, sizes=None):
        cv2.setNumThreads(1)
        self.bench = Bench(spec, np.random.default_rng(seed))
        self.bench.mount("rotation-axis")
        self.reader = PairReader(camera_model(spec))
        self.book = Book.open(home, program_version="test", now=self.now)
        self.session = Session(
            self.book,
            Tools(DIAL, (), source="bench"),
            lambda *a: None,
            clock=self.clock,
            now=self.now,
        )
        self.command(
            "begin",
            guide="rotation-axis",
            job="Lock paddle winding gear",
            part="Gear-case end 1",
            operation="Where the head turns about",
            sizes=sizes,
        )

    def clock(self):
        return self.bench.state().t_s

    def now(self):
        return START + timedelta(seconds=self.clock())

    def command(self, name, **args):
        answer = self.session.command(Command(name, args, "agent", 0))
        assert answer.ok, answer.said

    @property
    def view(self):
        return self.session.view()

    @property
    def bar(self):
        return self.bench._machine.work.bar

    def frame(self):
        self.bench.advance(1.0 / FRAMES_PER_S)
        frame = self.bench.render()
        self.session.observe(frame, *self.reader.read(frame))
        self.session.tick(self.clock())

    def turn_on(self, degrees=40.0):
        """Turn on unseen, then hold still while pictures come."""
        self.bench.turn_spindle(radians(degrees), seconds=1.0)
        self.bench.settle()
        for _ in range(round(1.3 * FRAMES_PER_S)):
            self.frame()

    def tick_all(self):
        for line in self.view.lines:
            self.command("touch", checklist=self.view.checklist, line=line.key, who="agent")

    def to_orbit(self):
        while self.view.kind != "orbit":
            if self.view.kind == "checklist":
                self.tick_all()
            else:
                self.command("next")
        self.frame()
        return self

    def orbit(self):
        """Nine stops a turn; a second time round they lie elsewhere, as a hand's do."""
        step = self.view.step
        for k in range(28):
            if self.view.step != step:
                return
            self.turn_on(40.0 if k < 9 else 25.0)
        raise AssertionError(self.view.advice)

    def run(self):
        self.to_orbit().orbit()
        assert self.view.step == "longer"
        self.bench.change("longer")
        self.command("next")
        self.orbit()
        assert self.view.step == "done"
        return self

    def close(self):
        self.session.close()
        self.book.close()


def over(found, key, truth):
    """How far off a number is, in standard uncertainties."""
    number = found.number(key)
    return (number.value - truth) / number.u


def gaps(bench):
    found, bar = bench.view.measured, bench.bar
    at = bar.axis_at(20.0)
    return {
        "axis_x": over(found, "axis_x", at[0]),
        "axis_y": over(found, "axis_y", at[1]),
        "lean_x": over(found, "lean_x", 300 * bar.lean[0]),
        "lean_y": over(found, "lean_y", 300 * bar.lean[1]),
    }


def by_calliper(rng):
    """The sizes as a hand takes them, each a tenth of a millimetre off or so."""
    exact = {"target_size": 60.0, "first_height": 20.0, "second_height": 100.0}
    return {key: max(0.0, size + rng.normal(0, 0.1)) for key, size in exact.items()}


def walk(home, seed, sizes=None):
    bench = TargetBench(home, seed, sizes=sizes)
    try:
        return bench.run()
    finally:
        bench.close()


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    """One walk and its home."""
    home = tmp_path_factory.mktemp("walked")
    return walk(home, 3), home


def test_the_axis_and_its_lean_are_found_through_pictures(walked):
    bench, home = walked
    found = bench.view.measured
    assert max(abs(gap) for gap in gaps(bench).values()) < 3.0
    assert found.number("axis_x").u < 0.25
    assert found.number("lean_x").u < 0.7
    # this can fail: an axis a millimetre aside, or a lean 2.5 mm other, is not what was found
    assert abs(over(found, "axis_x", bench.bar.axis_at(20.0)[0] + 1.0)) > 3.0
    assert abs(over(found, "lean_x", 300 * bench.bar.lean[0] + 2.5)) > 3.0
    with BookReader.open(home) as book:
        shown = book.show_setup(1)
        assert book.check() == []
    assert (shown["state"], shown["guide"]) == ("finished", "rotation-axis")
    assert {photo["kind"] for photo in shown["photos"]} == {"raw", "annotated"}
    assert all("runout" not in number.key for number in found.numbers)


@pytest.mark.parametrize("seed", [seed for seed in range(8) if seed != 3])
def test_the_axis_is_found_on_other_benches(seed, quick_home):
    by_hand = by_calliper(np.random.default_rng(seed))
    assert max(abs(gap) for gap in gaps(walk(quick_home, seed, by_hand)).values()) < 3.0


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_the_axis_lies_within_its_uncertainty(tmp_path):
    rng, many = np.random.default_rng(12), 100
    found = [
        gaps(walk(tmp_path / str(seed), seed, by_calliper(rng))) for seed in range(100, 100 + many)
    ]
    for key in found[0]:
        off = np.array([one[key] for one in found])
        assert 0.3 < np.sqrt(np.mean(off**2)) < 1.6, (key, off.round(2))
        assert np.sum(np.abs(off) > 2.5) <= many // 16, (key, off.round(2))


def test_a_target_out_of_sight_is_told_and_nothing_is_taken(tmp_path):
    bench = TargetBench(tmp_path, 3).to_orbit()
    try:
        bench.turn_on()
        assert len(bench.session.state.task.seen) == 1
        bench.bench.cover(True)
        bench.turn_on()
        assert len(bench.session.state.task.seen) == 1
        assert "I cannot see both targets" in " ".join(bench.session.live().sentences)
        assert bench.session.live().value_mm is None
        bench.bench.cover(False)
        bench.turn_on()
        assert len(bench.session.state.task.seen) == 2
        live = bench.session.live()
        off = np.subtract((live.value_mm, live.across_mm), bench.bar.axis_at(20.0))
        assert 0.3 < hypot(*off) < 2.3, "the target goes round the axis where it was stuck"
    finally:
        bench.close()


def test_the_same_place_again_is_no_new_stop(tmp_path):
    bench = TargetBench(tmp_path, 3).to_orbit()
    try:
        bench.turn_on(40.0)
        bench.turn_on(8.0)
        bench.turn_on(-6.0)
        assert len(bench.session.state.task.seen) == 1
    finally:
        bench.close()


def test_without_a_camera_model_it_says_so(tmp_path):
    bench = TargetBench(tmp_path, 3)
    bench.reader = PairReader(None)
    try:
        bench.frame()
        assert "calibrate it" in " ".join(bench.session.live().sentences)
    finally:
        bench.close()


def test_a_camera_that_was_moved_between_makes_the_lean_less_sure(walked):
    """The still target stands elsewhere in the picture: its own pose then counts twice."""
    state = walked[0].session.state
    still = rotation_axis(state)
    one, other = state.task.runs
    elsewhere = [replace(seen.target, still_px=(10.0, 10.0)) for seen in other.seen]
    moved = replace(
        other,
        seen=tuple(replace(s, target=t) for s, t in zip(other.seen, elsewhere, strict=True)),
    )
    shifted = rotation_axis(replace(state, task=replace(state.task, runs=(one, moved))))
    assert shifted.number("lean_y").u > 1.2 * still.number("lean_y").u


def test_it_is_named_and_serves_a_camera_that_stands():
    guide = GUIDES["rotation-axis"]
    assert guide.layouts == ("still",)
    told = " ".join(step.text + step.say for step in guide.steps).lower()
    assert "runout" not in told
