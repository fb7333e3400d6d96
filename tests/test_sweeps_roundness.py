"""Four reference circles against a linear program, brute force and published answers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog, minimize
from sweep_error_bars import Bar, check_full, check_light
from sweep_making import Work, exact_angles, stops, turn

from sweeps import (
    REFERENCES,
    Allowance,
    SweepFailure,
    UnusableResultError,
    circle_of_points,
    fit_turn,
    roundness,
    roundness_of,
)
from sweeps.roundness import swept_trace

LIGHT = settings(max_examples=20, deadline=None)
TRACE = np.array(
    [16.496, 13.653, 10.085, 10.468, 11.847, 9.879, 6.568, 5.653, 6.157, 6.468, 8.847, 13.879]
)


def by_program(angle, radius, reference):
    """The same circle by scipy's HiGHS; (RONt, x, y)."""
    scale = np.ptp(radius)
    height = (radius - radius.mean()) / scale
    first = np.column_stack([np.cos(angle), np.sin(angle)])
    one, zero = np.ones((len(angle), 1)), np.zeros((len(angle), 1))
    outer, inner = np.hstack([-first, -one, zero]), np.hstack([first, zero, one])
    cost, rules, limits = {
        "MZC": ([0, 0, 1, -1], [outer, inner], [-height, height]),
        "MCC": ([0, 0, 1, 0], [outer], [-height]),
        "MIC": ([0, 0, 0, -1], [inner], [height]),
    }[reference]
    found = linprog(cost, A_ub=np.vstack(rules), b_ub=np.concatenate(limits), bounds=(None, None))
    centre = found.x[:2] * scale
    return np.ptp(radius - first @ centre), *centre


def trace_of(rng, n=720, noise=4e-4):
    angle = np.linspace(0, 2 * np.pi, n, endpoint=False) + rng.uniform(0, 1)
    lobes = sum(
        rng.normal(0, 0.01 / k) * np.cos(k * angle + rng.uniform(0, 6)) for k in range(1, 9)
    )
    return angle, 26 + lobes + rng.normal(0, noise, n)


@pytest.mark.parametrize("reference", ["MZC", "MCC", "MIC"])
@pytest.mark.parametrize("n", [13, 151, 719])  # odd: no two places opposite, one centre only
def test_the_linear_program_says_the_same(reference, n):
    rng = np.random.default_rng(n)
    for _ in range(6):
        angle, radius = trace_of(rng, n)
        found = roundness(angle, radius, reference)
        told = by_program(angle, radius, reference)
        assert (found.ront_mm, found.x_mm, found.y_mm) == pytest.approx(told, abs=1e-9)
        assert found.weights @ radius[found.contacts] == pytest.approx(found.ront_mm, abs=1e-9)


@pytest.mark.parametrize("reference", REFERENCES)
def test_weights_are_the_derivative_by_each_reading(reference):
    angle, radius = trace_of(np.random.default_rng(3), 60)
    found = roundness(angle, radius, reference)
    for place, weight in zip(found.contacts[:4], found.weights, strict=False):
        moved = radius.copy()
        moved[place] += 1e-7
        step = roundness(angle, moved, reference).ront_mm - found.ront_mm
        assert step / 1e-7 == pytest.approx(weight, abs=1e-5)


def test_places_touched_twice_and_a_round_trace():
    angle = np.radians([0, 90, 180, 270, 0, 90, 180, 270])
    radius = np.array([0, 1, 0, 1, 0.2, 1.1, 0.1, 1.0])
    found = roundness(angle, radius, "MZC")
    assert found.ront_mm == pytest.approx(by_program(angle, radius, "MZC")[0], abs=1e-9)
    for reference, size in (("MCC", np.max), ("MIC", np.min)):  # their centre is not unique here
        sizes = []
        for one in (roundness(angle, radius, reference), by_program(angle, radius, reference)):
            x, y = one[1:] if isinstance(one, tuple) else (one.x_mm, one.y_mm)
            sizes.append(size(radius - x * np.cos(angle) - y * np.sin(angle)))
        assert sizes[0] == pytest.approx(sizes[1], abs=1e-9)
    even = np.linspace(0, 6, 50)
    for reference in REFERENCES:
        assert roundness(even, 26 + 0.1 * np.cos(even), reference).ront_mm < 1e-12


