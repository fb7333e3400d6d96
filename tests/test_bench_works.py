"""Every work that the demo can mount, walked by an agent that does only what is told.

The truth is the bench's own; here time and readings are its too, without pictures.
"""

import math

import numpy as np
import pytest
from bench_words import knob_told, table_told
from guide_agent import POINTS, GuideAgent, begun

from calibration.collars import Collar
from readings import BadInputError, FaultError
from setups import GUIDES, Instrument, Still, advise, step_of
from setups.measured import TargetStop
from simulator import WORKS, Bench, BenchSpec, camera_model, write_teaching_folder
from simulator.target_view import still_place
from vision.collar_reader import CollarReader
from vision.dial_reader import DialReader
from vision.teach import teach_dial

SMALL = BenchSpec(
    image_width=320,
    image_height=180,
    retrace_mm=0.0,
    backlash_x_mm=0.0,
    backlash_y_mm=0.0,
    turn_s=4.0,
)
DIAL = Instrument("bench", 0.01, 100, SMALL.travel_mm)
OWN_LOOP = ("centre-bore", "centre-boss", "centre-plug")
"""They share a loop of their own: walked apart here, the bore through pictures elsewhere."""
FOUND = {
    "test-bar": "tir_far",
    "tram-square": "square",
    "prove-pair": "coaxiality",
}
"""Guides that put nothing right: which number says what the bench knows."""


class BenchAsWork:
    """A bench as the paper agent knows works; hands do what a headline's words say."""

    def __init__(self, guide, seed):
        self.bench = Bench(SMALL, np.random.default_rng(seed))
        self.noise_mm, self.time_s, self.lead_rad = 0.0002, 0.0, 0.0
        self.rng = np.random.default_rng(seed)
        self.do_it("mount", work=guide)

    def do_it(self, name, **args):
        said = self.bench.command(name, **args)
        self.bench.settle()
        return said

    @property
    def shown_mm(self):
        return self.bench.truth().reading_mm

    def reading_mm(self):
        return self.shown_mm + self.rng.normal(0, self.noise_mm)

    def collar_rad(self):
        return self.bench.truth().collar_rad

    def turn_to(self, degrees):
        sides = {0.0: "right", 90.0: "back", 180.0: "left", 270.0: "front"}
        self.do_it("point_stylus", direction=sides[degrees % 360.0])

    def sweep(self, sense, places=160):
        """Columns t, value, collar angle of a good turn."""
        rows = []
        riding = self.bench.state().layout == "riding"
        by_rad = math.radians(380.0) * sense * (1 if riding else -1)
        self.bench.turn_spindle(by_rad, seconds=4.0)
        for _ in range(places):
            self.bench.advance(4.0 / places)
            self.time_s += 0.1
            rows.append((self.time_s, self.reading_mm(), self.collar_rad()))
        self.bench.settle()
        return np.array(rows)

    def next_stop(self):
        """Turn on, and tell where the target on the bar's end then stands."""
        self.bench.turn_spindle(math.radians(self.bench.state().turn_on_deg))
        self.bench.settle()
        still, turned = still_place(SMALL), self.bench.truth().theta_rad
        end = self.bench._machine.work.bar.end_place(still, turned)
        x, y, _ = still.axes.T @ (end.origin_mm - still.origin_mm)
        x, y = np.array([x, y]) + self.rng.normal(0, 0.01, 2)
        return TargetStop(x, y, 0.01, turned % (2 * np.pi), (1e-4, 0.0, 1e-4), (1e-7, 1e-7),
                          (0.3, 0.3), (100.0, 100.0))  # fmt: skip

    def load(self):
        """Mounting and changes set the dial to mid travel themselves."""

    def lock(self):
        if self.bench.state().clamp:
            self.do_it("clamp", on=True)
        if self.bench.state().slides:
            for axis in "xy":
                self.do_it("lock", axis=axis, on=True)

    def go(self, place):
        """At the first place of a run the dial is set to mid travel."""
        self.do_it("go", at=place.at_mm)

    def do(self, todo):
        self.free()
        if todo.stylus_deg is not None:
            self.turn_to(todo.stylus_deg)
        elif "With the stylus" in todo.detail:
            self.turn_to(0.0 if "stylus to the right" in todo.detail else 90.0)
        slide = table_told(todo.headline)
        if slide:
            self.bring(todo, 1.0, lambda by: self.do_it("turn_handwheel", axis=slide[0], mm=by))
            return
        knob, way, amount = knob_told(todo.headline)
        if amount is None:
            self.bring(todo, way, lambda by: self.do_it("turn_knob", knob=knob, by=by))
        else:
            assert "further" not in self.do_it("turn_knob", knob=knob, by=way * amount)

    def free(self):
        state = self.bench.state()
        if state.clamped:
            self.do_it("clamp", on=False)
        for axis in "xy":
            if state.slides and getattr(state, f"locked_{axis}"):
                self.do_it("lock", axis=axis, on=False)

    def bring(self, todo, way, turn):
        """Go the way that was told until the needle stands at its reading."""
        probe, gain = 0.005 * way, None
        for _ in range(12):
            left = todo.needle_mm - self.shown_mm
            if abs(left) < 0.3 * todo.window_mm:
                return
            before = self.shown_mm
            by = probe if gain is None else left / gain
            turn(by)
            if self.shown_mm != before:
                gain = (self.shown_mm - before) / by
        raise AssertionError(f"the needle did not come to {todo.needle_mm}: {todo}")


