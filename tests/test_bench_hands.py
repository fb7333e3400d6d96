"""What hands do at the bench: moves that take time, locks, commands, the live source."""

import itertools
import math
import threading
from dataclasses import replace

import numpy as np
import pytest

from readings import BadInputError
from simulator import Bench, BenchSource, BenchSpec

SMALL = BenchSpec(image_width=320, image_height=180, backlash_x_mm=0.0, backlash_y_mm=0.0)


@pytest.fixture
def bench():
    return Bench(SMALL, np.random.default_rng(7))


class FakeTime:
    """A clock that only sleeping moves."""

    def __init__(self):
        self.now_s = 100.0

    def clock(self):
        return self.now_s

    def sleep(self, seconds):
        self.now_s += seconds


# moves


def test_a_turn_takes_as_long_as_a_hand_does(bench):
    bench.turn_spindle(2 * math.pi)
    assert bench.settle() == pytest.approx(25.0, abs=0.06)
    bench.turn_spindle(-2 * math.pi, seconds=3.0)
    assert bench.settle() == pytest.approx(3.0, abs=0.06)
    assert bench.truth().theta_rad == pytest.approx(0.0, abs=1e-12)


def test_a_hand_turns_unevenly_and_never_back(bench):
    bench.turn_spindle(2 * math.pi, seconds=10.0)
    angles = []
    while bench.state().moving:
        bench.advance(0.1)
        angles.append(bench.state().spindle_rad)
    speed = np.diff(angles)[8:-8]
    assert speed.min() > 0
    assert speed.max() / speed.min() > 1.3


def test_moves_of_one_thing_wait_and_of_two_things_go_together(bench):
    bench.turn_handwheel("x", 3.0)
    bench.turn_handwheel("x", -1.0)
    bench.turn_handwheel("y", 3.0)
    assert bench.settle() == pytest.approx((3.0 + 1.0) / 1.5, abs=0.1)
    assert bench.truth().offset_x_mm == pytest.approx(0.32 + 2.0)
    assert bench.truth().offset_y_mm == pytest.approx(-0.21 + 3.0)


def test_how_time_is_cut_does_not_change_where_things_end():
    ends = []
    for step_s in (0.004, 0.05, 3.0):
        bench = Bench(SMALL, np.random.default_rng(7))
        bench.turn_spindle(4.0, seconds=2.5)
        bench.turn_handwheel("x", 0.11)
        bench.settle(step_s=step_s)
        ends.append((bench.truth().reading_mm, bench.truth().offset_x_mm))
    np.testing.assert_allclose(ends, [ends[0]] * 3, atol=2e-5)


def test_the_stylus_points_the_shortest_way(bench):
    bench.turn_spindle(math.radians(350.0), seconds=1.0)
    bench.settle()
    bench.point_stylus("right")
    bench.settle()
    assert math.degrees(bench.state().spindle_rad) == pytest.approx(360.0)
    bench.point_stylus("front")
    bench.settle()
    assert math.degrees(bench.state().spindle_rad) == pytest.approx(270.0)


def test_pointing_where_the_work_turns_brings_the_works_side_to_the_stylus():
    spec = replace(SMALL, layout="still", surface="bar")
    bench = Bench(spec, np.random.default_rng(7))
    bench.point_stylus("back")
    bench.settle()
    assert math.degrees(bench.truth().stylus_rad) == pytest.approx(90.0)
    assert math.degrees(bench.state().spindle_rad) == pytest.approx(-90.0)


def test_an_eye_that_aims_roughly_misses_a_little():
    bench = Bench(replace(SMALL, aim_sigma_deg=1.0), np.random.default_rng(7))
    bench.point_stylus("back")
    bench.settle()
    assert 0.01 < abs(math.degrees(bench.state().spindle_rad) - 90.0) < 4.0


def test_the_handwheel_shows_its_divisions(bench):
    bench.turn_handwheel("x", 0.1)
    bench.turn_handwheel("y", -0.1)
    bench.settle()
    state = bench.state()
    assert state.wheel_x_divisions == pytest.approx(5.0)
    assert state.wheel_y_divisions == pytest.approx(245.0)
    assert (state.wheel_x_mm, state.wheel_y_mm) == pytest.approx((0.1, -0.1))


def test_time_goes_forward_only(bench):
    for wrong in (-0.1, math.nan, math.inf):
        with pytest.raises(BadInputError, match="goes forward"):
            bench.advance(wrong)


# locks


def test_a_locked_slide_refuses_its_handwheel(bench):
    bench.lock("x", True)
    answer = bench.turn_handwheel("x", 0.1)
    assert not answer
    assert "locked" in answer.sentence
    assert bench.turn_handwheel("y", 0.1)
    bench.settle()
    assert (bench.state().locked_x, bench.state().locked_y) == (True, False)
    assert bench.truth().offset_x_mm == pytest.approx(0.32 + 0.002)
    bench.lock("x", False)
    assert bench.turn_handwheel("x", 0.1)
    bench.settle()
    assert bench.truth().offset_x_mm == pytest.approx(0.42)


