"""Tram of the head, the face of a part, spindle against travel: signs, sizes, what is refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from sweep_face_making import NOTHING, arm, arm_stops

from readings import FLAGS, Sweep
from sweeps import (
    SQUARE_TO_TABLE_MM,
    Slope,
    SweepFailure,
    UnusableResultError,
    dish_mm,
    face_square_to_spindle,
    monte_carlo,
    spindle_to_travel,
    step_mm,
    tram_by_arm,
    traverse,
)

LIGHT = settings(max_examples=15, deadline=None)
SENSES = ("anticlockwise", "clockwise")
CLEAN = 1e-7


def rng():
    return np.random.default_rng(20261125)


def each_way(lean, **more):
    made = rng()
    return [arm(lean, made, sense=sense, **more) for sense in SENSES]


def stops_of(values, angles_deg=(0, 90, 180, 270)):
    theta, n = np.radians(angles_deg), len(values)
    sigma, nothing = np.full(n, 1e-4), np.zeros(n)
    values = np.array(values, dtype=float)
    return Sweep(np.arange(n) * 2.0, values, sigma, theta, nothing, sense=None, kind="stops")


# conversions, against what is published


@pytest.mark.parametrize(
    ("over_mm", "length_mm", "microrad", "arcsec", "dish_um"),
    [
        (0.02, 300.0, 66.7, 13.75, (0.8, 1.7, 2.7)),
        (0.025, 300.0, 83.3, 17.19, (1.0, 2.1, 3.3)),
        (0.0254, 304.8, 83.3, 17.19, (1.0, 2.1, 3.3)),  # 0.001 in a foot
        (0.01, 150.0, 66.7, 13.75, (0.8, 1.7, 2.7)),
    ],
)
def test_tram_figures_convert_as_tabulated(over_mm, length_mm, microrad, arcsec, dish_um):
    """The table of tram conversions in the project's FIGURES 2.3 (plane trigonometry)."""
    lean = Slope(over_mm / length_mm, 0.0)
    assert lean.rad * 1e6 == pytest.approx(microrad, abs=0.05)
    assert lean.arcsec == pytest.approx(arcsec, abs=0.005)
    for cutter, dish in zip((25.0, 50.0, 80.0), dish_um, strict=True):
        assert dish_mm(lean.rad, cutter) * 1000 == pytest.approx(dish, abs=0.051)
    assert step_mm(lean.rad, 50.0) == pytest.approx(2 * dish_mm(lean.rad, 50.0))
    assert lean.over_mm(100) + lean.over_mm(150) == pytest.approx(lean.over_mm(250))


def test_two_opposite_readings_and_the_diameter_give_the_tilt():
    """ISO 230-1: squareness of a spindle to a table is the difference over the diameter."""
    found = tram_by_arm(stops_of([0.430, 0.410, 0.400, 0.420]), 150.0)
    assert found.lean_x.rad == pytest.approx((0.430 - 0.400) / 300)
    assert found.lean_y.rad == pytest.approx((0.410 - 0.420) / 300)
    assert found.lean_x.over_mm(300) == pytest.approx(0.030)


# signs, by exact rotation in space


def leaning_spindle(toward_x, toward_y):
    """Return the rotation of a head whose spindle's top leans to +X and +Y."""
    return Rotation.from_euler("xy", [-toward_y, toward_x])


def readings_of(head, theta, radius_mm=120.0, pivot=(0.0, 0.0)):
    """Return how far a stylus that looks down is pushed up by a true table, per angle."""
    arm_ends = radius_mm * np.column_stack([np.cos(theta), np.sin(theta), np.zeros(len(theta))])
    about = np.array([*pivot, 0.0])
    return 0.4 - (head.apply(arm_ends - about) + about)[:, 2]


def turned(values, theta):
    n, sigma = len(theta), np.full(len(theta), CLEAN)
    return Sweep(np.arange(n) / 10, values, sigma, theta, np.zeros(n), sense="anticlockwise")


THETA = np.linspace(0.0, 6.6, 160)


