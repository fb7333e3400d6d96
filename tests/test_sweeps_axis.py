"""Axes from two heights, runout at any height, bar and spindle apart, orbits of a target."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.measure import CircleModel
from sweep_error_bars import Bar, check_full, check_light, joint
from sweep_making import Work, exact_angles, stops, turn

from readings import Sweep
from sweeps import (
    Allowance,
    SweepFailure,
    UnusableResultError,
    axis_through,
    bar_at_two_heights,
    combine_turns,
    donaldson_reversal,
    fit_turn,
    reseat,
    runout,
    target_orbit,
)

LIGHT = settings(max_examples=15, deadline=None)
ONLY_FIT = Allowance(
    retrace_mm=0.0, lag_s=0.0, form2_mm=0.0, reader_common=0.0, reader_floor_mm=0.0
)
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
    return fit_turn(exact_angles(sweep), surface=surface, allowance=ONLY_FIT)


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
    check_light(light_scene)


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
        found.append(fit_turn(sweep, surface="bar", allowance=ONLY_FIT))
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
    check_light(reversal_scene("stops"))


@pytest.mark.long
@pytest.mark.parametrize("how", ["turn", "stops"])
def test_error_bar_of_reversal_in_full(how):
    check_full(reversal_scene(how))


# orbits


def orbit_of(
    rng, *, centre=(12.0, -7.0), arm=0.5, phase=0.7, arc=6.6, n=90, noise=5e-4, motion=None
):
    angle = np.linspace(0.3, 0.3 + arc, n, endpoint=arc != 2 * np.pi)
    z = complex(*centre) + arm * np.exp(1j * (angle + phase))
    if motion is not None:
        z = z + motion(angle)
    points = np.column_stack([z.real, z.imag]) + rng.normal(0, noise, (n, 2))
    return points, np.full(n, noise), angle


def test_a_target_stuck_half_a_millimetre_off_shows_the_axis_and_no_runout():
    for seed in range(20):
        points, sigma, angle = orbit_of(np.random.default_rng(seed))
        for found in (target_orbit(points, sigma, angle), target_orbit(points, sigma)):
            assert np.hypot(found.x_mm - 12.0, found.y_mm + 7.0) < 0.002
            assert found.radius_mm == pytest.approx(0.5, abs=0.002)
            for name in ("tir_mm", "runout_mm", "eccentricity_mm"):
                assert not hasattr(found, name)
            assert not runout(found)
    assert found.stroke_mm is None  # without angles no motion is told
    truth_moved = np.hypot(found.x_mm - 12.006, found.y_mm + 7.0)
    assert not truth_moved < 0.002


def test_motion_of_the_axis_in_orders_two_and_up():
    def motion(t):
        return 0.004 * np.cos(2 * t) + 0.003 * np.exp(-3j * t)  # along x; against the spindle

    found = target_orbit(*orbit_of(rng(), motion=motion, noise=2e-4))
    by_order = {one.order: one for one in found.motion}
    assert by_order[2].throw_mm == pytest.approx(0.004, abs=2e-4)
    assert by_order[2].forward_mm == pytest.approx(0.002, abs=1e-4)
    assert (by_order[3].forward_mm, by_order[3].backward_mm) == pytest.approx((0, 0.003), abs=1e-4)
    path = motion(np.linspace(0, 2 * np.pi, 2000))
    sides = np.exp(-1j * np.linspace(0, np.pi, 400))
    truth = max(np.ptp((path * side).real) for side in sides)
    assert found.stroke_mm == pytest.approx(truth, abs=4e-4)
    still = target_orbit(*orbit_of(rng(), noise=2e-5))
    assert still.stroke_mm < 6e-5


def test_the_circle_through_the_places_is_scikit_images():
    points, sigma, _ = orbit_of(rng())
    model = CircleModel.from_estimate(points)
    found = target_orbit(points, sigma)
    assert (found.x_mm, found.y_mm) == pytest.approx(model.center, abs=1e-4)


def test_a_tilted_view_is_told_and_scale_moves_the_axis():
    points, sigma, angle = orbit_of(rng(), arm=3.0)
    squeezed = points * (1.0, 0.93)
    assert "tilted view" in target_orbit(squeezed, sigma, angle).flags
    assert target_orbit(points, sigma, angle).flags == ()
    scaled = target_orbit(points, sigma, angle, scale_rel=1e-3)
    plain = target_orbit(points, sigma, angle)
    grown = scaled.covariance - plain.covariance
    assert np.sqrt(np.trace(grown)) == pytest.approx(1e-3 * np.hypot(12, 7), rel=1e-3)


def test_misread_places_are_left_out():
    points, sigma, angle = orbit_of(rng())
    points[[7, 40]] += 0.05
    found = target_orbit(points, sigma, angle)
    assert "outliers left out" in found.flags
    assert np.hypot(found.x_mm - 12.0, found.y_mm + 7.0) < 0.0005


def test_rotation_axis_at_two_heights_and_the_seat_by_reseating():
    low = target_orbit(*orbit_of(rng()))
    high = target_orbit(*orbit_of(rng(), centre=(12.03, -7.0), arm=0.3))
    axis = axis_through(low, 0.0, high, 150.0)
    assert axis.tilt_x_rad == pytest.approx(2e-4, abs=4e-6)
    four = []
    for angle in QUARTERS:
        arm = 0.010 + 0.5j * np.exp(1j * angle)
        four.append(target_orbit(*orbit_of(rng(), arm=abs(arm), phase=np.angle(arm))))
    found = reseat(four)
    assert found.spindle.vector_mm == pytest.approx((0.010, 0.0), abs=0.002)
    assert found.mean_of_readings_mm is None


ORBITS = {
    "whole turn": {"arc": 6.6},
    "three quarters": {"arc": 4.8},
    "eight stops": {"arc": 2 * np.pi, "n": 8},
}


def orbit_scene(how, *, angles=True):
    def scene(rng):
        centre = rng.uniform(-20, 20, 2)
        points, sigma, angle = orbit_of(rng, centre=centre, **ORBITS[how])
        found = target_orbit(points, sigma, angle if angles else None)
        away = np.array([found.x_mm, found.y_mm]) - centre
        bars = {
            "x": Bar(away[0], np.sqrt(found.covariance[0, 0]), found.dof),
            "radius": Bar(found.radius_mm - 0.5, found.u_radius_mm, found.dof),
        }
        if how != "eight stops":
            bars["both"] = joint(away, found.covariance, found.dof * 2 if angles else found.dof)
        if found.motion:
            second = found.motion[0]
            bars["order 2"] = Bar(second.backward.real, second.u_mm, found.dof)
        return bars

    return scene


def test_error_bar_of_an_orbit():
    check_light(orbit_scene("eight stops"))


@pytest.mark.long
@pytest.mark.parametrize("how", ORBITS)
@pytest.mark.parametrize("angles", [True, False])
def test_error_bar_of_an_orbit_in_full(how, angles):
    check_full(orbit_scene(how, angles=angles))


# what cannot be


def bad_calls():
    good = swept(0.1, 0.0, rng())
    failed, nowhere = SweepFailure("Too short."), fit_turn(turn(Work(), rng()))
    bore = swept(0.1, 0.0, rng(), surface="bore")
    points, sigma, angle = orbit_of(rng())
    return {
        "axis of a failure": axis_through(good, 0, failed, 10),
        "no length": axis_through(good, 5.0, good, 5.0),
        "height no number": axis_through(good, 5.0, good, np.nan),
        "two surfaces": axis_through(good, 0, bore, 10),
        "no surface": axis_through(nowhere, 0.0, nowhere, 9.0),
        "bar of a bore": bar_at_two_heights(bore, 0, bore, 10),
        "runout of a failure": runout(failed),
        "two seats": reseat([good, good], [0, np.pi]),
        "one angle four times": reseat([good] * 4, [0, 0, 0, 0]),
        "seat failed": reseat([good, good, failed, good]),
        "seats and angles": reseat([good] * 3),
        "seats mixed": reseat([good, good, target_orbit(points, sigma, angle), good]),
        "seats without angles": reseat([target_orbit(points, sigma)] * 4),
        "reversal of a failure": donaldson_reversal(good, failed),
        "reversal of two surfaces": donaldson_reversal(good, bore),
        "reversal without lobes": donaldson_reversal(
            *[fit_turn(stops(Work(), rng(), per_turn=3), surface="bar")] * 2
        ),
        "two places": target_orbit(points[:2], 1e-3, angle[:2]),
        "identical places": target_orbit(np.zeros((9, 2)), 1e-3),
        "place no number": target_orbit(np.full((9, 2), np.nan), 1e-3),
        "short orbit": target_orbit(points[:20], sigma[:20], angle[:20]),
        "short circle": target_orbit(points[:20], sigma[:20]),
        "angles missing": target_orbit(points, sigma, angle[:-1]),
        "sigmas missing": target_orbit(points, sigma[:-1], angle),
        "angles the same": target_orbit(points, sigma, np.zeros(len(points))),
        "three without angles": target_orbit(points[::30][:3], 1e-3),
    }


BAD = bad_calls()


@pytest.mark.parametrize("name", BAD)
def test_bad_input_fails_with_a_reason_and_is_no_number(name):
    found = BAD[name]
    assert isinstance(found, SweepFailure), found
    assert found.reason.endswith(".")
    with pytest.raises(UnusableResultError):
        _ = found.tilt_rad


# properties


@LIGHT
@given(st.floats(-3, 3), st.floats(0.2, 4), st.integers(0, 50))
def test_an_orbit_turns_shifts_and_scales_with_its_points(turned, factor, seed):
    points, sigma, angle = orbit_of(np.random.default_rng(seed), n=40)
    one = target_orbit(points, sigma, angle)
    spin = np.array([[np.cos(turned), np.sin(turned)], [-np.sin(turned), np.cos(turned)]])
    other = target_orbit(factor * points @ spin + (3, -2), factor * sigma, angle)
    moved = factor * np.array([one.x_mm, one.y_mm]) @ spin + (3, -2)
    assert (other.x_mm, other.y_mm) == pytest.approx(tuple(moved), abs=1e-8)
    assert other.radius_mm == pytest.approx(factor * one.radius_mm, abs=1e-8)
    started = target_orbit(points, sigma, angle + turned)
    assert (started.x_mm, started.y_mm) == pytest.approx((one.x_mm, one.y_mm), abs=1e-8)
    mirrored = target_orbit(points * (1, -1), sigma, -angle)
    assert (mirrored.x_mm, -mirrored.y_mm) == pytest.approx((one.x_mm, one.y_mm), abs=1e-8)


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