BAD = {
    "three places": (np.zeros(3), np.zeros(3)),
    "not a number": (np.arange(6.0), np.full(6, np.nan)),
    "one place": (np.zeros(8), np.arange(8.0)),
    "two places": (np.tile([0, np.pi], 4), np.arange(8.0)),
    "unequal": (np.arange(6.0), np.arange(5.0)),
}


@pytest.mark.parametrize("reference", REFERENCES)
@pytest.mark.parametrize("name", BAD)
def test_bad_traces_fail_with_a_reason(name, reference):
    found = roundness(*BAD[name], reference)
    assert isinstance(found, SweepFailure)
    assert found.reason.endswith(".")
    with pytest.raises(UnusableResultError):
        _ = found.ront_mm


def test_a_circle_that_nothing_holds_is_refused():
    angle = np.radians(np.arange(0, 170, 5.0))
    for reference in ("MCC", "MIC"):
        assert "half a turn" in roundness(angle, np.cos(2 * angle), reference).reason
    assert roundness(angle, np.cos(2 * angle), "MZC")


# true points


def points_of(angle, radius, centre=(0.3, -0.2)):
    return np.array(centre) + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])


@pytest.mark.parametrize("seed", range(6))
def test_point_circles_are_optimal_by_a_general_search(seed):
    """scipy's Nelder-Mead from the found centre and around it finds nothing better."""
    angle, radius = trace_of(np.random.default_rng(seed), 90)
    points = points_of(angle, radius, (3.0, -2.0))

    def ends(centre):
        distance = np.linalg.norm(points - centre, axis=1)
        return distance.min(), distance.max()

    goals = {
        "MZC": lambda c: ends(c)[1] - ends(c)[0],
        "MCC": lambda c: ends(c)[1],
        "MIC": lambda c: -ends(c)[0],
    }
    for reference, goal in goals.items():
        found = circle_of_points(points, reference)
        centre = np.array([found.x, found.y])
        for away in ((0, 0), (0.01, 0), (0, 0.01), (-0.01, -0.01)):
            options = {"xatol": 1e-11, "fatol": 1e-13, "maxiter": 2000}
            search = minimize(goal, centre + away, method="Nelder-Mead", options=options)
            assert goal(centre) <= search.fun + 1e-12
        assert not goal(centre + np.array([1e-4, 1e-4])) <= goal(centre)
        assert found.ront == pytest.approx(np.ptp(np.linalg.norm(points - centre, axis=1)))


def test_points_and_limacon_agree_where_the_offset_is_small():
    angle, radius = trace_of(np.random.default_rng(1), 360)
    for reference in ("LSC", "MZC", "MCC"):
        # e²/2R of 0.02 mm on 26 mm is 8 nm
        flat = roundness(angle, radius, reference)
        true = circle_of_points(points_of(angle, radius, (0, 0)), reference)
        assert true.ront == pytest.approx(flat.ront_mm, abs=2e-5)


def test_an_oval_is_held_by_two_points_and_corners_by_exact_figures():
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    oval = np.column_stack([3 * np.cos(angle), 2 * np.sin(angle)])
    assert circle_of_points(oval, "MCC").radius == pytest.approx(3.0, abs=1e-12)
    assert circle_of_points(oval, "MZC").ront == pytest.approx(1.0, abs=1e-9)
    square = np.array([[1.0, 1], [-1, 1], [-1, -1], [1, -1]])
    for reference in REFERENCES:
        found = circle_of_points(square, reference)
        assert (found.x, found.y, found.radius) == pytest.approx((0, 0, 2**0.5), abs=1e-9)
    # right-angled: its hypotenuse is the diameter; equilateral: its circumcircle
    right = np.array([[0.0, 0], [3, 0], [0, 4]])
    assert circle_of_points(right, "MCC").radius == pytest.approx(2.5)
    flat_triangle = np.array([[0.0, 0], [4, 0], [2, 0.5]])
    assert not circle_of_points(flat_triangle, "MIC")
    assert not circle_of_points(flat_triangle, "MZC")


