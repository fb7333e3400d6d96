"""Circles, roundness, few points, budgets and verdicts against published answers."""

from math import inf

import numpy as np
import pytest
from scipy.optimize import least_squares

from sweeps import (
    BudgetLine,
    combine,
    coverage_factor,
    fit_circle,
    four_point,
    roundness,
    three_point,
    verdict,
)

GANDER = [(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)]
COOKBOOK = list(zip([9, 35, -13, 10, 23, 0], [34, 10, 6, -14, 27, -10], strict=True))
COOKBOOK_ARC = list(zip([36, 36, 19, 18, 33, 26], [14, 10, 28, 31, 18, 26], strict=True))


@pytest.mark.parametrize(
    ("points", "x", "y", "radius", "rss"),
    [
        # W. Gander, G. H. Golub, R. Strebel, BIT 34 (1994) 558
        (GANDER, 4.7398, 2.9835, 4.7142, 1.227599),
        # SciPy Cookbook, "Least Squares Circle"
        (COOKBOOK, 10.50009, 9.65995, 23.33353, 7.711852),
        (COOKBOOK_ARC, 9.88757, 3.68750, 27.35044, 4.042522),
    ],
)
def test_published_circles(points, x, y, radius, rss):
    fit = fit_circle(np.array(points, dtype=float))
    assert (fit.x, fit.y, fit.radius) == pytest.approx((x, y, radius), abs=6e-5)
    assert fit.rss == pytest.approx(rss, abs=2e-6)
    assert fit.x != pytest.approx(x + 3 * 6e-05, abs=6e-05)


def test_circle_agrees_with_scipy_on_a_quarter_arc_and_its_covariance_is_honest():
    rng = np.random.default_rng(3)
    theta = np.linspace(0.2, 1.8, 60)
    clean = np.array([5.0, -3.0]) + 26 * np.column_stack([np.cos(theta), np.sin(theta)])
    points = clean + rng.normal(0, 0.002, clean.shape)
    fit = fit_circle(points)
    found = least_squares(
        lambda p: np.hypot(*(points - p[:2]).T) - p[2], (5, -3, 26), xtol=1e-15, ftol=1e-15
    )
    assert (fit.x, fit.y, fit.radius) == pytest.approx(found.x, abs=1e-6)
    z = []
    for _ in range(200):
        trial = fit_circle(clean + rng.normal(0, 0.002, clean.shape))
        z.append((trial.radius - 26) / np.sqrt(trial.covariance[2, 2]))
    assert 0.85 < np.std(z) < 1.2


@pytest.mark.parametrize(
    "points",
    [
        np.zeros((2, 2)),
        np.ones((9, 2)),
        np.column_stack([np.arange(9.0), 2 * np.arange(9.0)]),
        np.array([[0, 0], [1, np.nan], [2, 1.0]]),
    ],
)
def test_no_circle_says_why(points):
    fit = fit_circle(points)
    assert not fit
    assert fit.reason


TRACE = np.array(
    [16.496, 13.653, 10.085, 10.468, 11.847, 9.879, 6.568, 5.653, 6.157, 6.468, 8.847, 13.879]
)


@pytest.mark.parametrize(
    ("reference", "ront"), [("LSC", 6.411), ("MZC", 5.4153), ("MCC", 7.5362), ("MIC", 6.7836)]
)
def test_roundness_of_the_published_trace(reference, ront):
    """FIGURES 3.3: twelve points, four reference circles (linear programs of their own)."""
    found = roundness(np.radians(30.0 * np.arange(12)), TRACE, reference)
    assert found.ront_mm == pytest.approx(ront, abs=1e-3)
    if reference == "MZC":
        assert (found.x_mm, found.y_mm) == pytest.approx((3.6533, 0.9595), abs=1e-3)