def test_signs_agree_with_a_head_turned_in_space():
    head = leaning_spindle(4e-4, -7e-4)
    axis = head.apply([0.0, 0.0, 1.0])
    assert axis[0] > 0 > axis[1]
    found = tram_by_arm(turned(readings_of(head, THETA), THETA), 120.0, allowance=NOTHING)
    assert found.lean_x.rad == pytest.approx(axis[0] / axis[2], rel=1e-4)
    assert found.lean_y.rad == pytest.approx(axis[1] / axis[2], rel=1e-4)
    assert found.toward_deg == pytest.approx(np.degrees(np.arctan2(-7, 4)) % 360, abs=0.01)
    tilt, nod = found.moves
    assert (tilt.direction, nod.direction) == ("left", "to the back")
    assert (tilt.look_at, nod.look_at) == ("right", "back")


@pytest.mark.parametrize("pivot", [(0.0, 0.0), (-30.0, 400.0)])
def test_the_dial_reads_what_was_foretold_once_the_head_is_turned(pivot):
    """Turn a head in space about its own pivots, one after the other, and read the dial."""
    lean = (4e-4, -7e-4)
    first = readings_of(leaning_spindle(*lean), THETA, pivot=pivot)
    found = tram_by_arm(turned(first, THETA), 120.0, pivot_mm=pivot, allowance=NOTHING)
    tilt, nod = found.moves
    tilted = readings_of(leaning_spindle(0.0, lean[1]), np.radians([0, 180.0]), pivot=pivot)
    assert tilt.reading_mm == pytest.approx(tilted[0], abs=1e-6)
    assert tilt.difference_mm == pytest.approx(tilted[0] - tilted[1], abs=1e-6)
    assert tilt.difference_now_mm == pytest.approx(2 * 120 * lean[0], rel=1e-3)
    nodded = readings_of(leaning_spindle(0.0, 0.0), np.radians([90, 270.0]), pivot=pivot)
    assert nod.reading_mm == pytest.approx(nodded[0], abs=1e-6)
    assert nod.difference_mm == pytest.approx(0.0, abs=1e-6)


def test_with_no_pivot_the_needle_goes_half_the_difference_as_the_trade_does_it():
    """Common practice: sweep from side to side and take out half of what the dial shows."""
    tilt = tram_by_arm(stops_of([0.46, 0.43, 0.40, 0.43]), 100.0).moves[0]
    assert tilt.reading_now_mm - tilt.reading_mm == pytest.approx((0.46 - 0.40) / 2)


# each way, slots, shape


def test_one_turn_each_way_is_free_of_steady_drift():
    lean = (1e-4, -2e-4)
    drifting = each_way(lean, drift_mm=0.02, noise_mm=CLEAN)
    single, both = tram_by_arm(drifting[0], 100.0), tram_by_arm(drifting, 100.0)
    assert abs(single.lean_y.rad - lean[1]) > 3e-5
    assert both.lean_y.rad == pytest.approx(lean[1], abs=1e-5)
    assert "one way only" in single.flags
    assert "one way only" not in both.flags
    assert both.lean_x.u_rad < single.lean_x.u_rad


def test_a_turn_that_does_not_come_back_stands_in_the_budget():
    clean, knocked = arm((1e-4, 0.0), rng(), n=300), arm((1e-4, 0.0), rng(), n=300, drift_mm=0.05)
    one, other = tram_by_arm(clean, 100.0), tram_by_arm(knocked, 100.0)
    assert "return" not in {line.name for line in one.budget_x}
    assert "return" in {line.name for line in other.budget_x}
    assert "return differs" in other.flags
    assert abs(other.lean_y.rad) < 2.5 * other.lean_y.u_rad


def test_slots_are_left_out_and_told():
    slots = [(-75.0, 14.0), (-25.0, 14.0), (25.0, 14.0), (75.0, 14.0)]
    lean = (2e-4, -1e-4)
    found = tram_by_arm(each_way(lean, n=240, slots=slots), 100.0)
    assert found.lean_x.rad == pytest.approx(lean[0], abs=3 * found.lean_x.u_rad)
    assert found.lean_y.rad == pytest.approx(lean[1], abs=3 * found.lean_y.u_rad)
    assert found.lean_x.u_rad < 5e-6
    assert 0.2 < found.left_out < 0.4
    assert "slots left out" in found.flags
    blind = np.linalg.lstsq(
        np.column_stack([np.ones(240), np.cos(THETA240), np.sin(THETA240)]),
        each_way(lean, n=240, slots=slots)[0].value_mm,
        rcond=None,
    )[0]
    assert abs(blind[2] / 100 - lean[1]) > 4e-5


THETA240 = 0.3 + np.radians(np.linspace(0, 378, 240))


