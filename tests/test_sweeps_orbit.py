"""Orbits of a target on a bar's end; and what no axis, seat or orbit can be made of."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.measure import CircleModel
from sweep_error_bars import Bar, check_full, check_light, joint
from sweep_making import Work, exact_angles, stops, turn

from sweeps import (
    OrbitView,
    SweepFailure,
    UnusableResultError,
    axis_by_orbits,
    axis_through,
    bar_at_two_heights,
    donaldson_reversal,
    fit_turn,
    reseat,
    runout,
    target_orbit,
)

LIGHT = settings(max_examples=15, deadline=None)
QUARTERS = np.radians([0, 90, 180, 270])


def rng():
    return np.random.default_rng(20261125)


def swept(surface="bar"):
    return fit_turn(exact_angles(turn(Work(), rng(), n=90)), surface=surface)


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


# the axis through two orbits seen by a camera

LEAN = np.array([2e-3, -1e-3])
HEIGHTS_MM = (20.0, 100.0)
TILT_RAD = (8e-4, 5e-4)
"""Of the still target, about its x and its y."""
ASIDE = np.array([-0.4, 0.5])
U_SCALE = 0.1 / 60.0


def axis_scene(rng, *, same_view=True):
    """Both orbits in a frame that leans by an error, heights by a calliper."""
    tilt, scale = rng.normal(0, TILT_RAD), rng.normal(0, U_SCALE)
    orbits, views = [], []
    for height in HEIGHTS_MM:
        if not same_view:
            tilt = rng.normal(0, TILT_RAD)
        centre = np.array([12.0, -7.0]) + LEAN * height
        foot = centre - ASIDE * height  # where the ray meets the still target's paper
        centre = (1 + scale) * foot + ASIDE * (height + rng.normal(0, 0.1))
        centre += np.array([tilt[1], -tilt[0]]) * height
        points, sigma, angle = orbit_of(rng, centre=tuple(centre), n=9, arc=2 * np.pi, noise=0.01)
        orbits.append(target_orbit(points, sigma, angle))
        common = np.diag([TILT_RAD[1] ** 2, TILT_RAD[0] ** 2]) * height**2
        views.append(OrbitView(height, 0.1, ASIDE, common))
    tilt2 = tuple(one**2 for one in TILT_RAD) if same_view else None
    return axis_by_orbits(*orbits, tuple(views), tilt_rad2=tilt2, u_scale_rel=U_SCALE)


def axis_bars(*, same_view=True):
    def scene(rng):
        found = axis_scene(rng, same_view=same_view)
        return {
            "lean x": Bar(found.lean_x.rad - LEAN[0], found.lean_x.u_rad, found.lean_x.dof),
            "lean y": Bar(found.lean_y.rad - LEAN[1], found.lean_y.u_rad, found.lean_y.dof),
        }

    return scene


@pytest.mark.parametrize("same_view", [True, False])
def test_error_bar_of_an_axis_through_two_orbits(same_view):
    check_light(axis_bars(same_view=same_view))


def test_two_orbits_give_no_axis_where_there_is_none():
    good = target_orbit(*orbit_of(rng()))
    view = OrbitView(20.0, 0.1, ASIDE, np.eye(2) * 1e-4)
    assert not axis_by_orbits(good, good, (view, view), tilt_rad2=None)
    failed = SweepFailure("Too short.")
    assert axis_by_orbits(failed, good, (view, view), tilt_rad2=None) is failed


# what cannot be


def bad_calls():
    good = swept()
    failed, nowhere = SweepFailure("Too short."), fit_turn(turn(Work(), rng()))
    bore = swept("bore")
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
