"""A dial's own error: published limits, a worked example, honest verdicts and corrections."""

from dataclasses import replace
from datetime import UTC, datetime
from math import hypot, pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import make_interp_spline

from calibration import dial_errors as de
from calibration.dial_classes import find_class, load_classes, presets_text
from calibration.dial_classes_judge import judge_table
from calibration.dial_errors import ErrorTable, MadeWith, planned_steps_mm
from calibration.dial_errors_correct import correction_of, u_by_span_mm, u_half_difference_mm
from calibration.dial_errors_steps import chosen_steps_mm, made_with
from calibration.dial_errors_store import ErrorStore
from calibration.handwheels import Handwheel
from readings import BadInputError, frozen_array
from vision import teach_dial

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
CLASSES = load_classes()


def table(steps, up, down=None, *, graduation=0.01, marks=100, u=1e-5, u_step=0.0, warm=20.0):
    """A table of readings (n,) or (n, runs) in mm."""
    steps = np.asarray(steps, dtype=float)
    up = np.reshape(np.asarray(up, dtype=float), (len(steps), -1))
    down = np.empty((len(steps), 0)) if down is None else np.reshape(down, (len(steps), -1))
    columns = [frozen_array(a) for a in (steps, up, down)]
    made = MadeWith("gauge blocks", u_step, both_ways=down.shape[1] > 0)
    return ErrorTable("lock gear", 1, 0, NOON, warm, made, graduation, marks, *columns, u)


# published limits

# JIS B 7503:2011, bezel 50 mm and over, µm, from a gauge maker's 2016 catalogue page
# "Dial Indicator Standard B7503:2011 (Extract from JIS)": retrace, repeatability,
# 1/10 rev, 1/2 rev, 1 rev, whole range.
JIS_PLUNGER = {
    "jis-plunger-0.01-1": (3, 3, 5, 8, 8, 8),
    "jis-plunger-0.01-3": (3, 3, 5, 8, 9, 10),
    "jis-plunger-0.01-5": (3, 3, 5, 9, 10, 12),
    "jis-plunger-0.01-10": (3, 3, 5, 9, 10, 15),
    "jis-plunger-0.01-20": (5, 4, 8, 10, 15, 25),
    "jis-plunger-0.01-30": (7, 5, 10, 12, 15, 30),
    "jis-plunger-0.01-50": (8, 5, 10, 12, 15, 40),
    "jis-plunger-0.01-100": (9, 5, 12, 17, 20, 50),
    "jis-plunger-0.005-5": (3, 3, 5, 9, 10, 12),
    "jis-plunger-0.001-1": (2, 0.5, 2, 3.5, 4, 5),
    "jis-plunger-0.001-2": (2, 0.5, 2, 4, 5, 7),
    "jis-plunger-0.001-5": (3, 1, 3.5, 5, 6, 10),
}
# The same page, small bezel and back plunger: retrace, repeatability, 1/10 rev, 1 rev, whole.
JIS_SMALL = {
    "jis-small-0.01-1": (4, 3, 8, 12, 15),
    "jis-small-0.01-3": (4, 3, 8, 12, 16),
    "jis-small-0.01-5": (4, 3, 8, 14, 18),
    "jis-small-0.01-10": (5, 3, 9, 14, 20),
    "jis-small-0.005-5": (3.5, 3, 6, 10, 12),
    "jis-small-0.002-1": (2.5, 1, 2.5, 5, 6),
    "jis-small-0.001-1": (2, 1, 2.5, 4.5, 5),
}


def limits_um(name):
    made = CLASSES[name]
    graduation = made.graduation_mm or 0.01
    return {limit.title: 1e3 * limit.limit_mm(graduation) for limit in made.limits}


@pytest.mark.parametrize("name", [*JIS_PLUNGER, *JIS_SMALL])
def test_plunger_classes_stand_as_published(name):
    big = ("retrace", "repeatability", "any 1/10 turn", "any 1/2 turn", "any 1 turn", "whole range")
    titles = big if name in JIS_PLUNGER else (*big[:3], *big[4:])
    assert limits_um(name) == pytest.approx(
        dict(zip(titles, (JIS_PLUNGER | JIS_SMALL)[name], strict=True))
    )
    assert CLASSES[name].known == "sourced"
    assert {m.kind for m in CLASSES[name].limits if m.what == "whole"} == {"span"}


