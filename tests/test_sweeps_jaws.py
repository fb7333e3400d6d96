"""Truing held work by following the advice on a chuck that obeys its own geometry."""

from functools import partial
from math import nan, radians

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from sweep_error_bars import KINDS, Bar, check_full, check_light
from sweep_making import Work, turn

from sweeps import Allowance, SweepFailure, fit_turn, four_jaw, nudge, scroll_packing

QUIET = Allowance(retrace_mm=0.0, lag_s=0.0, reader_common=0.0, reader_floor_mm=0.0, form2_mm=0.0)


def swept(e, high_rad, surface="bar", n=60):
    rng = np.random.default_rng(1)
    work = Work(e_mm=e, high_rad=high_rad)
    sweep = turn(work, rng, n=n, arc_rad=2 * np.pi, noise_mm=1e-6)
    return fit_turn(sweep, surface=surface, allowance=QUIET)


def clean(e, high_deg, **kwargs):
    sweep = turn(
        Work(e_mm=e, high_rad=radians(high_deg), **kwargs), np.random.default_rng(1), noise_mm=1e-7
    )
    return fit_turn(sweep, surface="bar", allowance=QUIET)


def test_opposite_jaws_share_half_their_difference():
    """Common practice: half the difference of opposite jaws, high one tightened."""
    work = Work(e_mm=0.2, high_rad=radians(60), oval_mm=0.0)
    found = clean(0.2, 60)
    plan = four_jaw(found, jaw1_deg=10.0, tolerance_mm=0.01, pitch_mm=2.0)
    at = [float(work.reading(radians(10 + 90 * k))) for k in range(4)]
    assert [(s.slacken, s.tighten) for s in plan.steps] == [(4, 2), (3, 1)]
    assert plan.steps[0].move_mm == pytest.approx((at[1] - at[3]) / 2, abs=1e-5)
    assert plan.steps[1].move_mm == pytest.approx((at[0] - at[2]) / 2, abs=1e-5)
    assert plan.steps[0].turns == pytest.approx(plan.steps[0].move_mm / 2)
    assert plan.steps[0].reading_mm == pytest.approx((at[1] + at[3]) / 2, abs=1e-5)
    assert plan.steps[0].at_deg == pytest.approx(100.0)


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 360), st.floats(0, 360), st.booleans(), st.sampled_from(["bar", "bore"]))
def test_following_the_jaws_trues_the_work(high, jaw1, clockwise, surface):
    """The work moves away from the jaw that is tightened, by what its screw travels."""
    sign = -1.0 if surface == "bore" else 1.0
    offset = sign * 0.15 * np.array([np.cos(radians(high)), np.sin(radians(high))])
    found = swept(0.15, radians(high), surface=surface, n=80)
    plan = four_jaw(found, jaw1_deg=jaw1, tolerance_mm=0.005, clockwise=clockwise)
    for step in plan.steps:
        turned = (-90 if clockwise else 90) * (step.tighten - 1)
        angle = radians(jaw1 + turned)
        assert abs(step.slacken - step.tighten) == 2
        assert np.cos(radians(step.at_deg) - angle) == pytest.approx(1.0)
        offset = offset - step.move_mm * np.array([np.cos(angle), np.sin(angle)])
    assert np.hypot(*offset) < 0.15 * 0.005 * 2**0.5 + 3e-4
    assert [s.move_mm for s in plan.steps] == sorted((s.move_mm for s in plan.steps), reverse=True)


def test_fewest_jaws_and_the_shape_of_the_work_stays():
    found = clean(0.2, 10.0, oval_mm=0.01)
    plan = four_jaw(found, jaw1_deg=10.0, tolerance_mm=0.02)
    assert [(s.slacken, s.tighten) for s in plan.steps] == [(3, 1)]
    assert plan.steps[0].turns is None
    expected = Work(e_mm=0.0, oval_mm=0.01).reading(radians(10.0))
    assert plan.steps[0].reading_mm == pytest.approx(float(expected), abs=1e-4)
    assert four_jaw(clean(0.001, 10.0), jaw1_deg=0.0, tolerance_mm=0.05).steps == ()


@pytest.mark.parametrize("surface", ["bar", "bore"])
def test_one_nudge_from_the_side_where_the_work_lies_out(surface):
    found = swept(0.08, radians(70), surface=surface, n=100)
    push = nudge(found, tolerance_mm=0.01)
    assert push.stylus_deg == pytest.approx(70.0, abs=0.1)
    assert push.push_at_deg == pytest.approx(250.0 if surface == "bore" else 70.0, abs=0.1)
    assert push.now_mm - push.reading_mm == pytest.approx(0.08, abs=1e-4)
    assert push.reading_mm == pytest.approx(0.07, abs=1e-4)
    assert push.worth
    assert not nudge(swept(0.001, 1.0), tolerance_mm=0.05).worth