def test_twenty_slotted_tables_none_given_a_wrong_lean():
    made, refused = rng(), 0
    for _ in range(20):
        lean = made.uniform(-1, 1, 2) * made.choice([1e-4, 1e-3])
        pitch, width, first = made.choice([40, 50, 63]), made.choice([12, 16]), made.uniform(0, 60)
        slots = [(first + k * pitch, width) for k in range(-5, 6)]
        sweep = [
            arm(
                lean, made, n=int(made.integers(120, 300)), slots=slots, sense=sense,
                deep_mm=made.choice([0.02, 0.3, 1.0]), oval_mm=0.004,
                radius_mm=130.0,
            )
            for sense in SENSES
        ]  # fmt: skip
        found = tram_by_arm(sweep, 130.0)
        if not found:
            refused += 1
            continue
        assert abs(found.lean_x.rad - lean[0]) < 4 * found.lean_x.u_rad
        assert abs(found.lean_y.rad - lean[1]) < 4 * found.lean_y.u_rad
    assert refused <= 1


def test_a_clean_table_has_no_slots_and_a_bent_one_keeps_its_shape():
    found = tram_by_arm(each_way((1e-4, 0.0), oval_mm=0.006), 100.0)
    assert "slots left out" not in found.flags
    assert found.left_out == 0.0
    assert found.shape[0].order == 2
    assert found.shape[0].amplitude_mm == pytest.approx(0.006, abs=2e-4)
    assert found.shape[0].phase_deg == pytest.approx(0.0, abs=3)
    # the reading to bring the needle to holds the shape: high on the right by as much
    assert found.moves[0].reading_mm == pytest.approx(0.406, abs=3e-4)


def test_one_of_four_stops_over_a_slot_is_refused_and_one_of_eight_left_out():
    four = tram_by_arm(stops_of([0.40, 0.40, 0.15, 0.40]), 100.0)
    assert not four
    assert "slot" in four.reason
    eight = stops_of([0.41, 0.407, 0.40, 0.05, 0.39, 0.393, 0.40, 0.407], np.arange(8) * 45)
    found = tram_by_arm(eight, 100.0)
    assert found.lean_x.rad == pytest.approx(1e-4, abs=1e-5)
    assert found.left_out == pytest.approx(1 / 8)


@pytest.mark.parametrize("width", [8.0, 10.5, 11.5, 12.5])
def test_a_circle_mostly_over_slots_is_refused_or_says_how_little_it_knows(width):
    slots = [(k * 16.0, width) for k in range(-8, 9)]
    found = tram_by_arm(arm((1e-4, 0.0), rng(), n=300, slots=slots), 100.0)
    if width < 9:
        assert found.left_out > 0.5
    if found:
        assert abs(found.lean_x.rad - 1e-4) < 3 * found.lean_x.u_rad
    else:
        assert "slots" in found.reason


def test_a_needle_that_never_moves_is_a_square_head_only_where_its_travel_says_so():
    still = arm((0.0, 0.0), rng())
    failed = tram_by_arm(still, 100.0)
    assert not failed
    assert "touch" in failed.reason
    found = tram_by_arm(still, 100.0, travel_mm=(0.0, 1.0))
    assert found.lean_x.judge(SQUARE_TO_TABLE_MM).word == "inside"
    assert not tram_by_arm(still, 100.0, travel_mm=(0.39, 1.0))
    on_slots = tram_by_arm(arm((0.0, 0.0), rng(), slots=[(25.0, 14.0)]), 100.0)
    assert on_slots.lean_x.judge(SQUARE_TO_TABLE_MM).word == "inside"


# spindle, table and travel


