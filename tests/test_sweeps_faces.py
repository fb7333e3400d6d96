"""A rough face on jacks, and one on a casting held between centres."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.spatial.transform import Rotation
from sweep_face_making import NOTHING, zone_by_program

from readings import FLAGS
from sweeps import (
    SweepFailure,
    UnusableResultError,
    fit_plane,
    level_on_jacks,
    monte_carlo,
    roll_between_centres,
)
from sweeps.zone import plane_zone

LIGHT = settings(max_examples=20, deadline=None)
JACKS = np.array([[-50.0, -30.0], [60.0, -35.0], [0.0, 40.0], [55.0, 38.0]])
PUBLISHED = np.array(
    [(11.5, 7, 1.1), (18.5, 6.9, 1.03), (4.5, 13, 1.02), (25.5, 30, 1.03), (11.5, 37.5, 1.02)]
)
"""Five points with a worked flatness: eng-tips.com thread 393584 (FIGURES 3.5)."""


def rng():
    return np.random.default_rng(20261125)


# planes


def test_published_flatness_by_least_squares_and_minimum_zone():
    found = fit_plane(PUBLISHED[:, :2], PUBLISHED[:, 2], sigma_mm=0.001)
    assert found.flatness_ls_mm == pytest.approx(0.07210, abs=5e-6)
    assert found.flatness_mz_mm == pytest.approx(0.06726, abs=5e-6)
    assert set(found.touching) == {0, 1, 2, 4}


@pytest.mark.parametrize("count", [4, 5, 9, 60, 500])
def test_minimum_zone_is_the_linear_programs(count):
    made = rng()
    for _ in range(5):
        place, height = made.uniform(-80, 80, (count, 2)), made.normal(0, 0.01, count)
        zone = plane_zone(place, height)
        assert zone.width_mm == pytest.approx(zone_by_program(place, height), abs=1e-9)
        assert zone.width_weights @ height == pytest.approx(zone.width_mm, abs=1e-9)


@LIGHT
@given(st.lists(st.integers(-9, 9), min_size=9, max_size=9))
def test_minimum_zone_on_a_grid_with_ties(heights):
    grid = np.array([(x, y) for x in (0.0, 10.0, 20.0) for y in (0.0, 10.0, 20.0)])
    height = np.array(heights, dtype=float)
    zone = plane_zone(grid, height)
    assert zone.width_mm == pytest.approx(zone_by_program(grid, height), abs=1e-6)


def test_plane_agrees_with_least_squares_of_numpy():
    place = rng().uniform(-80, 80, (14, 2))
    height = place @ (1e-3, -2e-3) + rng().normal(0, 0.01, 14)
    columns = np.column_stack([np.ones(14), place])
    beta, rss, _, _ = np.linalg.lstsq(columns, height, rcond=None)
    found = fit_plane(place, height, sigma_mm=0.01, allowance=NOTHING)
    assert (found.slope_x.rad, found.slope_y.rad) == pytest.approx(tuple(beta[1:]), rel=1e-9)
    covariance = np.linalg.inv(columns.T @ columns) * rss[0] / 11
    assert found.slope_x.u_rad == pytest.approx(np.sqrt(covariance[1, 1]), rel=1e-6)
    assert found.dof == 11


def test_a_low_corner_of_a_rough_face_is_form_and_stays():
    grid = np.array([(x, y) for x in range(4) for y in range(4)], dtype=float) * 30
    height = np.where(np.arange(16) == 5, -2.0, 0.0)
    found = fit_plane(grid, height, sigma_mm=0.01)
    assert found.n == 16
    assert found.flatness_mz_mm > 1.0


# jacks


def test_jacks_turned_as_told_level_the_face_in_space():
    """Put the part on its three jacks again, in space, at their new heights."""
    grid = np.array([(x, y) for x in (-60.0, 5.0, 70.0) for y in (-40.0, 0.0, 45.0)])
    slopes = np.array([4e-3, -7e-3])
    plane = fit_plane(grid, 0.3 + grid @ slopes, sigma_mm=0.005)
    found = level_on_jacks(plane, JACKS, 1.5, held=1)
    lifts = np.array([move.lift_mm for move in found.moves])
    assert lifts[1] == 0.0
    assert found.moves[1].word == "leave"
    before = np.column_stack([JACKS, np.zeros(4)])
    after = before + np.outer(lifts, [0.0, 0.0, 1.0])
    motion, _ = Rotation.align_vectors(after[:3] - after[1], before[:3] - before[1])
    face = np.column_stack([grid, grid @ slopes])
    level = motion.apply(face - before[1])[:, 2]
    assert np.ptp(level) < 1e-3 * np.ptp(face[:, 2])
    fourth = motion.apply(before[3] - before[1])[2]
    assert found.fourth == 3
    assert lifts[3] == pytest.approx(fourth, abs=1e-4)
    assert [m.turns * 1.5 for m in found.moves] == pytest.approx(lifts)
    words = {0: "leave", 1: "raise", -1: "lower"}
    assert [m.word for m in found.moves] == [words[int(np.sign(m.lift_mm))] for m in found.moves]


def test_jacks_by_least_squares_and_by_minimum_zone_are_kept_apart():
    plane = fit_plane(PUBLISHED[:, :2], PUBLISHED[:, 2], sigma_mm=0.001)
    found = level_on_jacks(plane, [[5.0, 5.0], [25.0, 10.0], [12.0, 35.0]], 1.0)
    assert len(found.moves) == 3
    assert found.fourth is None
    assert found.moves[1].lift_mm != pytest.approx(found.zone_moves[1].lift_mm, abs=1e-4)
    levelled = PUBLISHED[:, 2] - PUBLISHED[:, :2] @ (plane.zone_slope_x, plane.zone_slope_y)
    assert np.ptp(levelled) == pytest.approx(plane.flatness_mz_mm)


@pytest.mark.parametrize(
    ("jacks", "pitch", "held"),
    [
        (JACKS[:2], 1.5, 0),
        ([[0.0, 0.0], [50.0, 0.0], [100.0, 2.0]], 1.5, 0),
        ([[1.0, 1.0]] * 3, 1.5, 0),
        ([[0.0, 0.0], [50.0, np.nan], [0.0, 50.0]], 1.5, 0),
        (JACKS, 0.0, 0),
        (JACKS, float("nan"), 0),
        (JACKS, 1.5, 3),
        (np.zeros((5, 2)), 1.5, 0),
    ],
)
def test_layouts_that_fix_no_plane_are_refused(jacks, pitch, held):
    plane = fit_plane(PUBLISHED[:, :2], PUBLISHED[:, 2], sigma_mm=0.001)
    failed = level_on_jacks(plane, jacks, pitch, held=held)
    assert isinstance(failed, SweepFailure)
    assert failed.reason.endswith(".")
    with pytest.raises(UnusableResultError):
        _ = failed.moves


BAD_FACES = {
    "nothing": ([], []),
    "two points": ([[0.0, 0.0], [50.0, 0.0]], [0.0, 0.1]),
    "identical points": ([[5.0, 5.0]] * 4, [0.1] * 4),
    "on a line": ([[0.0, 0.0], [50.0, 50.0], [90.0, 90.5]], [0.1, 0.2, 0.3]),
    "not a number": ([[0.0, 0.0], [50.0, 0.0], [0.0, 50.0]], [0.1, np.nan, 0.3]),
    "lengths differ": ([[0.0, 0.0], [50.0, 0.0], [0.0, 50.0]], [0.1, 0.3]),
}


@pytest.mark.parametrize("name", BAD_FACES)
def test_bad_faces_give_no_plane(name):
    failed = fit_plane(*BAD_FACES[name], sigma_mm=0.01)
    assert isinstance(failed, SweepFailure)
    assert failed.reason.endswith(".")
    assert level_on_jacks(failed, JACKS, 1.5) is failed
    with pytest.raises(UnusableResultError):
        _ = failed.flatness_mz_mm


def test_three_places_check_nothing_and_say_so():
    found = fit_plane([[0.0, 0.0], [50.0, 0.0], [0.0, 50.0]], [0.0, 0.1, 0.2], sigma_mm=0.01)
    assert "nothing to check by" in found.flags
    again = fit_plane(
        [[0.0, 0.0], [50.0, 0.0], [0.0, 50.0], [0.0, 0.0]], [0.0, 0.1, 0.2, 0.3], sigma_mm=0.01
    )
    assert "return differs" in again.flags
    assert "drift" in {line.name for line in again.budget_x}
    assert again.return_mm == pytest.approx(0.3)
    assert set(again.flags) <= set(FLAGS)


def test_flatness_verdicts_and_both_roads_of_the_budget():
    made = rng()
    grid = np.array([(x, y) for x in (0.0, 40.0, 80.0) for y in (0.0, 40.0, 80.0)])
    found = fit_plane(grid, made.normal(0, 0.05, 9), sigma_mm=0.001, u_dial_mm=0.002)
    assert found.judge_flatness(0.5).word == "inside"
    assert found.judge_flatness(0.01).word == "outside"
    drawn = monte_carlo(found.flatness_budget, made, draws=100_000)
    assert drawn.u == pytest.approx(found.u_flatness_mm, rel=0.02)
    scatter = fit_plane(grid, made.normal(0, 0.05, 9), sigma_mm=0.05)
    assert scatter.judge_flatness(0.001).word == "cannot tell"


# castings between centres

ALONG = np.repeat([0.0, 60.0, 120.0], 4)
ACROSS = np.tile([-40.0, -15.0, 20.0, 45.0], 3)


def test_two_millimetres_between_the_ends_are_shared_one_each():
    """Common practice: a face 2 mm out at one end and true at the other is rolled half way."""
    along, across = np.array([0.0, 0.0, 100.0, 100.0]), np.array([-40.0, 40.0, -40.0, 40.0])
    height = np.array([0.0, 0.0, -1.0, 1.0])
    found = roll_between_centres(along, across, height, sigma_mm=0.01)
    assert found.equal_share.angle.rad == pytest.approx(1.0 / 80)
    assert found.end_errors_mm == pytest.approx((-1.0, 1.0))
    left = found.equal_share.heights_mm
    assert left[1] - left[0] == pytest.approx(-1.0)
    assert left[3] - left[2] == pytest.approx(1.0)


def test_least_removal_is_the_linear_programs_and_its_two_lowest_are_the_witnesses():
    made = rng()
    for _ in range(20):
        height = made.normal(0, 1.0, 12) + 0.01 * ACROSS
        found = roll_between_centres(ALONG, ACROSS, height, sigma_mm=0.01).least_removal
        # highest plane above the axis that all of the face stands clear of
        program = linprog(
            [0.0, -1.0],
            A_ub=np.column_stack([ACROSS, np.ones(12)]),
            b_ub=height,
            bounds=(None, None),
        )
        assert found.floor_mm == pytest.approx(-program.fun, abs=1e-9)
        low = np.sort(found.heights_mm)
        assert low[1] - low[0] < 1e-12
        sides = np.sign(ACROSS[list(found.lowest)])
        assert set(sides) == {-1.0, 1.0}


def test_minimum_zone_is_the_linear_programs_and_no_roll_beats_any_of_the_three():
    made = rng()
    height = made.normal(0, 1.0, 12) + 0.01 * ACROSS
    found = roll_between_centres(ALONG, ACROSS, height, sigma_mm=0.01)
    zone = zone_by_program(ACROSS[:, None], height)
    assert found.minimum_zone.removal_mm == pytest.approx(zone, abs=1e-9)
    for phi in np.linspace(-0.1, 0.1, 401):
        rolled = height - phi * ACROSS
        assert rolled.min() <= found.least_removal.floor_mm + 1e-12
        assert np.ptp(rolled) >= found.minimum_zone.removal_mm - 1e-12
    angles = {r.angle.rad for r in (found.least_removal, found.minimum_zone, found.equal_share)}
    assert len(angles) == 3
    assert set(found.witnesses) == set(found.least_removal.lowest)


def test_a_rolled_casting_stands_as_foretold():
    """Roll the casting about its axis in space by φ and look at the heights again."""
    height = np.array([0.3, 0.9, 0.7, 0.1, 0.8, 1.4, 1.1, 0.4, -0.3, 1.2, 0.6, 0.9])
    found = roll_between_centres(ALONG, ACROSS, height, sigma_mm=0.01).minimum_zone
    points = np.column_stack([ALONG, ACROSS, height])
    rolled = Rotation.from_euler("x", -np.arctan(found.angle.rad)).apply(points)
    assert rolled[:, 2] == pytest.approx(found.heights_mm, abs=2e-3)


def test_jacks_turn_in_opposing_pairs_slacken_before_tighten():
    height = 0.02 * ACROSS + 0.1 * np.cos(ALONG + ACROSS)
    found = roll_between_centres(
        ALONG, ACROSS, height, sigma_mm=0.01, pairs_mm=[[-30.0, 35.0], [40.0, -40.0]], pitch_mm=1.25
    )
    moves = found.equal_share.moves
    assert [m.action for m in moves] == ["slacken", "tighten"] * 2
    assert [m.pair for m in moves] == [0, 0, 1, 1]
    for move in moves:  # the high side at +t comes down
        assert move.lift_mm == pytest.approx(-found.equal_share.angle.rad * move.across_mm)
        assert move.turns == pytest.approx(move.lift_mm / 1.25)
        assert (move.lift_mm < 0) == (move.action == "slacken") == (move.across_mm > 0)
        assert move.u_turns > 0


def test_slope_along_the_axis_is_cut_not_jacked_and_the_skims_bracket_the_removal():
    height = 2e-3 * ALONG + 0.05 * np.sin(ACROSS)
    found = roll_between_centres(ALONG, ACROSS, height, sigma_mm=0.005, u_dial_mm=0.003)
    assert found.along.rad == pytest.approx(2e-3, rel=0.02)
    assert found.cut_along_mm == pytest.approx(0.24, rel=0.02)
    for roll in (found.least_removal, found.minimum_zone, found.equal_share):
        assert roll.removal_mm > 0.24
        assert roll.skim_leaves_witnesses_mm < roll.removal_mm < roll.skim_cleans_mm
        assert roll.skim_cleans_mm - roll.removal_mm == pytest.approx(
            1.645 * roll.u_removal_mm, rel=1e-3
        )
        drawn = monte_carlo(roll.budget, rng(), draws=50_000)
        assert drawn.u == pytest.approx(roll.angle.u_over_mm(300), rel=0.03)


def test_a_lowest_place_right_above_the_axis_is_found():
    across = np.array([-40.0, 0.0, 40.0, -40.0, 0.0, 40.0])
    along = np.repeat([0.0, 100.0], 3)
    height = np.array([1.0, 0.0, 0.4, 0.9, 0.2, 0.6])
    found = roll_between_centres(along, across, height, sigma_mm=0.01).least_removal
    assert found.floor_mm == pytest.approx(0.0)
    assert found.lowest == (1,)


BAD_CASTINGS = {
    "nothing": ([], [], []),
    "two points": ([0.0, 100.0], [-40.0, 40.0], [0.0, 1.0]),
    "identical points": ([5.0] * 4, [5.0] * 4, [0.1] * 4),
    "one side": ([0.0, 0.0, 100.0, 100.0], [10.0, 40.0, 10.0, 40.0], [0.0, 1.0, 0.0, 1.0]),
    "one end": ([0.0] * 4, [-40.0, -10.0, 10.0, 40.0], [0.0, 1.0, 0.0, 1.0]),
    "a cross": ([0.0, 0.0, 50.0, -50.0], [-40.0, 40.0, 0.0, 0.0], [0.0, 1.0, 0.0, 1.0]),
    "not a number": ([0.0, 0.0, 100.0, 100.0], [-40.0, 40.0, -40.0, 40.0], [0.0, 1.0, np.nan, 1.0]),
    "lengths differ": ([0.0, 0.0, 100.0], [-40.0, 40.0], [0.0, 1.0, 0.0, 1.0]),
}


@pytest.mark.parametrize("name", BAD_CASTINGS)
def test_bad_castings_give_no_roll(name):
    failed = roll_between_centres(*BAD_CASTINGS[name], sigma_mm=0.01)
    assert isinstance(failed, SweepFailure)
    assert failed.reason.endswith(".")
    with pytest.raises(UnusableResultError):
        _ = failed.least_removal


@pytest.mark.parametrize(
    ("pairs", "pitch"), [([[10.0, 40.0]], 1.0), ([[-10.0, np.nan]], 1.0), ([[-10.0, 10.0]], 0.0)]
)
def test_bad_pairs_are_refused(pairs, pitch):
    failed = roll_between_centres(
        ALONG, ACROSS, ACROSS * 0.01, sigma_mm=0.01, pairs_mm=pairs, pitch_mm=pitch
    )
    assert isinstance(failed, SweepFailure)


# properties


@LIGHT
@given(
    st.floats(-5, 5), st.floats(0.2, 4), st.permutations(list(range(12))), st.floats(-0.02, 0.02)
)
def test_zero_scale_order_and_a_roll_beforehand(zero, factor, order, rolled):
    height = rng().normal(0, 0.5, 12)
    changed = factor * (height + rolled * ACROSS) + zero
    one = roll_between_centres(ALONG, ACROSS, height, sigma_mm=0.01)
    other = roll_between_centres(
        ALONG[order], ACROSS[order], changed[order], sigma_mm=0.01 * factor
    )
    for name in ("least_removal", "minimum_zone", "equal_share"):
        before, after = getattr(one, name), getattr(other, name)
        assert after.angle.rad == pytest.approx(factor * (before.angle.rad + rolled), abs=1e-9)
        assert after.removal_mm == pytest.approx(factor * before.removal_mm, abs=1e-8)


@LIGHT
@given(st.floats(-5, 5), st.floats(0.2, 4), st.floats(-3, 3), st.permutations(list(range(9))))
def test_a_face_by_zero_scale_turning_and_order(zero, factor, turn, order):
    grid = np.array([(x, y) for x in (-60.0, 5.0, 70.0) for y in (-40.0, 0.0, 45.0)])
    height = rng().normal(0, 0.3, 9)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    one = fit_plane(grid, height, sigma_mm=0.01)
    other = fit_plane(
        (grid @ matrix.T)[order], (factor * height + zero)[order], sigma_mm=0.01 * factor
    )
    slopes = matrix @ (one.slope_x.rad, one.slope_y.rad)
    assert other.slope_x.rad == pytest.approx(factor * slopes[0], abs=1e-9)
    assert other.flatness_mz_mm == pytest.approx(factor * one.flatness_mz_mm, abs=1e-8)
    assert other.flatness_ls_mm == pytest.approx(factor * one.flatness_ls_mm, abs=1e-8)
