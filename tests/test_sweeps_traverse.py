"""Traverses and squares: parallelism, straightness, reversal, corrections."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import linregress
from sweep_face_making import NOTHING, bow, zone_by_program

from readings import FLAGS
from sweeps import (
    Slope,
    SweepFailure,
    UnusableResultError,
    monte_carlo,
    reverse_square,
    squareness,
    tram_square,
    traverse,
)
from sweeps.zone import line_zone

LIGHT = settings(max_examples=20, deadline=None)
FEW = st.lists(st.integers(-50, 50), min_size=4, max_size=12)


def rng():
    return np.random.default_rng(20261125)


# published and common practice


def test_a_bar_six_microns_out_over_150_is_forty_per_metre_and_8_25_arc_seconds():
    """Common practice in setting a bar between centres."""
    bar = traverse([0.0, 50.0, 150.0], [0.100, 0.102, 0.106], sigma_mm=0.0005)
    assert bar.rise_mm == pytest.approx(0.006)
    assert bar.slope.over_mm(1000) == pytest.approx(0.04)
    assert bar.slope.arcsec == pytest.approx(8.25, abs=0.005)


def test_two_millimetres_between_two_ends_are_shared_one_each():
    """Common practice: set about the middle, either end takes half."""
    face = traverse([0.0, 100.0, 200.0], [0.0, 1.0, 2.0], sigma_mm=0.01)
    assert face.correction_mm(at_mm=0.0, pivot_mm=100.0) == pytest.approx(1.0)
    assert face.correction_mm(at_mm=200.0, pivot_mm=100.0) == pytest.approx(-1.0)
    assert face.correction_mm(at_mm=200.0, pivot_mm=0.0) == pytest.approx(-2.0)
    assert face.u_correction_mm(200.0, 0.0) == pytest.approx(2 * face.u_correction_mm(200.0, 100.0))


def test_two_axes_against_one_square():
    """Laser-interferometer user guide ch. 21 (FIGURES 3.5): 1.71", -3.80", together -5.51"."""
    one, other = Slope(8.3e-6, 1e-6), Slope(-18.44e-6, 1e-6)
    assert one.arcsec == pytest.approx(1.71, abs=0.005)
    assert other.arcsec == pytest.approx(-3.80, abs=0.005)
    between = squareness(one, other)
    assert between.arcsec == pytest.approx(-5.51, abs=0.01)
    assert between.u_rad == pytest.approx(np.sqrt(2) * 1e-6)


def test_line_agrees_with_scipy():
    """scipy.stats.linregress on the same stops, standard error included."""
    place = np.linspace(0, 300, 14)
    value = 2e-4 * place + rng().normal(0, 0.001, 14)
    found, other = (
        traverse(place, value, sigma_mm=0.001, allowance=NOTHING),
        linregress(place, value),
    )
    assert found.slope.rad == pytest.approx(other.slope, rel=1e-9)
    assert found.slope.u_rad == pytest.approx(other.stderr, rel=1e-6)
    assert found.dof == 12


@pytest.mark.parametrize("count", [3, 7, 30, 400])
def test_minimum_zone_is_the_linear_programs(count):
    made = rng()
    for _ in range(6):
        place, height = made.uniform(0, 200, count), made.normal(0, 0.01, count)
        zone = line_zone(place, height)
        assert zone.width_mm == pytest.approx(zone_by_program(place[:, None], height), abs=1e-9)
        assert zone.width_weights @ height == pytest.approx(zone.width_mm, abs=1e-12)


@LIGHT
@given(FEW)
def test_minimum_zone_of_places_touched_twice_on_a_grid(heights):
    """Places in common and heights in ties: where more than three points decide."""
    height = np.array(heights, dtype=float)
    place = np.arange(len(height)) // 2 * 10.0
    if np.ptp(place) > 0:
        zone = line_zone(place, height)
        assert zone.width_mm == pytest.approx(zone_by_program(place[:, None], height), abs=1e-7)


