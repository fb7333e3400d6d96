"""The reading to bring the needle to, and handwheels with backlash."""

from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sweep_error_bars import KINDS, Bar, check_full, check_light
from sweep_making import Work, bore_reading, played, turn

from calibration.handwheels import Handwheel
from readings import Sweep
from sweeps import (
    Allowance,
    SweepFailure,
    combine_turns,
    fit_turn,
    needle_goals,
    needle_target_mm,
    plan_moves,
    travel_from_needle,
    wheel_legs,
)

QUIET = Allowance(retrace_mm=0.0, lag_s=0.0, reader_common=0.0, reader_floor_mm=0.0)


def pair(work, rng, kind="full"):
    turns = [
        fit_turn(KINDS[kind](work, rng, sense=sense), surface="bar", allowance=QUIET)
        for sense in ("anticlockwise", "clockwise")
    ]
    return combine_turns(*turns)


def swept_bore(offset, retrace=0.0):
    """Two turns in a bore of 52 mm with a needle that has play."""
    results = []
    for sense, sign in (("anticlockwise", 1.0), ("clockwise", -1.0)):
        theta = sign * np.linspace(-0.5, 2 * np.pi * 1.1, 420)
        value = played(bore_reading(theta, offset, 26.0, 1.0) + 25.0, retrace)[20:]
        columns = (np.full(400, 1e-5), theta[20:], np.full(400, 1e-5))
        sweep = Sweep(np.arange(400) / 20, value, *columns, sense=sense)
        results.append(fit_turn(sweep, surface="bore", diameter_mm=52.0))
    return combine_turns(*results)


def test_following_the_needle_along_each_axis_centres_a_bore():
    """Simulated by exact contact geometry: the table goes until the dial shows the reading."""
    offset = np.array([0.12, -0.21])
    goals = needle_goals(swept_bore(offset), 0.005)
    assert [goal.axis for goal in goals] == ["y", "x"]
    for goal in goals:
        k, theta = (0, 0.0) if goal.axis == "x" else (1, np.pi / 2)
        for _ in range(4):
            shown = float(bore_reading(theta, offset, 26.0, 1.0)) + 25.0
            offset[k] += travel_from_needle(shown, goal.reading_mm, goal.axis, theta, "bore")
    assert np.hypot(*offset) < 3e-4
    assert [goal.move_mm for goal in goals] == pytest.approx([0.21, -0.12], abs=3e-4)


def test_the_needle_is_met_on_the_side_that_its_retrace_leaves_it():
    found = swept_bore(np.array([0.12, -0.21]), retrace=0.003)
    free = needle_target_mm(found, (), 0.0, "bore")
    assert needle_target_mm(found, (), 0.0, "bore", "rising") == pytest.approx(
        free - 0.0015, abs=1e-4
    )
    assert needle_target_mm(found, (), 0.0, "bore", "falling") == pytest.approx(
        free + 0.0015, abs=1e-4
    )


def test_fewest_moves():
    assert plan_moves(0.001, 0.002, 0.05) == ()
    assert plan_moves(0.001, 0.2, 0.05) == ("y",)
    assert plan_moves(-0.3, 0.2, 0.05) == ("x", "y")
    assert needle_goals(pair(Work(e_mm=0.001), np.random.default_rng(1)), 0.05) == ()
    assert needle_goals(SweepFailure("Too short."), 0.05).reason == "Too short."
    for tolerance in (0.0, -1.0, float("nan")):
        assert not needle_goals(pair(Work(), np.random.default_rng(1)), tolerance)


REST = {"x": 0.0, "y": np.pi / 2}
"""Where the stylus stands while an axis is moved."""


def goal_scene(kind, rng):
    """A worn bar: the reading told for each axis against what the dial would show there.

    The needle's side is left out: no retrace is drawn.
    """
    work = Work(high_rad=rng.uniform(0.3, 1.2), oval_mm=0.01, lobe3_mm=0.004)
    centred = Work(e_mm=0.0, oval_mm=0.01, lobe3_mm=0.004)
    found = pair(work, rng, kind)
    bars = {}
    for goal in needle_goals(found, 0.005):
        at = REST[goal.axis]
        told = needle_target_mm(found, (), at, "bar")
        half = np.pi / 4 * found.sideways_mm * (1 if goal.trend == "falling" else -1)
        assert goal.reading_mm - half == pytest.approx(told, abs=1e-12)
        bars[goal.axis] = Bar(told - float(centred.reading(at)), goal.u_mm, goal.dof)
    return bars


@pytest.mark.parametrize("kind", KINDS)
def test_the_goal_s_error_bar(kind):
    check_light(partial(goal_scene, kind), count=60)


@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_the_goal_s_error_bar_in_full(kind):
    check_full(partial(goal_scene, kind))


def test_no_reading_is_told_for_a_place_that_was_not_swept():
    rng = np.random.default_rng(1)
    turns = [
        fit_turn(
            turn(Work(high_rad=0.7), rng, arc_rad=1.5 * np.pi, start_rad=start, sense=sense),
            surface="bar",
        )
        for sense, start in (("anticlockwise", 0.3), ("clockwise", 0.3 + 1.5 * np.pi))
    ]
    found = needle_goals(combine_turns(*turns), 0.005)
    assert not found
    assert "did not pass the right" in found.reason


class Screw:
    """A slide that its screw pushes only when the slack is taken up; `way` it bears on."""

    def __init__(self, backlash_mm, way):
        self.backlash, self.slide = backlash_mm, 0.0
        self.nut = self.slide + (backlash_mm / 2 if way > 0 else -backlash_mm / 2)

    def turn(self, travel_mm):
        self.nut += travel_mm
        self.slide = min(
            max(self.slide, self.nut - self.backlash / 2), self.nut + self.backlash / 2
        )


@settings(max_examples=50, deadline=None)
@given(
    st.floats(-0.8, 0.8).filter(lambda m: abs(m) > 1e-3),
    st.floats(0.0, 0.3),
    st.sampled_from([-1, 1]),
    st.sampled_from([-1, 1, None]),
    st.sampled_from([-1, 1]),
)
def test_divisions_bring_the_slide_there_and_end_on_the_side_asked(
    move, backlash, came, finish, clockwise
):
    wheel = Handwheel("x", 4.0, 200, clockwise, backlash)
    screw = Screw(backlash, came)
    legs = wheel_legs(move, wheel, finish=finish, came=came)
    for leg in legs:
        way = clockwise if leg.turning == "clockwise" else -clockwise
        screw.turn(way * leg.divisions * wheel.mm_per_division)
    assert screw.slide == pytest.approx(move, abs=1e-5)
    assert np.sign(legs[-1].travel_mm) == (finish or np.sign(move))
    assert len(legs) <= 2


def test_unknown_slack_is_said_and_a_first_leg_goes_back():
    wheel = Handwheel("y", 4.0, 200)
    back, there = wheel_legs(0.1, wheel)
    assert back.travel_mm == pytest.approx(-0.15)
    assert there.travel_mm == pytest.approx(0.25)
    assert there.slack_divisions is None
    assert there.divisions == pytest.approx(12.5)
    assert wheel_legs(0.1, wheel, came=1)[0].divisions == pytest.approx(5.0)
    assert wheel_legs(0.0, wheel) == ()
    for bad in (float("nan"), float("inf")):
        assert not wheel_legs(bad, wheel)
    assert not wheel_legs(0.1, Handwheel("x", 4.0, 200, 1, float("nan")))