def test_inch_plungers_within_a_graduation_either_way():
    # AGD: one graduation either way, repeatability a fifth of one; 0.001 in is 25.4 µm.
    assert limits_um("agd-0.001in") == pytest.approx({"repeatability": 5.08, "whole range": 25.4})
    assert limits_um("agd-0.0005in") == pytest.approx({"repeatability": 2.54, "whole range": 12.7})
    assert all(limit.kind == "plus_minus" for limit in CLASSES["agd-0.001in"].limits)
    assert CLASSES["agd-0.001in"].within_turns == pytest.approx(7 / 3, abs=0.01)


def test_limits_from_memory_say_so():
    memory = {name for name, made in CLASSES.items() if made.known == "memory"}
    assert memory == {
        "din-878-0.01-10", "din-2270-0.01-0.8", "jis-lever-0.01-0.5", "jis-lever-0.01-0.8",
        "jis-lever-0.01-1", "jis-lever-0.002-0.28",
    }  # fmt: skip
    assert limits_um("jis-lever-0.01-0.8")["any 10 divisions"] == pytest.approx(5)
    # "within 1 graduation, repeatability 1/4 graduation" (calibration procedure page).
    assert limits_um("general-lever") == pytest.approx({"repeatability": 2.5, "whole range": 10})


def test_a_persons_own_classes_add_and_replace(tmp_path):
    own = tmp_path / "dial_classes.toml"
    assert load_classes(own) == CLASSES
    text = presets_text().replace('name = "jis-lever-0.01-0.8"', 'name = "shop-lever"')
    own.write_text(text.replace("limit_um = 15 }", "limit_um = 14 }"))
    found = load_classes(own)
    assert set(found) == set(CLASSES) | {"shop-lever"}
    whole = find_class(found, "jis-plunger-0.01-10").limits[-1]
    assert whole.limit_mm(0.01) == pytest.approx(0.014)


ENTRY = '[[classes]]\nname = "a"\ntitle = "a"\ntype = "lever"\nsource = "own"\nknown = "memory"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("no toml", "cannot be used"),
        ("", "lacks 'classes'"),
        (ENTRY, "lacks 'limits'"),
        (ENTRY + "limits = []\n", "has no limit"),
        (ENTRY + 'limits = [{ what = "width", kind = "span", limit_um = 1 }]', "what = 'width'"),
        (ENTRY + 'limits = [{ what = "whole", kind = "sp", limit_um = 1 }]', "kind = 'sp'"),
        (ENTRY + 'limits = [{ what = "whole", kind = "span", limit_um = 0 }]', "limit_um or"),
        (ENTRY + 'limits = [{ what = "partial", kind = "span", limit_um = 1 }]', "its stretch"),
        (ENTRY + 'shape = 1\nlimits = [{ what = "whole", kind = "span", limit_um = 1 }]', "shape"),
        (
            ENTRY + 'range_mm = [2, 1]\nlimits = [{ what = "whole", kind = "span", limit_um = 1 }]',
            "the smaller comes first",
        ),
    ],
)
def test_files_of_classes_that_cannot_be_used(tmp_path, text, says):
    own = tmp_path / "dial_classes.toml"
    own.write_text(text)
    with pytest.raises(BadInputError, match=r"file of dial classes") as caught:
        load_classes(own)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
    with pytest.raises(BadInputError, match="There is no dial class"):
        find_class(CLASSES, "nobody")


# the method


def test_steps_as_the_method_asks():
    # JIS B 7503:2017: every 1/10 turn over 2 turns, 1/2 to 5, 1 to 10, 5 beyond.
    gaps = np.diff(planned_steps_mm(20.0, 1.0, 100))
    assert gaps == pytest.approx([0.1] * 20 + [0.5] * 6 + [1.0] * 5 + [5.0] * 2)
    assert np.diff(planned_steps_mm(0.4, 0.8, 80, -0.4)) == pytest.approx([0.1] * 8)