def test_straightness_least_squares_and_minimum_zone():
    place = np.linspace(0, 200, 9)
    form = np.array([0, 0.012, 0.003, 0.021, 0.009, -0.004, 0.006, 0.002, 0.010])
    found = traverse(place, 0.3 + 1e-3 * place + form, sigma_mm=1e-4)
    line = np.polyfit(place, form, 1)
    assert found.straightness_ls_mm == pytest.approx(np.ptp(form - np.polyval(line, place)))
    zone = zone_by_program(place[:, None], form)
    assert found.straightness_mz_mm == pytest.approx(zone, abs=1e-9)
    assert found.straightness_mz_mm < found.straightness_ls_mm
    assert found.parallelism_mm == pytest.approx(np.ptp(1e-3 * place + form))
    assert found.judge_straightness(0.05).word == "inside"
    assert found.judge_straightness(0.005).word == "outside"


def test_scatter_alone_is_never_called_out_of_straight():
    found = traverse(np.arange(9.0), rng().normal(0, 0.01, 9), sigma_mm=0.01)
    assert "form within scatter" in found.flags
    assert found.judge_straightness(0.001).word == "cannot tell"


# sizes, signs, retrace and drift


def test_a_dense_run_sees_the_slope_under_the_form():
    place = np.linspace(0, 250, 300)
    value = 5e-5 * place + bow(place, 0.03) + rng().normal(0, 3e-4, 300)
    found = traverse(place, value, sigma_mm=3e-4)
    assert found.slope.rad == pytest.approx(5e-5, abs=1e-6)
    assert found.straightness_mz_mm == pytest.approx(0.03, abs=1e-3)
    assert found.u_rise_mm < 0.003
    assert "one way only" in found.flags


def test_there_and_back_tells_retrace_and_drift_from_the_rise():
    place = np.r_[np.linspace(0, 200, 80), np.linspace(200, 0, 80)]
    time = np.linspace(0, 40, 160)
    value = 1e-4 * place + 0.003 * np.r_[np.full(80, 0.5), np.full(80, -0.5)] + 2.5e-4 * time
    value = value + rng().normal(0, 1e-4, 160)
    found = traverse(place, value, sigma_mm=1e-4, t_s=time)
    assert found.retrace_mm == pytest.approx(0.003, abs=1e-4)
    assert found.drift_mm == pytest.approx(0.010, abs=2e-4)
    assert found.slope.rad == pytest.approx(1e-4, abs=1e-6)
    assert found.straightness_mz_mm < 4e-4
    assert "one way only" not in found.flags
    one_way = traverse(place[:80], value[:80], sigma_mm=1e-4, t_s=time[:80])
    assert one_way.slope.rad == pytest.approx(1.25e-4, abs=2e-6)  # the drift is in it
    assert one_way.drift_mm is None


def test_stops_that_do_not_come_back_are_told_and_stand_in_the_budget():
    place, value = [0.0, 50.0, 100.0, 0.0], [0.0, 0.005, 0.010, 0.02]
    found = traverse(place, value, sigma_mm=5e-4)
    assert "return differs" in found.flags
    assert "drift" in {line.name for line in found.budget}
    again = traverse(place, [0.0, 0.005, 0.010, 0.0], sigma_mm=5e-4)
    assert again.return_mm == pytest.approx(0.0, abs=1e-9)
    assert again.u_rise_mm < found.u_rise_mm


def test_the_needle_reads_what_was_foretold_at_the_far_end():
    place = np.linspace(0, 200, 9)
    form = np.array([0, 0.004, 0.003, 0.006, 0.002, -0.004, 0.006, 0.002, 0.003])
    shown = 0.2 + 1e-3 * place + form
    found = traverse(place, shown, sigma_mm=1e-4)
    set_right = shown - found.slope.rad * (place - 50.0)  # turned about a pivot at 50
    for at in (0.0, 100.0, 200.0):
        here = int(np.flatnonzero(place == at)[0])
        foretold = found.reading_when_right_mm(at_mm=at, pivot_mm=50.0)
        assert foretold == pytest.approx(set_right[here], abs=1e-12)