def test_a_lock_waits_for_the_move_before_it(bench):
    bench.turn_handwheel("x", 1.5)
    bench.lock("x", True)
    bench.advance(0.5)
    assert not bench.state().locked_x
    bench.settle()
    assert bench.state().locked_x
    assert bench.truth().offset_x_mm == pytest.approx(0.32 + 1.5 + 0.002)


def test_locking_shifts_the_table_each_time_by_as_much(bench):
    seen = []
    for on in (True, False, True):
        bench.lock("y", on)
        bench.settle()
        seen.append(bench.truth().offset_y_mm)
    assert seen == pytest.approx([-0.211, -0.21, -0.211])


def test_the_stylus_cannot_be_jammed(bench):
    answer = bench.turn_handwheel("x", 40.0)
    assert not answer
    assert "jam" in answer.sentence
    assert not bench.state().moving


# commands


@pytest.mark.parametrize(
    ("name", "arguments", "words"),
    [
        ("turn_handwheel", {"axis": "x", "mm": 0.1}, "X handwheel by +5.0 divisions"),
        ("turn_spindle", {"by_rad": -math.pi}, "0.50 turns clockwise seen from above"),
        ("turn_spindle", {"by_rad": 1.0, "seconds": 2.0}, "anticlockwise"),
        ("point_stylus", {"direction": "back"}, "to the back"),
        ("set_reach", {"by_mm": -0.1}, "in by 0.100 mm"),
        ("lock", {"axis": "y", "on": True}, "Locking the Y slide"),
        ("fit_indicator", {"on": False}, "off its arm"),
        ("cover", {"on": True}, "before the dial"),
    ],
)
def test_a_command_does_what_its_sentence_says(bench, name, arguments, words):
    def seen():
        return replace(bench.state(), t_s=0.0), replace(bench.truth(), t_s=0.0)

    before = seen()
    assert words in bench.command(name, **arguments)
    bench.advance(0.5)
    assert seen() != before


@pytest.mark.parametrize(
    ("name", "arguments", "words"),
    [
        ("advance", {"dt_s": 1.0}, "knows no 'advance'"),
        ("__init__", {}, "knows no"),
        ("turn_handwheel", {"axis": "x"}, "turn_handwheel takes axis, mm; got axis"),
        ("turn_handwheel", {"axis": "x", "mm": 0.1, "fast": True}, "takes axis, mm"),
        ("turn_handwheel", {"axis": "z", "mm": 0.1}, "one of x, y, got 'z'"),
        ("turn_handwheel", {"axis": "x", "mm": math.nan}, "from -50 to 50, got nan"),
        ("turn_handwheel", {"axis": "x", "mm": "0.1"}, "must be a number"),
        ("turn_handwheel", {"axis": "x", "mm": True}, "must be a number"),
        ("turn_spindle", {"by_rad": 1e9}, "by_rad must be a number"),
        ("turn_spindle", {"by_rad": 1.0, "seconds": 0.0}, "seconds must be a number"),
        ("point_stylus", {"direction": ["right"]}, "one of right, back"),
        ("lock", {"axis": "x", "on": 1}, "true or false"),
    ],
)
def test_a_wrong_command_is_refused_and_does_nothing(bench, name, arguments, words):
    before = bench.state()
    with pytest.raises(BadInputError, match=words):
        bench.command(name, **arguments)
    assert bench.state() == before


def test_a_command_that_hands_cannot_follow_answers_so(bench):
    bench.command("lock", axis="x", on=True)
    assert "locked" in bench.command("turn_handwheel", axis="x", mm=0.1)


# the source


def test_the_source_keeps_step_with_its_clock(bench):
    time = FakeTime()
    source = BenchSource(bench, time.clock, time.sleep, fps=20)
    bench.turn_spindle(1.0, seconds=0.2)
    frames = list(itertools.islice(source.frames(), 12))
    assert [f.t_s for f in frames] == pytest.approx(np.arange(12) / 20)
    assert [f.index for f in frames] == list(range(12))
    assert frames[0].image is not frames[1].image
    assert frames[-1].image is frames[-2].image


def test_a_slow_reader_gets_the_present_and_not_the_past(bench):
    time = FakeTime()
    stamps = []
    for frame in BenchSource(bench, time.clock, time.sleep, fps=20).frames():
        stamps.append(frame.t_s)
        time.sleep(0.3)
        if len(stamps) == 5:
            break
    assert np.diff(stamps) == pytest.approx(0.3)


def test_a_closed_source_ends(bench):
    time = FakeTime()
    source = BenchSource(bench, time.clock, time.sleep)
    frames = source.frames()
    next(frames)
    source.close()
    source.close()
    assert list(frames) == []


def test_commands_from_other_threads_all_arrive(bench):
    time = FakeTime()
    source = BenchSource(bench, time.clock, time.sleep, fps=30)

    def turn():
        for _ in range(40):
            source.bench.command("turn_handwheel", axis="x", mm=0.01)

    threads = [threading.Thread(target=turn) for _ in range(3)]
    for thread in threads:
        thread.start()
    for _ in itertools.islice(source.frames(), 20):
        pass
    for thread in threads:
        thread.join()
    bench.settle()
    assert bench.state().wheel_x_mm == pytest.approx(1.2)