def test_packing_one_jaw_of_three_is_one_and_a_half_times_the_throw():
    """Common practice for turning an eccentric in a three-jaw chuck: packing 1.5 × throw."""
    packing = scroll_packing(clean(0.2, 30.0), jaw1_deg=30.0)
    assert packing.thickness_mm == pytest.approx((0.3, 0.0, 0.0), abs=1e-4)
    across = scroll_packing(clean(0.2, 90.0), jaw1_deg=30.0)
    assert across.thickness_mm == pytest.approx((0.3, 0.3, 0.0), abs=1e-4)


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 360), st.floats(0, 360), st.integers(3, 6))
def test_packing_against_a_linear_program(high, jaw1, jaws):
    """Least packing, none below zero, that gives the move: solved by HiGHS as well."""
    found = clean(0.1, high)
    packing = scroll_packing(found, jaw1_deg=jaw1, jaws=jaws)
    move = -np.array([found.offset_x_mm, found.offset_y_mm])
    angles = np.radians(jaw1) + 2 * np.pi * np.arange(jaws) / jaws
    along = np.column_stack([np.cos(angles), np.sin(angles)]) @ move
    equal = np.column_stack([np.eye(jaws), -np.ones(jaws)])
    cost = np.append(np.ones(jaws), 0.0)
    bounds = [(0, None)] * jaws + [(None, None)]
    best = linprog(cost, A_eq=equal, b_eq=-along, bounds=bounds)
    assert packing.thickness_mm == pytest.approx(best.x[:jaws], abs=1e-6)
    assert min(packing.thickness_mm) == 0.0


def jaw_scene(kind, rng):
    """A bar swept: each pair's move, the nudge and one packing against truth."""
    high = rng.uniform(0.3, 1.2)
    sweep = KINDS[kind](Work(e_mm=0.15, high_rad=high), rng)
    found = fit_turn(sweep, surface="bar", allowance=QUIET)
    plan = four_jaw(found, jaw1_deg=0.0, tolerance_mm=0.005)
    true = {1: 0.15 * np.cos(high), 2: 0.15 * np.sin(high)}
    push = nudge(found, tolerance_mm=0.005)
    pack = scroll_packing(found, jaw1_deg=0.0)
    along = -0.15 * np.cos(high - 2 * np.pi / 3 * np.arange(3))
    thick = int(np.argmin(along))
    return {
        **{
            f"pair {s.tighten}": Bar(s.move_mm - true[s.tighten], s.u_mm, plan.dof)
            for s in plan.steps
        },
        "nudge": Bar(push.move_mm - 0.15, push.u_mm, push.dof),
        "side": Bar(push.push_at_deg - np.degrees(high), push.u_push_deg, push.dof),
        "packing": Bar(pack.thickness_mm[thick] - np.ptp(along), pack.u_mm[thick], pack.dof),
    }


@pytest.mark.parametrize("kind", KINDS)
def test_the_jaws_error_bars(kind):
    check_light(partial(jaw_scene, kind), count=100)


@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_the_jaws_error_bars_in_full(kind):
    check_full(partial(jaw_scene, kind))


def test_what_cannot_be_says_why():
    found, none = clean(0.1, 20.0), SweepFailure("Too short.")
    without = fit_turn(turn(Work(), np.random.default_rng(1)))
    for bad in (
        four_jaw(none, jaw1_deg=0.0, tolerance_mm=0.01),
        four_jaw(without, jaw1_deg=0.0, tolerance_mm=0.01),
        four_jaw(found, jaw1_deg=nan, tolerance_mm=0.01),
        four_jaw(found, jaw1_deg=0.0, tolerance_mm=0.0),
        four_jaw(found, jaw1_deg=0.0, tolerance_mm=0.01, pitch_mm=0.0),
        nudge(none, tolerance_mm=0.01),
        nudge(without, tolerance_mm=0.01),
        nudge(found, tolerance_mm=nan),
        scroll_packing(none, jaw1_deg=0.0),
        scroll_packing(found, jaw1_deg=0.0, jaws=2),
        scroll_packing(found, jaw1_deg=nan),
    ):
        assert isinstance(bad, SweepFailure)
        assert bad.reason.endswith(".")
