"""Axes from two heights, runout at any height, bar and spindle apart, orbits of a target."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sweep_error_bars import Bar, check_full, check_light
from sweep_making import Work, exact_angles, stops, turn

from readings import Sweep
from sweeps import (
    Allowance,
    axis_through,
    bar_at_two_heights,
    combine_turns,
    donaldson_reversal,
    fit_turn,
    reseat,
    runout,
)

LIGHT = settings(max_examples=15, deadline=None)
ONLY_FIT = Allowance(
    retrace_mm=0.0, lag_s=0.0, form2_mm=0.0, reader_common=0.0, reader_floor_mm=0.0
)
TRAVEL = (-1.0, 1.0)
"""A taught dial: a rest in mid travel is then no lost contact."""
QUARTERS = np.radians([0, 90, 180, 270])


def work_at(x, y, **rest):
    return Work(e_mm=np.hypot(x, y), high_rad=np.arctan2(y, x), **rest)


def swept(x, y, rng, how="whole turn", surface="bar", **rest):
    work = work_at(x, y, **rest)
    sweep = {
        "whole turn": lambda: turn(work, rng, n=90),
        "three quarters": lambda: turn(work, rng, n=90, arc_rad=np.radians(280)),
        "eight stops": lambda: stops(work, rng, per_turn=8),
    }[how]()
    return fit_turn(exact_angles(sweep), surface=surface, allowance=ONLY_FIT, travel_mm=TRAVEL)


HOWS = ["whole turn", "three quarters", "eight stops"]


def rng():
    return np.random.default_rng(20261125)


# two heights


def test_a_leaning_bore_from_two_depths_by_pencil_and_paper():
    # 0.03 mm further right and 0.04 nearer the front over 100 mm: 0.05 per 100, 500 µrad
    low = swept(-0.10, 0.05, rng(), surface="bore")
    high = swept(-0.13, 0.09, rng(), surface="bore")  # readings' signs: e = -(a1, b1)
    axis = axis_through(low, -120.0, high, -20.0)
    assert (axis.tilt_x_rad, axis.tilt_y_rad) == pytest.approx((3e-4, -4e-4), abs=3e-6)
    assert axis.tilt_rad == pytest.approx(5e-4, abs=3e-6)
    assert axis.tilt_rad != pytest.approx(5e-4 + 9e-6, abs=3e-6)
    assert axis.tilt_deg == pytest.approx(360 - np.degrees(np.arctan(4 / 3)), abs=0.5)
    assert axis.lean_mm(300.0) == pytest.approx(0.15, abs=1e-3)
    assert axis.at(-70.0).vector_mm == pytest.approx((0.115, -0.07), abs=2e-4)
    assert axis.at(80.0).vector_mm == pytest.approx((0.16, -0.13), abs=4e-4)
    assert axis.at(80.0).u_size_mm > 1.5 * axis.at(-70.0).u_size_mm
    assert axis.judge(0.02, 100.0).word == "outside"
    assert axis.judge(0.06, 100.0).word == "inside"
    assert axis.cone_mm_per_mm is None


@pytest.mark.parametrize(("surface", "sign"), [("bore", -1), ("boss", 1)])
def test_a_cone_is_what_the_means_differ_by(surface, sign):
    low = swept(0.05, 0.0, rng(), surface=surface, constant_mm=0.10)
    high = swept(0.05, 0.0, rng(), surface=surface, constant_mm=0.12)
    axis = axis_through(low, 0.0, high, 40.0, same_setting=True)
    assert axis.cone_mm_per_mm == pytest.approx(sign * 2 * 0.02 / 40, abs=4e-6)
    assert 0 < axis.u_cone_mm_per_mm < 4e-6
    both_ways = combine_turns(low, low), combine_turns(high, high)
    again = axis_through(both_ways[0], 0.0, both_ways[1], 40.0, same_setting=True)
    assert again.cone_mm_per_mm == pytest.approx(axis.cone_mm_per_mm, abs=1e-9)


def axis_bars(low, high, here, there):
    here, there = np.array(here), np.array(there)
    axis, lean = axis_through(low, 0.0, high, 80.0), (there - here) / 80.0
    end = axis.at(200.0)
    away = end.vector_mm - (here + 200.0 * lean)
    return {
        "tilt x": Bar(axis.tilt_x_rad - lean[0], np.sqrt(axis.tilt_covariance[0, 0]), axis.dof),
        "place": Bar(away[1], np.sqrt(end.covariance[1, 1]), end.dof),
    }


def axis_scene(how):
    def scene(rng):
        here, there = rng.uniform(-0.1, 0.1, (2, 2))
        return axis_bars(swept(*here, rng, how), swept(*there, rng, how), here, there)

    return scene


@pytest.mark.long
@pytest.mark.parametrize("how", HOWS)
def test_error_bar_of_an_axis_in_full(how):
    check_full(axis_scene(how))


# runout


def test_runout_never_mixes_tir_and_eccentricity():
    result = runout(swept(0.03, 0.04, rng(), oval_mm=0.01, oval_rad=1.2))
    assert result.eccentricity_mm == pytest.approx(0.05, abs=1e-4)
    angle = np.linspace(0, 2 * np.pi, 7200)
    truth = np.ptp(work_at(0.03, 0.04, oval_mm=0.01, oval_rad=1.2).reading(angle))
    assert result.tir_mm == pytest.approx(truth, abs=3e-4)
    assert result.tir_mm != pytest.approx(truth + 9e-4, abs=3e-4)
    assert result.high_spot_deg == pytest.approx(np.degrees(np.arctan2(4, 3)), abs=0.3)
    assert [lobe.order for lobe in result.lobes[:2]] == [2, 3]
    assert result.judge(0.2).word == "inside"
    few = runout(fit_turn(stops(work_at(0.01, 0), rng()), surface="bar"))
    assert "tir at least" in few.flags
    assert few.judge(1.0).word == "cannot tell"


def test_runout_at_any_height_runs_along_the_axis():
    bar = bar_at_two_heights(
        swept(0.01, 0.0, rng(), oval_mm=0.004), 0.0, swept(0.01, 0.02, rng(), oval_mm=0.002), 100.0
    )
    for height, y, oval in (
        (0, 0, 0.004),
        (50, 0.01, 0.003),
        (100, 0.02, 0.002),
        (300, 0.06, 0.002),
    ):
        angle = np.linspace(0, 2 * np.pi, 7200)
        truth = np.ptp(work_at(0.01, y, oval_mm=oval).reading(angle))
        found = bar.at(height)
        assert found.tir_mm == pytest.approx(truth, abs=6e-4)
        assert found.offset.vector_mm == pytest.approx((0.01, y), abs=3e-4)
    assert bar.at(300).u_tir_mm > 2 * bar.at(50).u_tir_mm
    assert bar.at(100).tir_mm == pytest.approx(bar.runouts[1].tir_mm, abs=1e-6)
    assert bar.axis.tilt_y_rad == pytest.approx(2e-4, abs=3e-6)


def bar_bars(low, high, here, there, oval_mm=0.0):
    here, there = np.array(here), np.array(there)
    told = bar_at_two_heights(low, 0.0, high, 80.0).at(40.0)
    angle = np.linspace(0, 2 * np.pi, 720)
    truth = np.ptp(work_at(*(0.5 * here + 0.5 * there), oval_mm=oval_mm).reading(angle))
    return axis_bars(low, high, here, there) | {
        "eccentricity": Bar(low.eccentricity_mm - np.hypot(*here), low.u_eccentricity_mm, low.dof),
        "tir between": Bar(told.tir_mm - truth, told.u_tir_mm, told.dof),
    }


def runout_scene(how):
    """Offset and two lobes, so that the same two places decide every time."""

    def scene(rng):
        here, there = rng.uniform(0.05, 0.1, (2, 2))
        low, high = (swept(*at, rng, how, oval_mm=0.02) for at in (here, there))
        return bar_bars(low, high, here, there, oval_mm=0.02)

    return scene


@pytest.mark.long
@pytest.mark.parametrize("how", ["whole turn", "eight stops"])
def test_error_bar_of_runout_in_full(how):
    check_full(runout_scene(how))


# seated anew


def seats(spindle, bar, rng, how="whole turn", scatter=0.0, turned=QUARTERS):
    found = []
    for angle in turned:
        both = spindle + bar * np.exp(1j * angle) + scatter * complex(*rng.normal(size=2))
        found.append(swept(both.real, both.imag, rng, how))
    return found


def test_a_seat_error_of_a_hundredth_is_found_within_two_thousandths():
    """Bar runout of 0.02 mm hides it; seatings repeat to 0.001 mm."""
    generator = rng()
    for _ in range(15):
        spindle = 0.010 * np.exp(1j * generator.uniform(0, 6.28))
        bar = 0.02 * np.exp(1j * generator.uniform(0, 6.28))
        found = reseat(seats(spindle, bar, generator, scatter=0.001))
        assert abs(complex(*found.spindle.vector_mm) - spindle) < 0.002
        assert abs(complex(*found.bar.vector_mm) - bar) < 0.002
        assert found.mean_of_readings_mm > 0.03  # bar and seat together: another number


def test_mean_vector_and_mean_of_readings_are_two_numbers_with_two_names():
    """ISO 230-1 quotes the mean of the four TIRs; a true seat then still shows the bar's."""
    found = reseat(seats(0.0, 0.01, rng()))
    assert found.mean_of_readings_mm == pytest.approx(0.02, abs=1e-3)
    assert found.spindle.size_mm < 2e-4
    assert found.bar.size_mm == pytest.approx(0.01, abs=2e-4)