def test_worked_example():
    """By hand: deviations up 0 +2 +5 +1 −1 µm, down +1 +4 +6 +3 −1; each run ±0.5 µm apart."""
    steps = np.arange(5) * 0.1
    up = steps + 1e-3 * np.array([0, 2, 5, 1, -1]) + 0.3
    down = steps + 1e-3 * np.array([1, 4, 6, 3, -1]) + 0.3
    runs = 1e-3 * np.array([-0.5, 0.5])
    made = table(steps, up[:, None] + runs, down[:, None] + runs)
    found = de.deviations(made)
    assert found.up_mm * 1e3 == pytest.approx([0, 2, 5, 1, -1])
    assert found.mean_mm * 1e3 == pytest.approx([0.5, 3, 5.5, 2, -1])
    assert de.whole_range_mm(made) == pytest.approx(0.007)
    assert de.whole_range_mm(made, both=False) == pytest.approx(0.006)
    assert de.largest_mm(made) == pytest.approx(0.006)
    assert de.partial_mm(made, 0.1) == pytest.approx(0.004)
    assert de.partial_mm(made, 0.2) == pytest.approx(0.007)
    assert de.partial_mm(made, 0.05) is None
    assert de.retrace_mm(made) == pytest.approx(0.002)
    assert de.repeatability_mm(made) == pytest.approx(0.001)
    assert de.scatter_mm(made) == pytest.approx(0.001 / sqrt(2))
    shifted = replace(made, up_mm=made.up_mm + 0.05, down_mm=made.down_mm + 0.05)
    assert de.whole_range_mm(shifted) == pytest.approx(0.007)


def test_deviations_count_from_the_step_nearest_to_zero():
    steps = np.linspace(-0.4, 0.4, 9)
    made = table(steps, steps * 1.01)
    assert de.deviations(made).up_mm == pytest.approx(0.01 * steps)
    assert de.largest_mm(made) == pytest.approx(0.004)
    assert de.retrace_mm(made) is None
    assert de.repeatability_mm(made) is None


def test_temperature_as_in_the_gums_end_gauge():
    """JCGM 100:2008 H.1: 50 mm, θ −0.1 K, δα ±1e-6: l·u(δα)·θ is 2.9 nm."""
    at_20 = table([0.0, 50.0], [0.0, 50.0], warm=20.0)
    there = replace(at_20, temperature_c=19.9)
    part_mm = sqrt(de.u_temperature_mm(there) ** 2 - de.u_temperature_mm(at_20) ** 2)
    assert part_mm == pytest.approx(2.9e-6, abs=0.05e-6)
    # and l·α·u(δθ) for ±1 K between dial and steps
    assert de.u_temperature_mm(at_20) == pytest.approx(50 * 11.5e-6 / sqrt(3))
    assert de.u_temperature_mm(replace(at_20, temperature_c=None)) > de.u_temperature_mm(there)


def test_what_steps_are_made_with():
    blocks = made_with("blocks-1", 10.0)
    assert blocks.u_step_mm == pytest.approx(sqrt(2) * 0.0002 / sqrt(3))
    assert made_with("Blocks-2", 20.0).u_step_mm > blocks.u_step_mm > 0
    assert made_with("blocks-0", 300.0, 0.001).u_step_mm == 0.001
    wheel = made_with("wheel:5/250", 1.0)
    assert not wheel.both_ways
    collar = sqrt(2) * Handwheel("x", 5.0, 250).mm_per_division / 5 / sqrt(12)
    assert wheel.u_step_mm == pytest.approx(hypot(collar, 0.010 / sqrt(3)))
    assert made_with("micrometer head 7", 10.0, 0.0005).u_step_mm == 0.0005
    for words, u in (("blocks-3", None), ("", 0.1), ("wheel:0/250", None), ("x", -1.0)):
        with pytest.raises(BadInputError):
            made_with(words, 1.0, u)
    with pytest.raises(BadInputError, match="over 100 mm"):
        made_with("blocks-1", 200.0)


@pytest.mark.parametrize(
    ("steps", "up", "down"),
    [
        ([0.0], [0.0], None),
        ([0.0, 0.0], [0.0, 0.1], None),
        ([0.1, 0.0], [0.1, 0.0], None),
        ([0.0, 0.1], [0.0, np.nan], None),
        ([0.0, 0.1], [0.0, 0.1], [[0.0, 0.0], [0.1, 0.1]]),
    ],
)
def test_tables_that_are_none(steps, up, down):
    with pytest.raises(BadInputError):
        table(steps, up, down)


# verdicts


def jis_table(size_mm, *, runs=5, retrace=0.001, steps=None, **more):
    """A dial whose error rises to `size_mm` at mid travel and falls back."""
    steps = planned_steps_mm(1.0, 1.0, 100) if steps is None else np.asarray(steps)
    up = steps + size_mm * np.sin(pi * steps / steps[-1])
    spread = np.linspace(-5e-4, 5e-4, runs)
    return table(steps, up[:, None] + spread, (up + retrace)[:, None] + spread, **more)