def test_spindle_table_and_travel_are_told_apart():
    """A table 0.1 mm in a metre out of its travel, a spindle square to the travel."""
    rise = (1e-4, -5e-5)  # surface against travel
    sweep = each_way(rise, noise_mm=CLEAN)  # seen from the table the spindle leans as it rises
    place = np.linspace(0, 250, 11)
    runs = [traverse(place, 0.4 - r * place, sigma_mm=1e-4) for r in rise]
    tram = tram_by_arm(sweep, 100.0)
    found = spindle_to_travel(tram, *runs)
    assert found.spindle_to_table_x.rad == pytest.approx(1e-4, rel=1e-2)
    assert found.spindle_to_travel_x.rad == pytest.approx(0.0, abs=1e-6)
    assert found.spindle_to_travel_y.rad == pytest.approx(0.0, abs=1e-6)
    assert found.table_to_travel_x.rad == pytest.approx(-1e-4)
    assert found.spindle_to_travel_x.u_rad > tram.lean_x.u_rad
    assert tram.judge(SQUARE_TO_TABLE_MM).word == "outside"
    assert found.judge(SQUARE_TO_TABLE_MM).word == "inside"
    # nothing is left to turn, and the dial goes on showing the table
    assert found.moves[0].difference_mm == pytest.approx(0.02, abs=1e-4)
    ram = [traverse(place, 0.4 + r * place, sigma_mm=1e-4) for r in rise]
    over = spindle_to_travel(tram, *ram, what_moves="spindle")
    assert over.spindle_to_travel_x.rad == pytest.approx(0.0, abs=1e-6)
    assert spindle_to_travel(tram, SweepFailure("No."), runs[1]).reason == "No."


# the part's own face


def test_shims_bring_a_part_square_when_put_in():
    """Raise three supports by their shims in space: the face then stands level."""
    supports = np.array([[-80.0, -60.0], [90.0, -50.0], [10.0, 70.0]])
    face = Rotation.from_euler("xy", [3e-4, -5e-4]).apply([0.0, 0.0, 1.0])
    rise = -face[:2] / face[2]
    height = 40 * (rise[0] * np.cos(THETA) + rise[1] * np.sin(THETA))
    found = face_square_to_spindle(turned(height, THETA), 40.0, supports, allowance=NOTHING)
    assert (found.tilt_x.rad, found.tilt_y.rad) == pytest.approx(tuple(rise), rel=1e-4)
    assert found.tilt_x.rad > 0
    now = np.column_stack([supports, supports @ rise + found.shims_mm])
    normal = np.cross(now[1] - now[0], now[2] - now[0])
    assert np.hypot(normal[0], normal[1]) / normal[2] == pytest.approx(0.0, abs=1e-7)
    assert found.shims_mm.min() == 0.0
    assert found.u_shims_mm[np.argmin(found.shims_mm)] == 0.0
    assert found.judge(0.01).word == "outside"


# uncertainty


def test_budget_by_both_roads_and_the_least_that_could_be_proven():
    found = tram_by_arm(each_way((1e-4, -2e-4)), 100.0, u_dial_mm=0.002)
    drawn = monte_carlo(found.budget_x, rng(), draws=100_000)
    assert drawn.u == pytest.approx(found.lean_x.u_over_mm(300), rel=0.02)
    assert "dial" in {line.name for line in found.budget_x}
    assert "dial unchecked" not in found.flags
    verdict = found.lean_x.judge(0.005)
    assert verdict.word == "outside"
    assert verdict.least_provable_mm == pytest.approx(1.645 * found.lean_x.u_over_mm(300), rel=1e-3)
    assert found.judge(0.06).word == "cannot tell"
    assert found.judge(0.1).word == "inside"
    assert set(found.flags) <= set(FLAGS)


def test_a_longer_arm_proves_more():
    short, long = (tram_by_arm(each_way((1e-5, 0.0), radius_mm=r), r) for r in (50.0, 150.0))
    assert short.lean_x.u_rad == pytest.approx(3 * long.lean_x.u_rad, rel=0.1)


# properties


@LIGHT
@given(st.floats(-3, 3))
def test_turning_where_it_starts_turns_the_lean(shift):
    sweep = arm((2e-4, 1e-4), rng())
    moved = Sweep(
        sweep.t_s, sweep.value_mm, sweep.sigma_mm, sweep.angle_rad + shift,
        sweep.sigma_angle_rad, sense=sweep.sense,
    )  # fmt: skip
    one, other = tram_by_arm(sweep, 100.0), tram_by_arm(moved, 100.0)
    assert one.lean_rad == pytest.approx(other.lean_rad, rel=1e-9)
    turn = np.radians(other.toward_deg - one.toward_deg) - shift
    assert abs(np.angle(np.exp(1j * turn))) < 1e-6