def test_outliers_on_a_dense_run_are_left_out_and_said():
    place = np.linspace(0, 200, 200)
    value = 1e-4 * place + rng().normal(0, 2e-4, 200)
    value[[20, 21, 22, 150]] += 0.3  # chips under the stylus
    found = traverse(place, value, sigma_mm=2e-4)
    assert "outliers left out" in found.flags
    assert found.slope.rad == pytest.approx(1e-4, abs=2e-6)
    assert np.flatnonzero(~found.kept).tolist() == [20, 21, 22, 150]


def test_budget_by_both_roads():
    found = traverse([0.0, 50.0, 150.0], [0.1, 0.102, 0.106], sigma_mm=5e-4, u_dial_mm=0.002)
    drawn = monte_carlo(found.budget, rng(), draws=100_000)
    assert drawn.u == pytest.approx(found.slope.u_over_mm(300), rel=0.02)
    assert found.slope.judge(0.04, per_mm=300).word == "inside"
    assert found.slope.judge(0.012, per_mm=300).word == "cannot tell"
    assert found.slope.judge(0.001, per_mm=300).word == "outside"
    assert set(found.flags) <= set(FLAGS)


# squares


def square_reading(place, looks, own_rad, travel_rad):
    """Return what a dial on a travel reads of a square's face; both lean by their own.

    The travel leans to the plus side by `travel_rad`, so that there the face, leaning out
    by `own_rad` to the side it looks, falls back; the stylus is pushed in by a face that
    comes nearer its own side.
    """
    side = 1.0 if looks in ("right", "back") else -1.0
    face_to_plus = side * own_rad * place
    return 0.5 + side * (face_to_plus - travel_rad * place)


def test_a_square_along_a_travel_has_the_sign_of_its_lean():
    place = np.linspace(0, 100, 6)
    right = tram_square(
        place, square_reading(place, "right", 0.0, 1e-4), looks="right", sigma_mm=1e-4
    )
    left = tram_square(place, square_reading(place, "left", 0.0, 1e-4), looks="left", sigma_mm=1e-4)
    assert right.error.rad == pytest.approx(-1e-4)  # a true square stands left of a travel to +X
    assert left.error.rad == pytest.approx(-1e-4)
    assert left.run.slope.rad == pytest.approx(1e-4)


def test_reversal_tells_square_and_machine_apart():
    """Reversal as FIGURES 3.5 has it: half the sum, half the difference."""
    place = np.linspace(0, 120, 13)
    bump = np.where(place == 60, 0.008, 0.0)  # on the square's own face
    runs = [
        tram_square(
            place, square_reading(place, looks, 5e-5, 8e-5) + bump, looks=looks, sigma_mm=2e-4
        )
        for looks in ("right", "left")
    ]
    found = reverse_square(*runs)
    assert found.square.rad == pytest.approx(5e-5, abs=1e-9)
    assert found.machine.rad == pytest.approx(-8e-5, abs=1e-9)
    assert runs[0].run.kept.all()  # of thirteen stops the odd one is form, not an outlier
    assert found.square_straightness_mm == pytest.approx(0.008, abs=1e-9)
    assert found.machine_straightness_mm == pytest.approx(0.0, abs=1e-9)
    assert found.u_straightness_mm > 0
    assert reverse_square(runs[0], runs[0]).reason.startswith("For a reversal")
    assert reverse_square(SweepFailure("No."), runs[1]).reason == "No."


# properties


@LIGHT
@given(st.floats(-3, 3), st.floats(0.2, 5), st.floats(-500, 500))
def test_zero_scale_and_where_place_begins(zero, factor, shift):
    place = np.linspace(0, 200, 9)
    value = 1e-4 * place + rng().normal(0, 1e-3, 9)
    one = traverse(place, value, sigma_mm=1e-3)
    other = traverse(place + shift, factor * value + zero, sigma_mm=1e-3 * factor)
    assert other.slope.rad == pytest.approx(factor * one.slope.rad, abs=1e-9)
    assert other.straightness_mz_mm == pytest.approx(factor * one.straightness_mz_mm, abs=1e-9)