def changed(work, key):
    if key in {change.key for change in work.bench.state().changes}:
        work.do_it("change", what=key)


def walk(guide, seed):
    work = BenchAsWork(guide, seed)
    agent = GuideAgent(work, begun(guide, dial=DIAL), BenchAsWork.go, changed)
    return agent.run(), work


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("guide", [key for key in GUIDES if key not in OWN_LOOP])
def test_every_guide_ends_right_on_the_work_it_names(guide, seed):
    agent, work = walk(guide, seed)
    found, off_mm = agent.state.task.found, work.bench.truth().off_mm
    if guide in FOUND:
        number = found.number(FOUND[guide])
        assert abs(number.value) == pytest.approx(off_mm, abs=3 * number.u)
    elif guide == "rotation-axis":
        assert found.size_mm == pytest.approx(off_mm, abs=3 * found.u_size_mm)
        assert found.u_size_mm < 0.3
    elif guide == "second-end":
        assert found.number("coaxiality_bound").value > 2 * off_mm
    else:
        assert found.verdict == "inside"
        assert off_mm <= agent.state.tolerance_mm
        assert found.locked
        assert agent.state.task.corrections <= 3


class CentringAgent(GuideAgent):
    """Walks the loop of rough and fine centring: it moves what is told, until the needle is there.

    The bench here has neither backlash nor retrace; `test_closed_loop` walks those through
    pictures.
    """

    def act(self):
        step, moves = step_of(self.state), advise(self.state).moves
        if step.kind in ("rough", "moves") and moves:
            self.follow(advise(self.state))
        elif step.kind == "rough":
            self.work.turn_to(POINTS[advise(self.state).stylus])
            self.tell_rest()
        else:
            super().act()

    def follow(self, advice):
        move, work = advice.moves[advice.move], self.work
        work.free()
        work.turn_to(POINTS[move.stylus])
        if move.what == "stylus":
            work.do_it("set_reach", by_mm=move.move_mm)
        elif step_of(self.state).kind == "rough":
            work.do_it("turn_handwheel", axis=move.axis, mm=move.move_mm)
        else:
            way = 1.0 if move.move_mm > 0 else -1.0
            work.bring(move, way, lambda by: work.do_it("turn_handwheel", axis=move.axis, mm=by))
        self.tell_rest()

    def tell_rest(self):
        work = self.work
        work.time_s += 1.0
        self.tell(Still(work.time_s, work.collar_rad(), work.reading_mm(), work.noise_mm, True))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("guide", OWN_LOOP)
def test_bore_boss_and_plug_end_on_the_axis(guide, seed):
    work = BenchAsWork(guide, seed)
    assert work.bench.truth().offset_mm > 0.1
    agent = CentringAgent(work, begun(guide, dial=DIAL), BenchAsWork.go, changed).run()
    assert agent.state.found.verdict == "inside"
    assert agent.state.found.locked
    assert work.bench.truth().offset_mm <= agent.state.tolerance_mm
    assert agent.state.fine.corrections <= 2