def test_seats_at_any_angles_by_least_squares():
    turned = np.radians([0, 70, 200, 290, 340])
    found = reseat(seats(0.01, 0.02j, rng(), turned=turned), turned)
    assert found.spindle.vector_mm == pytest.approx((0.01, 0), abs=2e-4)
    assert found.bar.vector_mm == pytest.approx((0, 0.02), abs=2e-4)


def seat_scene(how):
    def scene(rng):
        spindle, bar = (complex(*rng.normal(0, 0.01, 2)) for _ in range(2))
        return seat_bars(seats(spindle, bar, rng, how, scatter=0.001), spindle, bar)

    return scene


def seat_bars(swept_seats, spindle, bar):
    found = reseat(swept_seats)
    away = found.spindle.vector_mm - (spindle.real, spindle.imag)
    own = found.bar.vector_mm - (bar.real, bar.imag)
    u_mm, u_bar = (np.sqrt(part.covariance[0, 0]) for part in (found.spindle, found.bar))
    return {
        "x": Bar(away[0], u_mm, found.spindle.dof),
        "y": Bar(away[1], u_mm, found.spindle.dof),
        "bar": Bar(own[0], u_bar, found.bar.dof),
    }


def light_scene(rng):
    """Four seats for their own numbers; the first two again as two heights of one bar."""
    spindle, bar = (complex(*rng.normal(0, 0.01, 2)) for _ in range(2))
    four = seats(0.05 + spindle, bar, rng, "eight stops", scatter=0.0)
    first, second = (0.05 + spindle + bar * np.exp(1j * angle) for angle in QUARTERS[:2])
    heights = bar_bars(four[0], four[1], (first.real, first.imag), (second.real, second.imag))
    return seat_bars(four, 0.05 + spindle, bar) | heights