@LIGHT
@given(st.permutations(list(range(9))))
def test_stops_in_any_order_and_from_either_end(order):
    place = np.linspace(0, 200, 9)
    value = 1e-4 * place + rng().normal(0, 1e-3, 9)
    one = traverse(place, value, sigma_mm=1e-3)
    other = traverse(place[order], value[order], sigma_mm=1e-3)
    mirrored = traverse(-place, value, sigma_mm=1e-3)
    assert other.slope.rad == pytest.approx(one.slope.rad, abs=1e-12)
    assert other.straightness_mz_mm == pytest.approx(one.straightness_mz_mm, abs=1e-12)
    assert mirrored.slope.rad == pytest.approx(-one.slope.rad, abs=1e-12)


@LIGHT
@given(st.floats(-0.05, 0.05))
def test_steady_drift_moves_nothing_there_and_back(drift):
    place = np.r_[np.linspace(0, 200, 30), np.linspace(200, 0, 30)]
    time = np.linspace(0, 20, 60)
    value = 1e-4 * place + rng().normal(0, 1e-3, 60)
    one = traverse(place, value, sigma_mm=1e-3, t_s=time)
    other = traverse(place, value + drift * time / 20, sigma_mm=1e-3, t_s=time)
    assert other.slope.rad == pytest.approx(one.slope.rad, abs=1e-8)
    assert other.drift_mm - one.drift_mm == pytest.approx(drift, abs=1e-6)


# what is refused

BAD = {
    "nothing": ([], [], 1e-3),
    "two points": ([0.0, 100.0], [0.0, 0.1], 1e-3),
    "two places": ([0.0, 100.0, 0.0, 100.0], [0.0, 0.1, 0.0, 0.1], 1e-3),
    "identical points": ([50.0] * 5, [0.1] * 5, 1e-3),
    "not a number": ([0.0, 50.0, 100.0], [0.0, np.nan, 0.1], 1e-3),
    "place not a number": ([0.0, np.inf, 100.0], [0.0, 0.1, 0.1], 1e-3),
    "negative sigma": ([0.0, 50.0, 100.0], [0.0, 0.1, 0.1], -1e-3),
    "lengths differ": ([0.0, 50.0], [0.0, 0.1, 0.1], 1e-3),
    "sigmas differ": ([0.0, 50.0, 100.0], [0.0, 0.1, 0.1], [1e-3, 1e-3]),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_lines_give_no_slope(name):
    place, value, sigma = BAD[name]
    for failed in (
        traverse(place, value, sigma_mm=sigma),
        tram_square(place, value, looks="right", sigma_mm=sigma),
    ):
        assert isinstance(failed, SweepFailure)
        assert failed.reason.endswith(".")
        with pytest.raises(UnusableResultError):
            _ = failed.slope


def test_bad_times_and_sides_are_refused():
    place, value = np.linspace(0, 200, 5), np.zeros(5)
    assert not traverse(place, value, sigma_mm=1e-4, t_s=[0.0, 1.0])
    assert not tram_square(place, value, looks="up", sigma_mm=1e-4)


def test_slots_across_a_run_are_left_out_and_hollows_stay():
    """A table's slots lie across the run: 14 mm in every 50; a worn hollow is its own form."""
    place = np.linspace(0, 240, 300)
    flat = 1e-4 * place + rng().normal(0, 2e-4, 300)
    slotted = np.where(np.abs((place + 25) % 50 - 25) < 7, flat - 0.4, flat)
    found = traverse(place, slotted, sigma_mm=2e-4)
    assert found.slope.rad == pytest.approx(1e-4, abs=1e-6)
    assert "slots left out" in found.flags
    assert found.straightness_mz_mm < 1e-3
    hollow = flat - 0.1 * np.exp(-(((place - 100) / 20) ** 2))
    worn = traverse(place, hollow, sigma_mm=2e-4)
    assert "slots left out" not in worn.flags
    assert worn.straightness_mz_mm == pytest.approx(0.09, abs=0.02)
    mostly = np.where(np.abs((place + 8) % 16 - 8) < 5, flat - 0.4, flat)
    assert "slots" in traverse(place, mostly, sigma_mm=2e-4).reason
