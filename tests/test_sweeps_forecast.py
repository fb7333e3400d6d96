"""The least this dial could prove, said before the sweep, and the budget's named lines."""

from math import inf, nan, sqrt

import numpy as np
import pytest
from sweep_error_bars import Bar, check_full, check_light
from sweep_making import TYPICAL_MM, Work, stops, turn

from sweeps import (
    TERMS,
    Allowance,
    SweepFailure,
    combine,
    combine_turns,
    dial_plus_minus,
    dial_span,
    fit_turn,
    forecast,
    gain_line,
    leak_line,
    repeat_line,
    scale_line,
    warmth_line,
)

TURN = 0.3 + 2 * np.pi * np.linspace(0, 1, 150)
SENSES = ("anticlockwise", "clockwise")


def swept(rng, **how):
    return fit_turn(
        turn(Work(e_mm=0.01), rng, arc_rad=2 * np.pi, **how), surface="bar", u_dial_mm=0.001
    )


def test_said_before_is_found_after():
    rng = np.random.default_rng(1)
    said = forecast(TURN, TYPICAL_MM, at_mm=0.01, u_dial_mm=0.001)
    found = swept(rng)
    assert found.judge(0.01).least_provable_mm == pytest.approx(said.least_provable_mm, rel=0.03)
    both = forecast(TURN, TYPICAL_MM, at_mm=0.01, both_ways=True, u_dial_mm=0.001)
    assert both.least_provable_mm < said.least_provable_mm
    pair = combine_turns(*(swept(rng, sense=s) for s in SENSES))
    assert {line.name for line in both.budget} == {line.name for line in pair.budget}
    assert pair.judge(0.01).least_provable_mm <= 1.03 * both.least_provable_mm
    assert said.can_prove(1.01 * said.least_provable_mm)
    assert not said.can_prove(0.99 * said.least_provable_mm)


def test_stops_prove_less_and_three_prove_nothing():
    eight = forecast(np.arange(8) * np.pi / 4, 2e-5, kind="stops", u_dial_mm=0.001)
    four = forecast(np.arange(4) * np.pi / 2, 2e-5, kind="stops", u_dial_mm=0.001)
    three = forecast(np.arange(3) * 2 * np.pi / 3, 2e-5, kind="stops", u_dial_mm=0.001)
    assert eight.least_provable_mm < four.least_provable_mm < three.least_provable_mm == inf
    found = fit_turn(stops(Work(e_mm=1e-5), np.random.default_rng(2)), u_dial_mm=0.001)
    assert found.judge(0.01).least_provable_mm == pytest.approx(four.least_provable_mm, rel=0.02)
    half = forecast(np.linspace(0, np.pi, 80), TYPICAL_MM, u_dial_mm=0.001)
    assert half.least_provable_mm > eight.least_provable_mm


@pytest.mark.parametrize(
    "bad",
    [
        forecast([0.0, 1.0], 1e-4),
        forecast([1.0] * 9, 1e-4),
        forecast([0.0, 1.0, nan, 4.0], 1e-4),
        forecast(np.linspace(0, 1, 50), 1e-4),
        forecast(TURN, -1.0),
        forecast(TURN, nan),
        repeat_line([1.0]),
        repeat_line([1.0, nan]),
        scale_line(1.0, 0.0, 0.1),
    ],
)
def test_what_cannot_be_says_why(bad):
    assert isinstance(bad, SweepFailure)
    assert bad.reason.endswith(".")


def test_lines_by_their_names():
    """FIGURES 1.1 and 4: a span S is S/√12, a limit ± a is a/√3; 2.1: 1.15 µm per 100 mm K."""
    lines = [
        dial_span(0.010),
        dial_plus_minus(0.005),
        gain_line(-0.2, 0.01, 4),
        scale_line(0.2, 100.0, 0.2),
        warmth_line(100.0, 1.0),
        leak_line(0.004, 0.5),
        repeat_line([0.001, 0.003, 0.002]),
    ]
    expected = [0.01 / sqrt(12), 0.005 / sqrt(3), 0.002, 4e-4, 0.00115 / sqrt(3), 0.0014142, 0.001]
    assert [line.u_mm for line in lines] == pytest.approx(expected, rel=1e-4)
    assert [line.dof for line in lines] == [inf, inf, 4, inf, inf, inf, 2]
    assert {line.name for line in lines} <= set(TERMS)
    assert repeat_line([0.0, 0.002], mean_of=4).u_mm == pytest.approx(0.0014142 / 2, rel=1e-4)
    every = fit_turn(
        turn(Work(), np.random.default_rng(1)),
        u_dial_mm=0.001,
        allowance=Allowance(u_gain=0.01, temperature_mm=0.001, repeat_mm=0.001),
    )
    assert {line.name for line in every.budget} <= {*TERMS, "return"}


def setup_scene(rng):
    """A length set up six times by a lever, its own lines drawn as they are stated."""
    true_gain_error = rng.normal(0, 0.004)
    places = 0.2 + rng.normal(0, 0.0012, 6)
    warm = rng.uniform(-1, 1) * 150 * 11.5e-6
    found = places.mean() * (1 + true_gain_error) + warm + rng.uniform(-1, 1) * 0.001
    total = combine(
        [
            gain_line(places.mean(), 0.004, inf),
            repeat_line(places, mean_of=6),
            warmth_line(150.0, 1.0),
            dial_plus_minus(0.001),
        ]
    )
    return Bar(found - 0.2, total.u_mm, total.dof)


def test_the_combined_lines_error_bar():
    check_light(setup_scene)


@pytest.mark.long
def test_the_combined_lines_error_bar_in_full():
    check_full(setup_scene)
