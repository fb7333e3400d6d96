"""What goes wrong in a workshop, on the bench: the program notices, or stays right all the same."""

import math
from dataclasses import replace

import numpy as np
import pytest
from guide_agent import GuideAgent, begun
from test_bench_works import DIAL, SMALL, BenchAsWork, changed

from calibration.collars import Collar
from readings import BadInputError, Sweep, frozen_array
from setups import Instrument, KeepTurn, Void
from simulator import Bench, BenchSpec, camera_model, write_teaching_folder
from simulator.faults import RowDelay
from stream.capture import Capture
from sweeps import combine_turns, fit_turn
from vision.collar_reader import CollarReader
from vision.dial_reader import DialReader
from vision.teach import teach_dial

STEP_S = 0.1


@pytest.fixture(scope="module")
def bench_dial(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench-dial")
    write_teaching_folder(folder, BenchSpec(), np.random.default_rng(7))
    return teach_dial(folder, name="bench-dial")


class Watched:
    """A bench and what reads it picture by picture."""

    def __init__(self, dial, spec):
        self.bench = Bench(spec, np.random.default_rng(4))
        camera = camera_model(spec)
        self.dial, self.collar = DialReader(dial, camera), CollarReader(Collar(16), camera)
        self.capture = Capture(Instrument("bench", 0.01, 100, spec.travel_mm))
        self.happened = []

    def look(self, pictures=1):
        for _ in range(pictures):
            self.bench.advance(STEP_S)
            frame = self.bench.render()
            reading = self.dial.read(frame)
            self.happened += self.capture.look(reading, self.collar.read(frame), frame.t_s)
        return reading


# a smeared lens


def test_a_smeared_lens_is_told_until_it_is_wiped(bench_dial):
    watched = Watched(
        bench_dial, BenchSpec(offset_mm=(0.1, 0.05), image_width=800, image_height=450)
    )
    assert watched.look(3).ok
    watched.bench.command("smear", on=True)
    told = watched.look(6)
    assert "lens smeared" in told.flags
    truth = watched.bench.truth().reading_mm
    assert not told.ok or abs(told.value_mm - truth) < max(0.002, 4 * told.sigma_mm)
    assert watched.bench.state().smeared
    watched.bench.command("smear", on=False)
    again = watched.look(4)
    assert again.ok
    assert "lens smeared" not in again.flags
    assert again.value_mm == pytest.approx(watched.bench.truth().reading_mm, abs=0.002)


# a knocked camera


def test_a_camera_knocked_in_a_turn_reads_right_or_says_so(bench_dial):
    """Not one picture after the knock may be read wrongly; then the dial is found where it is."""
    spec = BenchSpec(offset_mm=(0.1, 0.05), image_width=800, image_height=450, turn_s=4.0)
    watched = Watched(bench_dial, spec)
    watched.capture.enter("turns")
    watched.look(2)
    watched.bench.turn_spindle(math.radians(385.0))
    watched.look(12)
    watched.bench.command("knock")
    refused = 0
    for _ in range(18):
        reading = watched.look()
        refused += not reading.ok
        if reading.ok:
            truth = watched.bench.truth().reading_mm
            assert reading.value_mm == pytest.approx(truth, abs=max(0.004, 4 * reading.sigma_mm))
    assert refused <= 5
    assert watched.bench.state().knocks == 1
    voids = [one.flag for one in watched.happened if isinstance(one, Void)]
    assert set(voids) <= {"dial changed"}


def test_a_knock_shows_the_scene_elsewhere_and_stays():
    bench = Bench(BenchSpec(noise_grey=0.0), np.random.default_rng(4))
    before = bench.render().image
    bench.command("knock")
    after = bench.render().image
    assert after is bench.render().image
    assert np.abs(after.astype(float) - before).mean() > 2.0
    bench.command("mount", work="four-jaw")
    assert bench.state().knocks == 0


# rows read one after another


def swept(spec, sense):
    """One turn as bench frames would show it: readings, and collars by their own rows."""
    bench = Bench(spec, np.random.default_rng(4))
    bench.turn_spindle(sense * math.radians(385.0))
    rows = []
    while bench.state().moving:
        bench.advance(1 / 30)
        scene = bench.scene()
        rows.append((bench.state().t_s, scene.reading_mm, scene.collar_rad))
    t_s, value, angle = np.array(rows).T
    n = len(rows)
    return Sweep(
        frozen_array(t_s),
        frozen_array(value),
        frozen_array([2e-4] * n),
        frozen_array(angle),
        frozen_array([1e-3] * n),
        "anticlockwise" if sense > 0 else "clockwise",
    )


QUICK = BenchSpec(offset_mm=(0.1, -0.05), retrace_mm=0.0, turn_s=6.0, readout_s=0.03)


def fitted(spec, sense):
    return fit_turn(swept(spec, sense), surface="bore", diameter_mm=52.0, travel_mm=spec.travel_mm)


def test_one_turn_each_way_is_free_of_a_rolling_shutter_s_lag():
    """The dial's rows lie below the collar's: its needle is seen later, at right angles to e."""
    there, back = fitted(QUICK, +1), fitted(QUICK, -1)
    both = combine_turns(there, back)
    assert math.hypot(both.offset_x_mm - 0.1, both.offset_y_mm + 0.05) < 0.001
    away = math.hypot(there.offset_x_mm - 0.1, there.offset_y_mm + 0.05)
    lag_mm = math.hypot(0.1, 0.05) * (2 * math.pi / 6.0) * 0.23 * 0.03
    assert away == pytest.approx(lag_mm, rel=0.5), "one turn alone carries the lag"
    assert both.sideways_mm == pytest.approx(lag_mm, rel=0.5)
    assert away < 3 * there.u_total_mm, "and says so in its uncertainty"


def test_rows_that_are_read_later_are_seen_later():
    rows = RowDelay()
    for t_s in (0.0, 0.1, 0.2):
        rows.tell(t_s, 10 * t_s)
    assert rows.before(0.3, 3.0, 0.05) == pytest.approx(2.5)
    assert rows.before(0.3, 3.0, 0.0) == 3.0
    with pytest.raises(BadInputError, match="readout_s"):
        BenchSpec(readout_s=0.5)


# warmth


@pytest.mark.parametrize("drift_mm_min", [-0.03, 0.01, 0.03])
def test_a_dial_that_grows_warm_is_told_or_within_the_uncertainty(drift_mm_min):
    spec = BenchSpec(offset_mm=(0.1, -0.05), retrace_mm=0.0, turn_s=25.0, drift_mm_min=drift_mm_min)
    there, back = fitted(spec, +1), fitted(spec, -1)
    assert abs(there.return_mm) == pytest.approx(abs(drift_mm_min) * 25 / 60, rel=0.3)
    both = combine_turns(there, back)
    off = math.hypot(both.offset_x_mm - 0.1, both.offset_y_mm + 0.05)
    told = {"return differs", "drift taken out"} & set(there.flags + back.flags)
    assert off < 2 * both.u_total_mm or told
    if abs(drift_mm_min) >= 0.03:
        assert told, "a micrometre for each two seconds is no small drift"


# slots in the table


def over_slots(deep_mm, wide_mm=14.0):
    """A table with two slots under the arm's circle, and an agent before it."""
    work = BenchAsWork("tram-head", 2)
    slots = {"slots_mm": (-63.0, 63.0), "slot_deep_mm": deep_mm, "slot_wide_mm": wide_mm}
    work.bench = Bench(replace(SMALL, **slots), np.random.default_rng(2))
    work.do_it("mount", work="tram-head")
    return GuideAgent(work, begun("tram-head", dial=DIAL), BenchAsWork.go, changed)


@pytest.mark.parametrize(("deep_mm", "wide_mm"), [(0.15, 14.0), (20.0, 1.2)])
def test_slots_into_which_the_stylus_dips_are_left_out_of_the_lean(deep_mm, wide_mm):
    agent = over_slots(deep_mm, wide_mm).run(60)
    found, off_mm = agent.state.task.found, agent.work.bench.truth().off_mm
    assert found.verdict == "inside"
    assert "slots left out" in found.flags
    assert found.size_mm == pytest.approx(off_mm, abs=3 * found.u_size_mm)
    assert off_mm <= agent.state.tolerance_mm


def test_slots_into_which_the_stylus_falls_to_its_stop_give_no_lean():
    agent = over_slots(20.0)
    kept = []
    while not kept:
        agent.act()
        kept = [effect for effect in agent.effects if isinstance(effect, KeepTurn)]
    assert kept[0].result is None
    assert "stylus off the work" in kept[0].flags
    assert agent.state.task.found is None
    assert "not touching" in agent.state.note