def words(made, name="jis-plunger-0.01-1", travel=None):
    found = judge_table(made, CLASSES[name], travel)
    return found.word, {item.limit.title: item.word for item in found.items}


def test_a_good_dial_passes_a_bad_one_fails_and_between_nobody_can_tell():
    assert words(jis_table(0.004)) == ("pass", dict.fromkeys(words(jis_table(0.004))[1], "pass"))
    word, items = words(jis_table(0.030))
    assert (word, items["whole range"]) == ("fail", "fail")
    assert items["repeatability"] == "pass"
    word, items = words(jis_table(0.008, u=0.001))
    assert (word, items["whole range"]) == ("cannot tell", "cannot tell")
    assert words(jis_table(0.004, retrace=0.004))[1]["retrace"] == "fail"
    assert words(jis_table(0.004, retrace=0.003))[1]["retrace"] == "cannot tell"


def test_guard_band_of_two_standard_uncertainties():
    u_mm = 2e-4
    probe = jis_table(0.004, u=u_mm)
    [whole] = [i for i in judge_table(probe, CLASSES["jis-plunger-0.01-1"]).items
               if i.limit.what == "whole"]  # fmt: skip
    assert whole.u_mm == pytest.approx(sqrt(2) * de.u_deviation_mm(probe))
    start = whole.value_mm
    for nudge, word in ((-0.02, "pass"), (0.02, "cannot tell")):
        goal = 0.008 - 2 * whole.u_mm + nudge * u_mm
        up = probe.up_mm + (goal - start) * (probe.steps_mm == probe.steps_mm[5])[:, None]
        down = probe.down_mm + (goal - start) * (probe.steps_mm == probe.steps_mm[5])[:, None]
        nudged = replace(probe, up_mm=up, down_mm=down)
        assert de.whole_range_mm(nudged) == pytest.approx(goal)
        assert words(nudged)[1]["whole range"] == word


def test_what_was_not_measured_never_passes():
    one_way = table(*2 * [planned_steps_mm(1.0, 1.0, 100)])
    word, items = words(one_way)
    assert word == "cannot tell"
    assert (items["retrace"], items["repeatability"]) == ("cannot tell", "cannot tell")
    assert items["whole range"] == "cannot tell"
    assert items["any 1/10 turn"] == "pass"
    assert words(jis_table(0.002, runs=3))[1]["repeatability"] == "cannot tell"
    coarse = words(jis_table(0.002, steps=[0, 0.5, 1.0]))[1]
    assert coarse["any 1/10 turn"] == coarse["whole range"] == "cannot tell"


def test_steps_over_part_of_the_travel_never_pass():
    assert words(jis_table(0.002), "jis-plunger-0.01-10")[0] == "cannot tell"
    assert words(jis_table(0.002), travel=5.0)[0] == "cannot tell"
    short = jis_table(0.002, steps=np.arange(6) * 0.1)
    assert words(short)[0] == "cannot tell"
    assert words(short, travel=0.5)[0] == "pass"
    assert words(jis_table(0.060), "jis-plunger-0.01-10")[0] == "fail"


def test_only_the_first_turns_count_where_a_class_says_so():
    steps = planned_steps_mm(2.54 * 3, 2.54, 100)
    wild = np.where(steps > 2.5 * 2.54, 0.2, 0.0)
    spread = np.zeros(5)
    made = table(steps, (steps + wild)[:, None] + spread, (steps + wild)[:, None] + spread,
                 graduation=0.0254)  # fmt: skip
    assert words(made, "agd-0.001in")[0] == "pass"
    early = np.where(steps > 1.5 * 2.54, 0.03, 0.0)
    bad = replace(made, up_mm=made.up_mm + early[:, None])
    assert words(bad, "agd-0.001in")[0] == "fail"


def test_a_class_of_another_graduation_is_refused():
    with pytest.raises(BadInputError, match=r"graduation of 0\.001 mm"):
        words(jis_table(0.002), "jis-plunger-0.001-1")


def test_noise_alone_condemns_or_acquits_no_dial_too_often():
    """True error just within, or just beyond, the limit; noise of the stated size: 5 % at most."""
    rng = np.random.default_rng(3)
    u_mm, steps = 1e-3, planned_steps_mm(1.0, 1.0, 100)
    for true, wrong in ((0.0079, "fail"), (0.0081, "pass")):
        shape = true * np.sin(pi * steps / steps[-1])
        count = 0
        for _ in range(120):
            up, down = (steps + shape + rng.normal(0, u_mm, len(steps)) for _ in range(2))
            count += words(table(steps, up, down, u=u_mm))[1]["whole range"] == wrong
        assert count <= 6, wrong