def test_error_bars_of_axis_runout_and_seats():
    check_light(light_scene, count=200)


@pytest.mark.long
@pytest.mark.parametrize("how", HOWS)
def test_error_bar_of_seats_in_full(how):
    check_full(seat_scene(how))


# reversal


def reversal_pair(rng, noise=2e-4, how="turn"):
    part = lambda t: 0.006 * np.cos(2 * t - 0.4) + 0.003 * np.cos(3 * t)  # noqa: E731
    spindle = lambda t: 0.004 * np.cos(2 * t + 1.0) + 0.002 * np.sin(4 * t)  # noqa: E731
    n = 90 if how == "turn" else 16
    theta = np.linspace(0, 2 * np.pi, n, endpoint=how == "turn")
    zero, kind = np.zeros(n), "turn" if how == "turn" else "stops"
    found = []
    for sign, e in ((1, 0.02), (-1, 0.013)):
        value = part(theta) + sign * spindle(theta) + e * np.cos(theta) + rng.normal(0, noise, n)
        sweep = Sweep(theta, value, np.full(n, noise), theta, zero, sense=None, kind=kind)
        found.append(fit_turn(sweep, surface="bar", allowance=ONLY_FIT, travel_mm=TRAVEL))
    return donaldson_reversal(*found), part, spindle


def test_reversal_parts_the_work_from_the_spindle():
    found, part, spindle = reversal_pair(rng(), noise=2e-5)
    angle = np.linspace(0, 2 * np.pi, 7200)
    assert found.part_tir_mm == pytest.approx(np.ptp(part(angle)), abs=4e-5)
    assert found.spindle_tir_mm == pytest.approx(np.ptp(spindle(angle)), abs=4e-5)
    assert found.part_mm[:4] == pytest.approx(
        (0.006 * np.cos(0.4), 0.006 * np.sin(0.4), 0.003, 0), abs=2e-5
    )
    assert found.spindle_mm[5] == pytest.approx(0.002, abs=2e-5)


def reversal_scene(how):
    def scene(rng):
        found, _, _ = reversal_pair(rng, how=how)
        u_mm = np.sqrt(np.diag(found.covariance))
        return {
            "part": Bar(found.part_mm[2] - 0.003, u_mm[2], found.dof),
            "spindle": Bar(found.spindle_mm[5] - 0.002, u_mm[5], found.dof),
        }

    return scene


def test_error_bar_of_reversal():
    check_light(reversal_scene("stops"), count=200)


@pytest.mark.long
@pytest.mark.parametrize("how", ["turn", "stops"])
def test_error_bar_of_reversal_in_full(how):
    check_full(reversal_scene(how))


# properties


@LIGHT
@given(st.floats(-200, 200), st.floats(1, 200), st.permutations([0, 1, 2, 3]))
def test_an_axis_and_seats_do_not_mind_the_zero_of_heights_or_the_order(zero, length, order):
    low, high = swept(0.1, 0.0, rng(), "eight stops"), swept(0.1, 0.03, rng(), "eight stops")
    one = axis_through(low, zero, high, zero + length)
    other = axis_through(high, zero + length, low, zero)
    assert one.tilt_y_rad == pytest.approx(other.tilt_y_rad, rel=1e-9)
    assert one.at(zero - 7).vector_mm == pytest.approx(other.at(zero - 7).vector_mm, abs=1e-9)
    four = seats(0.01, 0.02, rng(), "eight stops")
    mixed = reseat([four[i] for i in order], [QUARTERS[i] for i in order])
    assert mixed.spindle.vector_mm == pytest.approx(reseat(four).spindle.vector_mm, abs=1e-12)