@LIGHT
@given(st.floats(-2, 2), st.floats(0.2, 4))
def test_zero_and_scale(zero, factor):
    sweep = arm((2e-4, 1e-4), rng())
    other = Sweep(
        sweep.t_s, sweep.value_mm * factor + zero, sweep.sigma_mm * factor, sweep.angle_rad,
        sweep.sigma_angle_rad, sense=sweep.sense,
    )  # fmt: skip
    one, other = tram_by_arm(sweep, 100.0), tram_by_arm(other, 100.0)
    assert other.lean_x.rad == pytest.approx(factor * one.lean_x.rad, abs=2e-8)
    assert other.lean_y.rad == pytest.approx(factor * one.lean_y.rad, abs=2e-8)


@LIGHT
@given(st.integers(0, 500))
def test_mirrored_sense_mirrors_the_nod(seed):
    sweep = arm((2e-4, 1e-4), np.random.default_rng(seed))
    mirrored = Sweep(
        sweep.t_s, sweep.value_mm, sweep.sigma_mm, -sweep.angle_rad, sweep.sigma_angle_rad,
        sense="clockwise",
    )  # fmt: skip
    one, other = tram_by_arm(sweep, 100.0), tram_by_arm(mirrored, 100.0)
    assert other.lean_x.rad == pytest.approx(one.lean_x.rad, abs=1e-11)
    assert other.lean_y.rad == pytest.approx(-one.lean_y.rad, abs=1e-11)


@LIGHT
@given(st.permutations(list(range(8))))
def test_stops_in_any_order_say_the_same(order):
    sweep = arm_stops((2e-4, 1e-4), rng())
    mixed = Sweep(
        sweep.t_s, sweep.value_mm[order], sweep.sigma_mm, sweep.angle_rad[order],
        sweep.sigma_angle_rad, sense=None, kind="stops",
    )  # fmt: skip
    one, other = tram_by_arm(sweep, 100.0), tram_by_arm(mixed, 100.0)
    assert other.lean_x.rad == pytest.approx(one.lean_x.rad, abs=1e-11)


# what is refused

GOOD = [[-80.0, -60.0], [90.0, -50.0], [10.0, 70.0]]
BAD_TRAMS = {
    "nothing": ([], 100.0, {}),
    "two points": (stops_of([0.4, 0.5], (0, 180)), 100.0, {}),
    "identical points": (stops_of([0.4] * 5, [0] * 5), 100.0, {}),
    "not a number": (stops_of([0.4, np.nan, 0.4, 0.4]), 100.0, {}),
    "arc too short": (turned(readings_of(Rotation.identity(), THETA[:40]), THETA[:40]), 100.0, {}),
    "no arm": (arm((0, 0), rng()), 0.0, {}),
    "arm not a number": (arm((0, 0), rng()), float("nan"), {}),
    "arm's u negative": (arm((0, 0), rng()), 100.0, {"u_radius_mm": -1.0}),
}


@pytest.mark.parametrize("name", BAD_TRAMS)
def test_bad_sweeps_give_no_lean(name):
    sweep, radius, more = BAD_TRAMS[name]
    for failed in (
        tram_by_arm(sweep, radius, **more),
        face_square_to_spindle(sweep, radius, GOOD, **more),
    ):
        assert isinstance(failed, SweepFailure)
        assert failed.reason.endswith(".")
        with pytest.raises(UnusableResultError):
            _ = failed.lean_x


@pytest.mark.parametrize(
    "supports",
    [
        GOOD[:2],
        [[0.0, 0.0], [50.0, 0.0], [100.0, 1.0]],
        [[5.0, 5.0]] * 3,
        [[0.0, np.nan], [1.0, 2.0], [3.0, 4.0]],
        [1.0, 2.0, 3.0],
    ],
)
def test_supports_that_fix_no_plane_are_refused(supports):
    failed = face_square_to_spindle(arm((0, 0), rng()), 100.0, supports)
    assert isinstance(failed, SweepFailure)


def test_out_of_travel_gives_no_lean():
    sweep = arm((4e-3, 0.0), rng(), n=200)
    clipped = Sweep(
        sweep.t_s, np.clip(sweep.value_mm, -1.0, 0.6), sweep.sigma_mm, sweep.angle_rad,
        sweep.sigma_angle_rad, sense=sweep.sense,
    )  # fmt: skip
    assert not tram_by_arm(clipped, 100.0)


def test_inputs_are_not_changed():
    sweep = arm((1e-4, 0.0), rng(), slots=[(25.0, 14.0)])
    before = sweep.value_mm.copy()
    tram_by_arm(sweep, 100.0)
    assert np.array_equal(before, sweep.value_mm)