# corrections

errors_um = st.lists(st.floats(-20, 20), min_size=2, max_size=25)


@settings(max_examples=60, deadline=None)
@given(errors_um, st.floats(-0.5, 0.5), st.floats(0, 1))
def test_correction_rises_and_undoes_the_errors(errors, zero, share):
    steps = 0.1 * np.arange(len(errors))
    made = table(steps, steps + zero + 1e-3 * np.array(errors))
    fix = correction_of(made)
    put = [fix.correct(float(r)) for r in fix.reading_mm]
    right = np.array([p.value_mm for p in put])
    assert right - right[0] == pytest.approx(steps, abs=1e-9)
    assert right[0] == pytest.approx(fix.reading_mm[0], abs=1e-12)
    # between the steps: against scipy's linear spline of true over read, and rising
    line = make_interp_spline(fix.reading_mm, steps + right[0], k=1)
    ends = fix.reading_mm[0], fix.reading_mm[-1]
    places = np.clip(ends[0] + np.array([0, share / 2, share]) * np.ptp(ends), *ends)
    got = np.array([fix.correct(float(r)).value_mm for r in places])
    assert got == pytest.approx(line(places), abs=1e-9)
    assert np.all(np.diff(got) >= 0)
    assert all(p.u_mm > 0 for p in put)


def test_nothing_is_put_right_outside_the_steps():
    fix = correction_of(jis_table(0.006))
    assert fix.correct(float(fix.reading_mm[0]) - 1e-6) is None
    assert fix.correct(float(fix.reading_mm[-1]) + 1e-6) is None
    assert fix.correct(0.5) is not None


def test_a_dial_that_does_not_rise_with_every_step_puts_nothing_right():
    with pytest.raises(BadInputError, match="does not rise with every step"):
        correction_of(table([0.0, 0.001, 0.002], [0.0, 0.004, 0.003]))


def test_readings_without_turns_count_in_the_one_turn_that_fits():
    balanced = correction_of(table(np.linspace(0, 0.7, 8), np.linspace(0, 0.7, 8), marks=80))
    assert balanced.turns_off(-0.2, -0.15) == 1
    assert balanced.turns_off(0.1, 0.3) == 0
    assert balanced.turns_off(0.72, 0.75) is None
    assert balanced.turns_off(0.6, 0.75) is None
    long = correction_of(table(np.arange(4.0), np.arange(4.0)))
    assert long.turns_off(0.3, 0.4) is None


def truth(rng):
    """A dial's error in mm over its travel: pinion, gear and a slow bend."""
    sizes = rng.uniform(0.5e-3, 3e-3, 3)
    periods, phases = (1.0, 0.37, rng.uniform(3, 8)), rng.uniform(0, 2 * pi, 3)

    def error(x_mm):
        parts = zip(sizes, periods, phases, strict=True)
        return sum(a * np.sin(2 * pi * x_mm / p + f) for a, p, f in parts)

    return error


def simulated(rng, error, retrace=0.0015, u=1.5e-4):
    steps = planned_steps_mm(2.0, 1.0, 100)
    up, down = (
        (steps + error(steps) + half)[:, None] + rng.normal(0, u, (len(steps), 3))
        for half in (0.0, retrace)
    )
    return table(steps, up, down, u=u)


def test_corrected_readings_lie_within_their_uncertainty():
    rng = np.random.default_rng(11)
    within, before, after = [], [], []
    for _ in range(60):
        error = truth(rng)
        made = simulated(rng, error)
        fix = correction_of(made)
        x = rng.uniform(0.05, 1.95, 20)
        x[0] = 0.05
        read = x + error(x) + rng.choice([0.0, 0.0015], 20) + rng.normal(0, 1.5e-4, 20)
        put = [fix.correct(float(r)) for r in read]
        zero = float(error(0.0)) + fix.deviation_mm[0]
        off = np.array([p.value_mm for p in put]) - x - zero - 0.00075
        within += list(np.abs(off) <= 2 * fix.u_mm)
        before.append(np.std(read - x))
        after.append(np.std(off))
    assert 0.93 <= np.mean(within) <= 1.0
    assert np.median(after) < 0.6 * np.median(before)