def test_minimum_zone_is_never_wider_than_any_other():
    rng = np.random.default_rng(1)
    for _ in range(20):
        theta = np.sort(rng.uniform(0, 6.28, 40))
        trace = rng.normal(0, 1, 40)
        least = roundness(theta, trace, "MZC").ront_mm
        others = [roundness(theta, trace, r).ront_mm for r in ("LSC", "MIC", "MCC")]
        assert least <= min(others) + 1e-9
    assert not roundness(np.zeros(3), np.zeros(3))


def test_four_point_rule_and_its_published_worked_check():
    """12, 3, 6, 9 o'clock 0 / +34.6 / +29.5 / -5.8: opposite sums 29.5 against 28.8.

    An alignment maker's worked example of the validity rule (FIGURES 2.1).
    """
    up, right, down, left = 0.0, 34.6, 29.5, -5.8
    rule = four_point(right, up, left, down, surface="boss")
    assert rule.closure_mm == pytest.approx(28.8 - 29.5)
    assert (rule.offset_x_mm, rule.offset_y_mm) == pytest.approx((20.2, -14.75))
    bore = four_point(right, up, left, down, surface="bore")
    assert (bore.offset_x_mm, bore.offset_y_mm) == pytest.approx((-20.2, 14.75))


def test_three_points_find_the_same_offset_where_the_work_is_round():
    theta = np.radians([0, 120, 240])
    r = 0.3 + 0.04 * np.cos(theta) - 0.07 * np.sin(theta)
    rule = three_point(*r, surface="boss")
    assert (rule.offset_x_mm, rule.offset_y_mm) == pytest.approx((0.04, -0.07))


def test_gum_h1_end_gauge_budget():
    """JCGM 100:2008, H.1: contributions 25, 9.7, 2.9, 16.6 nm; u 32 nm, ν 16, U99 93 nm."""
    mm = 1e-6
    lines = [
        BudgetLine("standard", 25.0 * mm, 18),
        BudgetLine("difference", 9.7 * mm, 25.6),
        BudgetLine("expansion difference", 2.9 * mm, 50),
        BudgetLine("temperature difference", 16.6 * mm, 2),
    ]
    total = combine(lines)
    assert total.u_mm / mm == pytest.approx(31.7, abs=0.05)
    assert total.dof == pytest.approx(16.7, abs=0.1)
    assert coverage_factor(0.995, 16) == pytest.approx(2.92, abs=0.005)
    assert coverage_factor(0.995, 16) * total.u_mm / mm == pytest.approx(93, abs=0.7)


def test_verdict_has_three_answers_and_says_the_least_it_could_prove():
    """ISO 14253-1:2017: one-sided guard band of 1.645 u at 95 %."""
    assert verdict(0.001, 0.002, 0.005).word == "inside"
    assert verdict(0.003, 0.002, 0.005).word == "cannot tell"
    assert verdict(0.007, 0.002, 0.005).word == "cannot tell"
    assert verdict(0.009, 0.002, 0.005).word == "outside"
    assert verdict(0.0, 0.002, 0.005).guard_mm == pytest.approx(0.00329, abs=1e-5)
    assert verdict(0.0, 0.002, 0.003).word == "cannot tell"
    assert verdict(0.0, 0.002, 0.005).least_provable_mm == verdict(0.0, 0.002, 9).guard_mm
    assert verdict(0.0, 0.002, 0.005, dof=2).guard_mm > 0.005
    for u in (None, inf, float("nan")):
        assert verdict(0.0, u, 1.0).word == "cannot tell"
    assert verdict(float("nan"), 0.001, 1.0).word == "cannot tell"


def test_guard_band_keeps_its_promise():
    """A bore just out of tolerance is called inside at most one time in twenty."""
    rng = np.random.default_rng(9)
    measured = 0.005 + rng.normal(0, 0.001, 4000)
    wrong = sum(verdict(abs(v), 0.001, 0.005).word == "inside" for v in measured)
    assert 0.035 < wrong / 4000 < 0.065
