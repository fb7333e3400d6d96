"""Error bars of a centring: offset by a turn each way, TIR, lobes, mean; and few-point rules."""

import numpy as np
import pytest
from sweep_error_bars import Bar, check_full, check_light, joint
from sweep_making import Work, exact_angles, stops, turn

from sweeps import Allowance, combine_turns, fit_turn, four_point, lobing_factor, runout

ONLY_FIT = Allowance(
    retrace_mm=0.0, lag_s=0.0, form2_mm=0.0, reader_common=0.0, reader_floor_mm=0.0
)
ARCS = {"whole turns": 2 * np.pi * 1.05, "three quarters": np.radians(280)}


def centring_scene(arc):
    """A turn each way; form only where the arc carries it (none is allowed for here)."""
    oval_mm = 0.01 if arc > 6 else 0.0

    def one_turn(work, rng, sense):
        sweep = exact_angles(turn(work, rng, n=90, arc_rad=arc, sense=sense))
        return fit_turn(sweep, surface="bore", allowance=ONLY_FIT)

    def scene(rng):
        work = Work(e_mm=rng.uniform(0.05, 0.2), high_rad=rng.uniform(0, 6.28), oval_mm=oval_mm)
        each = [one_turn(work, rng, sense) for sense in ("anticlockwise", "clockwise")]
        both, first = combine_turns(*each), each[0]
        true = -work.e_mm * np.array([np.cos(work.high_rad), np.sin(work.high_rad)])
        away = np.array([both.offset_x_mm, both.offset_y_mm]) - true
        u_mm = np.sqrt(np.diag(both.shape_covariance))
        bars = {
            "x": Bar(away[0], np.sqrt(both.covariance[0, 0]), both.dof_total),
            "y": Bar(away[1], np.sqrt(both.covariance[1, 1]), both.dof_total),
            "both": joint(away, both.covariance, 2 * both.dof_total),
            "size": Bar(both.eccentricity_mm - work.e_mm, both.u_total_mm, both.dof_total),
            "mean": Bar(first.mean_mm - work.constant_mm, first.covariance[0, 0] ** 0.5, first.dof),
        }
        if oval_mm:
            second = oval_mm * np.cos(work.oval_rad)
            bars["lobe"] = Bar(both.shape_values_mm[3] - second, u_mm[3], both.dof_total)
        return bars

    return scene


def test_error_bar_of_a_turn_each_way():
    check_light(centring_scene(ARCS["three quarters"]), count=150)


@pytest.mark.long
@pytest.mark.parametrize("arc", ARCS)
def test_error_bar_of_a_turn_each_way_in_full(arc):
    check_full(centring_scene(ARCS[arc]))


def tir_scene(how):
    """An offset with one lobe pair: one place highest, one lowest by far."""
    angle = np.linspace(0, 2 * np.pi, 3600)

    def scene(rng):
        work = Work(e_mm=0.1, high_rad=rng.uniform(0, 6.28), oval_mm=0.004)
        if how == "whole turn":
            sweep = exact_angles(turn(work, rng, n=90, noise_mm=5e-5))
        else:
            sweep = stops(work, rng, per_turn=16, noise_mm=5e-5)
        found = runout(fit_turn(sweep, surface="bar", allowance=ONLY_FIT))
        return Bar(found.tir_mm - np.ptp(work.reading(angle)), found.u_tir_mm, found.dof)

    return scene


@pytest.mark.long
@pytest.mark.parametrize("how", ["whole turn", "sixteen stops"])
def test_error_bar_of_tir_in_full(how):
    check_full(tir_scene(how))


def test_of_a_pure_offset_tir_is_twice_the_eccentricity():
    """ISO 230-1: for pure offset TIR = 2e."""
    found = runout(fit_turn(turn(Work(e_mm=0.1), np.random.default_rng(1), noise_mm=1e-6)))
    assert found.tir_mm == pytest.approx(2 * found.eccentricity_mm, rel=1e-4)


def test_second_sensor_of_the_published_validity_rule():
    """0 / 29.1 / 43.3 / 14.8: opposite sums 43.3 against 43.9 (an alignment maker's example)."""
    rule = four_point(29.1, 0.0, 14.8, 43.3, surface="boss")
    assert rule.closure_mm == pytest.approx(43.9 - 43.3)


def test_three_and_five_lobes_fold_into_four_places_and_two_shows_in_the_closure():
    """k aliases onto |k - 4m|: 3 and 5 onto 1 unseen; only 2 is seen by the opposite sums."""
    angle = np.radians([0, 90, 180, 270])
    for order, offset, closure in ((3, 1.0, 0.0), (5, 1.0, 0.0), (2, 0.0, 4.0)):
        rule = four_point(*np.cos(order * angle), surface="boss")
        assert rule.offset_x_mm == pytest.approx(offset, abs=1e-12)
        assert rule.closure_mm == pytest.approx(closure, abs=1e-12)


LOBING = {
    60: "0 3 0 0 3 0 0 3 0 0 3 0 3",
    72: "0.47 2.62 -0.38 1 2.38 -0.62 1.53 2 -0.70 2 1.53 -0.62 1",
    90: "1 2 -0.41 2 1 0 2.41 0 1 2 -0.41 2 0",
    108: "1.38 1.38 0 2.24 0 1.38 1.38 0 2.24 0 1.38 1.38 2.24",
    120: "1.58 1 0.42 2 -0.15 2 0.42 1 1.58 0 2.15 0 1",
    180: "2 0 2 0 2 0 2 0 2 0 2 0 0",
}
ORDERS = [*range(2, 14), 15]


@pytest.mark.parametrize("vee_deg", LOBING)
def test_lobing_factors_of_a_vee_block(vee_deg):
    """The summit set-up of ISO 4292, indicator on the bisector; 180 degrees is two-point."""
    found = [lobing_factor(order, np.radians(vee_deg)) for order in ORDERS]
    assert found == pytest.approx([float(v) for v in LOBING[vee_deg].split()], abs=6e-3)


@pytest.mark.parametrize("vee_deg", [60, 90, 120])
@pytest.mark.parametrize("order", [2, 3, 5])
def test_lobing_factor_is_what_a_part_does_that_is_turned_in_a_vee(vee_deg, order):
    """Second road: a support function rests on both flanks; the summit's tangent is read."""
    half, a = np.radians(vee_deg) / 2, 1e-4
    turned = np.linspace(0, 2 * np.pi, 720, endpoint=False)

    def support(direction):
        return 1 + a * np.cos(order * (direction - turned))

    # flanks touch at directions -90° ± (90° - half); the centre settles until both touch
    left, right = -np.pi / 2 - (np.pi / 2 - half), -np.pi / 2 + (np.pi / 2 - half)
    rise = (support(left) + support(right)) / 2 / np.sin(half)
    read = rise + support(np.pi / 2)
    assert np.ptp(read) / (2 * a) == pytest.approx(
        abs(lobing_factor(order, np.radians(vee_deg))), abs=1e-3
    )
