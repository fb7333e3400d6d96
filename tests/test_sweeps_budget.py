"""Budgets by two roads against the GUM's own example, and verdicts with guard bands."""

from math import inf, nan, sqrt

import numpy as np
import pytest
import uncertainties
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import arcsine, kstest, norm, triang, uniform
from scipy.stats import t as student
from sweep_making import Work, turn

from sweeps import (
    Arcsine,
    BudgetLine,
    Input,
    Rectangular,
    Student,
    Triangular,
    combine,
    fit_turn,
    monte_carlo,
    propagate,
    propagate_monte_carlo,
    resolution,
    roads_agree,
    shares,
    span,
    verdict,
    verdict_between,
)

NM = 1e-6
"""A nanometre in mm."""


def end_gauge(v):
    """JCGM 100:2008, H.1: l = l_s + d - l_s (δα θ + α_s δθ); rows in that order."""
    standard, difference, alpha, theta, d_alpha, d_theta = v
    return standard + difference - standard * (d_alpha * theta + alpha * d_theta)


H1 = [
    Input("standard", 50.000623, Student(25 * NM, 18)),
    Input("difference", 215 * NM, Student(9.7 * NM, 25.6)),
    Input("expansion", 11.5e-6, Student(1.2e-6)),
    Input("temperature", -0.1, Student(0.41)),
    Input("expansion difference", 0.0, Student(0.58e-6, 50)),
    Input("temperature difference", 0.0, Student(0.029, 2)),
]


def nine_inputs(v):
    """JCGM 101:2008, 9.5.2: the difference in three parts, the temperature in two."""
    standard, mean, one, two, alpha, theta, swing, d_alpha, d_theta = v
    return standard + mean + one + two - standard * (d_alpha * (theta + swing) + alpha * d_theta)


NINE = [
    Input("standard", 50.000623, Student(25 * NM, 18)),
    Input("difference", 215 * NM, Student(6 * NM, 24)),
    Input("comparator, random", 0.0, Student(4 * NM, 5)),
    Input("comparator, systematic", 0.0, Student(7 * NM, 8)),
    Input("expansion", 11.5e-6, Rectangular(2e-6)),
    Input("temperature", -0.1, Student(0.2)),
    Input("swing", 0.0, Arcsine(0.5)),
    Input("expansion difference", 0.0, Rectangular(1e-6, doubt=0.1e-6)),
    Input("temperature difference", 0.0, Rectangular(0.050, doubt=0.025)),
]


def test_gum_h1_from_its_inputs():
    """JCGM 100:2008, H.1.3 to H.1.7: contributions, 32 nm, ν 16, U99 93 nm, 34 nm."""
    found = propagate(end_gauge, H1)
    parts = {line.name: line.u_mm / NM for line in found.lines}
    expected = dict(zip((i.name for i in H1), (25, 9.7, 0, 0, 2.9, 16.6), strict=True))
    assert parts == pytest.approx(expected, abs=0.08)
    assert found.value == pytest.approx(50.000838, abs=1e-9)
    assert found.combined.u_mm / NM == pytest.approx(31.71, abs=0.02)
    assert found.combined.dof == pytest.approx(16.66, abs=0.03)
    cut = combine([BudgetLine("", found.combined.u_mm, int(found.combined.dof))])
    assert cut.expanded_mm(0.99) / NM == pytest.approx(92.6, abs=0.1)
    assert found.u_second_order / NM == pytest.approx(33.9, abs=0.05)


def test_gum_h1_by_monte_carlo_and_the_roads_do_not_agree():
    """JCGM 101:2008, 9.5.4: 838 nm, u 36 nm, shortest 99 % interval [745, 932] nm."""
    rng = np.random.default_rng(1)
    drawn = propagate_monte_carlo(nine_inputs, NINE, rng, draws=300_000, probability=0.99)
    assert (drawn.value - 50) / NM == pytest.approx(838, abs=0.3)
    assert drawn.u / NM == pytest.approx(36, abs=0.5)
    assert [(end - 50) / NM for end in drawn.shortest] == pytest.approx([745, 932], abs=2.0)
    assert not roads_agree(propagate(nine_inputs, NINE), drawn)


def test_the_roads_agree_where_the_model_is_a_sum_of_normal_inputs():
    """JCGM 101:2008, 9.2.2: four inputs of u 1 add up to u 2, 95 % within ± 3.92."""
    four = [Input(str(i), 0.0, Student(1.0)) for i in range(4)]

    def total(v):
        return v.sum(axis=0)

    by_gum = propagate(total, four)
    drawn = propagate_monte_carlo(total, four, np.random.default_rng(2), draws=500_000)
    assert by_gum.combined.u_mm == pytest.approx(2.0)
    assert (drawn.low, drawn.high) == pytest.approx((-3.92, 3.92), abs=0.02)
    assert roads_agree(by_gum, drawn)


def test_four_even_inputs_are_narrower_than_the_gum_says():
    """JCGM 101:2008, 9.2.3: rectangular inputs give ± 3.88, the GUM's road still ± 3.92."""
    four = [BudgetLine.of(str(i), Rectangular(sqrt(3))) for i in range(4)]
    drawn = monte_carlo(four, np.random.default_rng(0), draws=1_000_000)
    assert combine(four).expanded_mm() == pytest.approx(3.92, abs=5e-3)
    assert (drawn.low, drawn.high) == pytest.approx((-3.88, 3.88), abs=0.015)