def test_what_the_dial_leaves_uncertain_of_an_eccentricity_covers_it():
    """The first harmonic of what a dial with known errors reads, against its half swing."""
    rng = np.random.default_rng(12)
    theta = np.linspace(0, 2 * pi, 400, endpoint=False)
    ratios = []
    for _ in range(200):
        error = truth(rng)
        made = simulated(rng, error)
        size, mid = rng.uniform(0.003, 0.4), rng.uniform(0.5, 1.5)
        x = mid + size * np.cos(theta)
        first = 2 * np.mean((x + error(x)) * np.cos(theta))
        ratios.append((first - size) / u_half_difference_mm(made, 2 * size))
    assert np.mean(np.abs(ratios) <= 2) >= 0.95
    assert 0.3 <= np.std(ratios) <= 1.1


def test_uncertainty_by_span_rises_and_ends_with_the_table():
    made = simulated(np.random.default_rng(2), truth(np.random.default_rng(5)))
    pairs = u_by_span_mm(made)
    spans, us = np.array(pairs).T
    assert np.all(np.diff(spans) > 0)
    assert np.all(np.diff(us) >= -1e-12)
    assert spans[-1] == pytest.approx(made.length_mm)
    assert u_half_difference_mm(made, made.length_mm + 0.01) is None
    # a whole range of span S is S/√12 as a rectangle
    quiet = replace(made, u_reading_mm=0.0, made_with=MadeWith("x", 0.0), temperature_c=20.0)
    most = de.partial_mm(quiet, quiet.length_mm)
    got = sqrt(
        u_half_difference_mm(quiet, quiet.length_mm) ** 2 - de.u_deviation_mm(quiet) ** 2 / 2
    )
    assert got == pytest.approx(most / sqrt(12))
    assert len(u_by_span_mm(table(np.arange(400.0), np.arange(400.0)))) <= 41


# steps and files


@pytest.fixture(scope="module")
def dial(faces_dir):
    return teach_dial(faces_dir / "dev2", name="lock gear", photos=1)


def test_steps_a_person_asks_for(dial):
    assert chosen_steps_mm(dial, steps="0, 0.1,0.25") == pytest.approx([0, 0.1, 0.25])
    assert len(chosen_steps_mm(dial, every_mm=0.05, to_mm=0.4, from_mm=-0.4)) == 17
    known = replace(dial, travel_mm=(-0.4, 0.4))
    assert chosen_steps_mm(known)[[0, -1]] == pytest.approx([-0.4, 0.4])
    bad = (
        {"steps": "0,one"}, {"steps": "0"}, {"steps": "0,0.2,0.1"}, {"steps": "0,nan"}, {},
        {"steps": "0,1", "to_mm": 1.0}, {"every_mm": 0.1}, {"every_mm": 0.0, "to_mm": 1.0},
        {"every_mm": 1e-9, "to_mm": 1.0}, {"to_mm": -1.0}, {"to_mm": np.inf}, {"to_mm": 1e9},
    )  # fmt: skip
    for asked in bad:
        with pytest.raises(BadInputError):
            chosen_steps_mm(dial, **asked)


def test_every_check_stays_beside_the_dial(dial, tmp_path):
    store = ErrorStore(tmp_path)
    assert store.newest(dial) is None
    graduation, marks = dial.graduation_mm, dial.marks_per_turn
    made = jis_table(0.004, graduation=graduation, marks=marks)
    judged = replace(made, judged_by="shop", verdict="pass")
    assert [store.save(t).number for t in (made, judged)] == [1, 2]
    back = store.newest(dial)
    assert (back.number, back.verdict, back.at_utc, back.temperature_c) == (2, "pass", NOON, 20.0)
    assert back.made_with == made.made_with
    for name in ("steps_mm", "up_mm", "down_mm"):
        assert np.array_equal(getattr(back, name), getattr(made, name))
        assert not getattr(back, name).flags.writeable
    assert not store.load("lock gear", 1).verdict
    one_way = store.save(table([0.0, 0.1], [0.0, 0.1], graduation=graduation, marks=marks))
    assert store.newest(dial).number == one_way.number == 3
    assert store.newest(dial).down_mm.shape == (2, 0)
    assert store.newest(replace(dial, version=9)).number == 3
    assert store.newest(replace(dial, graduation=2 * dial.graduation)) is None
    assert not list(tmp_path.rglob("*.part"))
    (tmp_path / "lock gear" / "e0003.json").write_text('{"format": 1}')
    with pytest.raises(BadInputError, match="check the dial again"):
        store.newest(dial)
    with pytest.raises(BadInputError, match="no check 7"):
        store.load("lock gear", 7)