def test_a_boss_set_up_by_the_bore_s_guide_does_not_end_inside():
    """What is swept decides the signs: the wrong guide moves away, and is never called inside."""
    work = BenchAsWork("centre-boss", 1)
    agent = CentringAgent(work, begun("centre-bore", dial=DIAL), BenchAsWork.go, changed)
    with pytest.raises((AssertionError, FaultError)):
        agent.run(40)
    assert agent.state.found is None or agent.state.found.verdict != "inside"


def test_the_bench_can_mount_what_every_guide_sets_up():
    assert set(WORKS) == set(GUIDES)


def test_the_works_begin_outside_their_tolerances():
    """Or the walks above would show nothing."""
    off = {guide: Bench(SMALL, np.random.default_rng(3)) for guide in WORKS if guide not in FOUND}
    for guide, bench in off.items():
        bench.mount(guide)
        if guide not in ("second-end", "rotation-axis"):
            assert bench.truth().off_mm > GUIDES[guide].default_tolerance_mm


@pytest.mark.parametrize(
    ("work", "name", "arguments", "words"),
    [
        ("level-jacks", "turn_spindle", {"by_rad": 1.0}, "spindle stays locked"),
        ("level-jacks", "turn_handwheel", {"axis": "x", "mm": 1.0}, "slides stay locked"),
        ("level-jacks", "go", {"at": [10.0]}, "cannot go to such a place"),
        ("level-jacks", "turn_knob", {"knob": "jack-1", "by": 3.0}, "no further than 2 turn"),
        ("level-jacks", "turn_knob", {"knob": "jaw", "by": 0.1}, "has no 'jaw'"),
        ("centre-bore", "change", {"what": "reverse"}, "no 'reverse'"),
        ("centre-bore", "clamp", {"on": True}, "Nothing is to be clamped"),
    ],
)
def test_what_hands_cannot_do_with_a_work_is_said(work, name, arguments, words):
    bench = Bench(SMALL, np.random.default_rng(1))
    bench.mount(work)
    before = bench.state()
    assert words in bench.command(name, **arguments)
    assert bench.state() == before


def test_a_clamped_work_wants_loosening_first():
    bench = Bench(SMALL, np.random.default_rng(1))
    bench.mount("four-jaw")
    bench.clamp(True)
    assert "ease all jaws first" in bench.command("turn_knob", knob="jaws-1-3", by=0.01)
    bench.clamp(False)
    assert "1 in by 0.01 turn" in bench.command("turn_knob", knob="jaws-1-3", by=0.01)


def test_an_unknown_work_is_refused_and_the_mounted_one_stays():
    bench = Bench(SMALL, np.random.default_rng(1))
    with pytest.raises(BadInputError, match="it can mount centre-bore"):
        bench.command("mount", work="lathe")
    assert bench.state().work == "centre-bore"


def test_mounting_begins_anew_and_time_goes_on():
    bench = Bench(SMALL, np.random.default_rng(1))
    bench.mount("four-jaw")
    bench.turn_knob("jaws-1-3", 0.1)
    bench.settle()
    bench.mount("level-jacks")
    state = bench.state()
    assert (state.work, state.goes, state.clamped) == ("level-jacks", "xy", False)
    assert [shown.at for shown in state.knobs] == [0.0, 0.0, 0.0]
    assert state.t_s > 0.5


def test_every_work_is_drawn_as_it_would_look_and_its_dial_is_read(bench_dial):
    """No two works of different kinds look alike, and the dial is read before each of them."""
    seen = {}
    for guide in WORKS:
        bench = Bench(BenchSpec(), np.random.default_rng(3))
        bench.mount(guide)
        bench.advance(0.1)
        frame = bench.render()
        reading = DialReader(bench_dial, camera_model(bench.spec)).read(frame)
        assert reading.ok == bench.state().dial, guide
        if reading.ok:
            assert reading.value_mm == pytest.approx(bench.truth().reading_mm, abs=0.003), guide
        found = CollarReader(Collar(16), camera_model(bench.spec)).read(frame)
        assert (found is not None) == bench.spec.collar, guide
        seen[bench.spec.shown or bench.spec.surface] = frame.image[480:, 640:].astype(float)
    kinds = list(seen)
    for i, one in enumerate(kinds):
        for other in kinds[i + 1 :]:
            assert np.abs(seen[one] - seen[other]).mean() > 2.0, (one, other)


@pytest.fixture(scope="module")
def bench_dial(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench-dial")
    write_teaching_folder(folder, BenchSpec(), np.random.default_rng(7))
    return teach_dial(folder, name="bench-dial")