def test_sensitivities_agree_with_the_uncertainties_library():
    found = propagate(end_gauge, H1)
    rows = [uncertainties.ufloat(one.value, one.spread.u, one.name) for one in H1]
    other = end_gauge(rows)
    assert found.value == pytest.approx(other.nominal_value, abs=1e-12)
    assert found.combined.u_mm == pytest.approx(other.std_dev, rel=1e-6)
    parts = {v.tag: abs(u) for v, u in other.error_components().items()}
    for line in found.lines:
        assert line.u_mm == pytest.approx(parts.get(line.name, 0.0), abs=1e-12)


@pytest.mark.parametrize(
    ("spread", "law"),
    [
        (Student(0.3), norm(scale=0.3)),
        (Student(0.3, 4), student(4, scale=0.3)),
        (Rectangular(0.3), uniform(-0.3, 0.6)),
        (Triangular(0.3), triang(0.5, -0.3, 0.6)),
        (Arcsine(0.3), arcsine(-0.3, 0.6)),
    ],
)
def test_draws_follow_their_law_and_u_is_its_standard_deviation(spread, law):
    drawn = spread.draw(np.random.default_rng(4), 20_000)
    assert kstest(drawn, law.cdf).pvalue > 1e-3
    assert kstest(1.1 * drawn, law.cdf).pvalue < 1e-3
    if spread.dof == inf:
        assert spread.u == pytest.approx(law.std(), rel=1e-9)


def test_doubtful_limits_widen_the_draws_and_cost_degrees_of_freedom():
    """JCGM 101, 6.4.3.3: variance (b - a)²/12 + d²/9; JCGM 100, G.4.2: 50 at 10 %, 2 at 50 %."""
    assert Rectangular(1.0, doubt=0.1).dof == pytest.approx(50)
    assert Rectangular(1.0, doubt=0.5).dof == pytest.approx(2)
    drawn = Rectangular(1.0, doubt=0.5).draw(np.random.default_rng(5), 400_000)
    assert drawn.var() == pytest.approx(1 / 3 + 0.25 / 9, rel=1e-2)


def test_limits_of_dials_as_the_trade_states_them():
    """FIGURES 4: 0.01 mm read to a fifth 0.58 µm; limit of 5 µm over a tenth of a turn 2.9 µm."""
    assert resolution(0.01).u == pytest.approx(0.000577, abs=1e-6)
    assert Rectangular(0.005).u == pytest.approx(0.0029, abs=2e-5)
    assert span(0.010).u == pytest.approx(0.010 / sqrt(12))


def test_both_roads_agree_on_a_sweep_s_own_budget():
    found = fit_turn(turn(Work(), np.random.default_rng(6)), surface="bore", u_dial_mm=0.001)
    drawn = monte_carlo(found.budget, np.random.default_rng(7), draws=200_000)
    total = combine(found.budget)
    assert drawn.u == pytest.approx(total.u_mm, rel=0.01)
    assert (drawn.low, drawn.high) == pytest.approx(
        (-total.expanded_mm(), total.expanded_mm()), rel=0.02
    )


def test_shares_name_the_heaviest_first():
    found = shares([BudgetLine("fit", 1.0), BudgetLine("dial", 3.0), BudgetLine("lag", 0.0)])
    assert found[0] == ("dial", pytest.approx(0.9))
    assert shares([BudgetLine("fit", 0.0)]) == ()


LINES = st.lists(
    st.tuples(st.floats(1e-6, 1e-1), st.sampled_from([1.0, 2.0, 9.0, 50.0, inf])),
    min_size=1,
    max_size=8,
)


@settings(max_examples=30, deadline=None)
@given(LINES, st.floats(0.1, 10))
def test_properties_of_combining(parts, factor):
    lines = [BudgetLine(str(i), u, dof) for i, (u, dof) in enumerate(parts)]
    total = combine(lines)
    again = combine(reversed(lines))
    assert (total.u_mm, total.dof) == pytest.approx((again.u_mm, again.dof))
    assert max(u for u, _ in parts) <= total.u_mm * (1 + 1e-12)
    assert total.u_mm <= sum(u for u, _ in parts) * (1 + 1e-12)
    assert min(dof for _, dof in parts) <= total.dof * (1 + 1e-9)
    larger = combine(BudgetLine("", factor * u, dof) for u, dof in parts)
    assert larger.u_mm == pytest.approx(factor * total.u_mm)
    assert larger.dof == pytest.approx(total.dof)


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 0.1), st.floats(1e-5, 0.02), st.floats(1e-3, 0.05), st.floats(1.0, 3.0))
def test_a_wider_tolerance_never_turns_inside_to_outside(value, u, tolerance, wider):
    order = ("outside", "cannot tell", "inside")
    one, other = verdict(value, u, tolerance), verdict(value, u, wider * tolerance)
    assert order.index(other.word) >= order.index(one.word)
    less_sure = verdict(value, 2 * u, tolerance)
    assert less_sure.word in (one.word, "cannot tell")


def test_between_two_limits():
    """ISO 14253-1: one guard band inside either limit to prove conformity, 1.645 u at 95 %."""
    assert verdict_between(0.0, 0.001, (-0.005, 0.005)).word == "inside"
    assert verdict_between(-0.004, 0.001, (-0.005, 0.005)).word == "cannot tell"
    assert verdict_between(-0.008, 0.001, (-0.005, 0.005)).word == "outside"
    assert verdict_between(9.0, 0.001, (0.0, inf)).word == "inside"
    assert verdict_between(0.0, 0.001, (0, 1)).least_provable_mm == pytest.approx(0.00329, abs=1e-5)
    for value, u in ((nan, 0.1), (0.1, nan), (0.1, None), (0.1, inf)):
        assert verdict_between(value, u, (-1, 1)).word == "cannot tell"
