"""One turn each way: free of retrace and lag."""

import numpy as np
import pytest
from sweep_making import Work, bore_reading, played, turn

from readings import Sweep
from sweeps import Allowance, combine_turns, fit_turn

SENSES = ("anticlockwise", "clockwise")


def both_ways(offset=(0.05, -0.03), retrace=0.003, lag_rad=0.0, seed=1, diameter=52.0, noise=1e-4):
    rng, results = np.random.default_rng(seed), []
    for sense, sign in (("anticlockwise", 1.0), ("clockwise", -1.0)):
        theta = sign * np.linspace(-0.5, 2 * np.pi * 1.1, 420)
        reading = played(bore_reading(theta - sign * lag_rad, offset, 26.0, 1.0), retrace)
        keep = slice(20, None)  # slack taken up on the way in
        value = reading[keep] + rng.normal(0, noise, 400)
        sweep = Sweep(
            np.arange(400) / 20, value, np.full(400, noise), theta[keep], np.full(400, 1e-4),
            sense=sense,
        )  # fmt: skip
        results.append(fit_turn(sweep, surface="bore", diameter_mm=diameter))
    return results


def test_mean_is_free_of_retrace_and_lag_and_half_the_difference_is_theirs():
    one, other = both_ways()
    both = combine_turns(one, other)
    # what is left is what retrace takes off the size, 16/(3 pi) (h/2e)^1.5 of it
    e = np.hypot(0.05, 0.03)
    size = e * (1 - 16 / (3 * np.pi) * (0.003 / (2 * e)) ** 1.5)
    assert both.eccentricity_mm == pytest.approx(size, abs=5e-5)
    assert both.offset_y_mm / both.offset_x_mm == pytest.approx(-0.6, abs=3e-3)
    assert e - both.eccentricity_mm < 2 * both.u_total_mm
    assert both.sideways_mm == pytest.approx(2 * 0.003 / np.pi, rel=0.05)
    single = np.hypot(one.offset_x_mm - 0.05, one.offset_y_mm + 0.03)
    assert single > 4 * np.hypot(both.offset_x_mm - 0.05, both.offset_y_mm + 0.03)
    lagged = combine_turns(*both_ways(retrace=0.0, lag_rad=0.02))
    assert lagged.sideways_mm == pytest.approx(0.02 * np.hypot(0.05, 0.03), rel=0.1)
    assert (lagged.offset_x_mm, lagged.offset_y_mm) == pytest.approx((0.05, -0.03), abs=1e-4)


def test_sideways_stands_at_right_angles():
    both = combine_turns(*both_ways(retrace=0.0, lag_rad=0.02))
    along = both.sideways_x_mm * both.offset_x_mm + both.sideways_y_mm * both.offset_y_mm
    assert abs(along) < 0.1 * both.sideways_mm * both.eccentricity_mm


def test_ovality_of_the_work_survives_and_geometry_does_not():
    round_bore = combine_turns(*both_ways(offset=(0.5, 0.2), retrace=0.0))
    assert round_bore.ovality_mm < 5e-5
    assert combine_turns(*both_ways(diameter=None)).ovality_mm is None
    rng = np.random.default_rng(2)
    results = [
        fit_turn(turn(Work(oval_mm=0.02), rng, sense=s), surface="bore", diameter_mm=52.0)
        for s in ("anticlockwise", "clockwise")
    ]
    assert combine_turns(*results).ovality_mm == pytest.approx(0.02, abs=4e-4)


def test_shape_is_the_reading_to_bring_the_needle_to():
    both = combine_turns(*both_ways(offset=(0.3, 0.1)))
    theta = np.linspace(0, 2 * np.pi, 13)
    assert both.shape_mm(theta) == pytest.approx(-25.0, abs=4e-4)
    assert both.shape_mm(0.0).shape == ()
    assert both.curve_mm(theta) == pytest.approx(
        bore_reading(theta, (0.3, 0.1), 26.0, 1.0), abs=3e-3
    )


def test_budget_adds_up_and_loses_the_one_way_lines():
    both = combine_turns(*both_ways())
    names = [line.name for line in both.budget]
    assert names == ["fit", "reader", "roundness", "retrace"]
    assert both.u_total_mm == pytest.approx(
        np.sqrt(sum(line.u_mm**2 for line in both.budget)), rel=1e-12
    )
    assert "one way only" not in both.flags
    assert both.judge(0.1).word == "inside"
    assert both.judge(0.01).word == "outside"


def test_covariance_of_the_mean_is_honest():
    square = []
    for seed in range(60):
        one, other = both_ways(retrace=0.0, seed=seed)
        both = combine_turns(one, other)
        fit = (one.covariance[1:3, 1:3] + other.covariance[1:3, 1:3]) / 4
        away = np.array([both.offset_x_mm - 0.05, both.offset_y_mm + 0.03])
        square.append(away @ np.linalg.solve(fit, away))
        assert both.covariance[0, 0] > fit[0, 0]
    assert 0.7 < np.mean(square) / 2 < 1.4


def test_turns_over_different_surfaces_do_not_mix():
    one, _ = both_ways()
    _, other = both_ways(diameter=47.0)
    with pytest.raises(ValueError, match="same surface"):
        combine_turns(one, other)
    rng = np.random.default_rng(1)
    face = fit_turn(turn(Work(), rng), surface="face")
    with pytest.raises(ValueError, match="no centre"):
        combine_turns(face, face)


def test_what_is_stated_does_not_average_out_over_two_turns():
    rng, stated = np.random.default_rng(3), Allowance(u_gain=0.02, repeat_mm=0.002)
    pairs = [
        [fit_turn(turn(Work(), rng, sense=s), surface="bore", allowance=a) for s in SENSES]
        for a in (Allowance(), stated)
    ]
    plain, more = (combine_turns(*pair) for pair in pairs)
    names = [line.name for line in more.budget]
    assert names == ["fit", "reader", "roundness", "retrace", "lever gain", "repeatability"]
    grown = np.linalg.eigvalsh(more.covariance)
    assert grown[0] > 0.9 * np.linalg.eigvalsh(plain.covariance)[0] + 4e-6
    assert more.u_total_mm**2 - plain.u_total_mm**2 == pytest.approx(4e-6 + 0.003**2, rel=0.1)