@pytest.mark.parametrize("reference", REFERENCES)
@pytest.mark.parametrize(
    "points",
    [np.zeros((2, 2)), np.zeros((9, 2)), np.full((5, 2), np.nan), np.outer(np.arange(5.0), [1, 2])],
)
def test_bad_points_fail_with_a_reason(points, reference):
    found = circle_of_points(points, reference)
    assert isinstance(found, SweepFailure)
    with pytest.raises(UnusableResultError):
        _ = found.ront


@LIGHT
@given(st.floats(-6, 6), st.floats(-3, 3), st.floats(0.2, 5), st.integers(0, 99))
def test_turned_shifted_and_scaled_traces_have_the_same_roundness(start, zero, factor, seed):
    angle, radius = trace_of(np.random.default_rng(seed), 91)
    for reference in REFERENCES:
        one = roundness(angle, radius, reference).ront_mm
        moved = radius + zero + 0.05 * np.cos(angle - start)
        assert roundness(angle, moved, reference).ront_mm == pytest.approx(one, abs=1e-9)
        assert roundness(start - angle, radius * factor, reference).ront_mm == pytest.approx(
            factor * one, abs=1e-9
        )


# of a fitted sweep

ONLY_FIT = Allowance(retrace_mm=0.0, lag_s=0.0, reader_common=0.0, reader_floor_mm=0.0)


def test_roundness_of_a_sweep_has_geometry_taken_off():
    work = Work(e_mm=0.2, oval_mm=0.005, lobe3_mm=0.002)
    sweep = turn(work, np.random.default_rng(2), noise_mm=2e-5)
    for surface in ("bore", "bar"):
        result = fit_turn(sweep, surface=surface)
        sign = -1 if surface == "bore" else 1
        angle = np.linspace(0, 2 * np.pi, 3600, endpoint=False)
        lobes = sign * (work.reading(angle) - work.e_mm * np.cos(angle - work.high_rad))
        for reference in REFERENCES:
            truth = roundness(angle, lobes, reference).ront_mm
            found = roundness_of(result, reference)
            assert found.ront_mm == pytest.approx(truth, abs=1.5e-4), reference
            assert found.ront_mm != pytest.approx(truth + 4.5e-4, abs=1.5e-4)
    assert not roundness_of(fit_turn(sweep))
    assert not roundness_of(fit_turn(sweep, surface="face"))


FINE_MM = 5e-5
"""Far below the form: the bias of extremes grows with the square of the scatter."""

SWEPT = {
    "whole turn": lambda work, rng: turn(work, rng, noise_mm=FINE_MM),
    "three quarters": lambda work, rng: turn(work, rng, arc_rad=np.radians(300), noise_mm=FINE_MM),
    "sixteen stops": lambda work, rng: stops(work, rng, per_turn=16, noise_mm=FINE_MM),
}


def swept_scene(swept):
    """One place highest and one lowest by far, so that the same ones decide every time."""
    work = Work(e_mm=0.05, oval_mm=0.02, oval_rad=1.8, lobe3_mm=0.01)

    def scene(rng):
        swept_now = exact_angles(SWEPT[swept](work, rng))
        result = fit_turn(swept_now, surface="bar", allowance=ONLY_FIT)
        angle, _ = swept_trace(result)
        truth = roundness(angle, work.reading(angle), "LSC").ront_mm
        found = roundness_of(result, "LSC")
        return Bar(found.ront_mm - truth, found.u_ront_mm, result.dof)

    return scene


def test_error_bar_of_roundness():
    check_light(swept_scene("whole turn"), count=200)


@pytest.mark.long
@pytest.mark.parametrize("swept", SWEPT)
def test_error_bar_of_roundness_in_full(swept):
    check_full(swept_scene(swept))
