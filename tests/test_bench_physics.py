"""The bench's physics against closed forms, brute force and pencil and paper."""

import math
from dataclasses import replace

import numpy as np
import pytest

from readings import BadInputError
from simulator import Bench, BenchSpec, random_spec
from simulator.contact import Wall, contact_along

RIGHT, BACK, LEFT, FRONT = 0.0, math.pi / 2, math.pi, -math.pi / 2
IDEAL = BenchSpec(
    offset_mm=(0.0, 0.0),
    backlash_x_mm=0.0,
    backlash_y_mm=0.0,
    retrace_mm=0.0,
    lock_shift_mm=(0.0, 0.0),
    travel_mm=(-5.0, 5.0),
)


def bench_of(spec=IDEAL, seed=3, **changes):
    return Bench(replace(spec, **changes), np.random.default_rng(seed))


def sweep(bench, by_rad, seconds=4.0, step_s=0.01):
    """Turn the spindle; return the stylus' angles and readings on the way."""
    bench.turn_spindle(by_rad, seconds=seconds)
    seen = []
    while bench.state().moving:
        bench.advance(step_s)
        truth = bench.truth()
        seen.append((truth.stylus_rad, truth.reading_mm))
    return np.array(seen).T


def harmonics(angle_rad, value_mm, most=3):
    columns = [np.ones_like(angle_rad)]
    for n in range(1, most + 1):
        columns += [np.cos(n * angle_rad), np.sin(n * angle_rad)]
    return np.linalg.lstsq(np.column_stack(columns), value_mm, rcond=None)[0]


def reading_at(bench, direction):
    bench.point_stylus(direction)
    bench.settle()
    return bench.truth().reading_mm


# contact


@pytest.mark.parametrize("inside", [True, False])
def test_contact_with_a_circle_is_the_closed_form(inside):
    rng = np.random.default_rng(4)
    for _ in range(50):
        e, turn = rng.uniform(-2, 2, 2), rng.uniform(-9, 9)
        u = np.array([math.cos(turn), math.sin(turn)])
        orbit = 26.0 - 1.5 if inside else 26.0 + 1.5
        want = e @ u + math.sqrt(orbit**2 - (e[0] * u[1] - e[1] * u[0]) ** 2)
        got = contact_along(Wall(26.0, (), inside), (e[0], e[1]), (0.0, 0.0), turn, 1.5)
        assert got == pytest.approx(want, abs=1e-11)


@pytest.mark.parametrize("inside", [True, False])
def test_contact_with_a_lobed_wall_is_what_brute_force_finds(inside):
    """Push the tip out (or in) until its distance to 400 000 points of the wall is its radius."""
    lobes = ((2, 0.05, 0.7), (3, 0.02, -0.4), (7, 0.01, 1.0))
    e, tip_mm = np.array([0.6, -0.4]), 1.0
    phi = np.linspace(0, 2 * math.pi, 400_000, endpoint=False)
    worn = (1.2, 1.4, 0.08)  # the line at 1.9 meets its middle
    share = np.mod(phi - worn[0], 2 * math.pi) / worn[1]
    gone = np.where(share < 1, worn[2] * np.sin(math.pi * share) ** 2, 0.0)
    radius = 26.0 + sum(a * np.cos(n * (phi - p)) for n, a, p in lobes)
    radius += gone if inside else -gone
    wall = e + radius[:, None] * np.column_stack([np.cos(phi), np.sin(phi)])
    for turn in (0.1, 1.9, 3.3, 5.6):
        u = np.array([math.cos(turn), math.sin(turn)])
        near = wall[wall @ u > 20.0]
        clear_mm, stuck_mm = (20.0, 30.0) if inside else (32.0, 22.0)
        for _ in range(60):
            middle = (clear_mm + stuck_mm) / 2
            gap = np.min(np.hypot(*(near - middle * u).T))
            beyond = (middle * u - e) @ u > 26.0
            free = gap > tip_mm and beyond != inside
            clear_mm, stuck_mm = (middle, stuck_mm) if free else (clear_mm, middle)
        wall_worn = Wall(26.0, lobes, inside, worn)
        got = contact_along(wall_worn, (e[0], e[1]), (0.0, 0.0), turn, tip_mm)
        assert got == pytest.approx(clear_mm, abs=2e-8)


# signs, with pencil and paper


def test_the_wall_that_is_nearer_raises_the_reading():
    """Draw a bore of 52 mm whose axis lies 0.3 mm to the right of the spindle's.

    Its right wall is 26.3 mm from the spindle axis, its left wall 25.7 mm, front and back
    26.0 mm. A stylus set to read zero at 26.0 mm hangs back 0.3 mm on the right and is pushed
    in 0.3 mm on the left.
    """
    bench = bench_of(offset_mm=(0.3, 0.0))
    right = reading_at(bench, "right")
    assert reading_at(bench, "left") - right == pytest.approx(0.6, abs=1e-12)
    assert reading_at(bench, "back") - right == pytest.approx(0.3, abs=0.002)
    assert reading_at(bench, "front") - right == pytest.approx(0.3, abs=0.002)


def test_the_wall_of_a_boss_that_comes_nearer_raises_the_reading():
    """A boss 0.3 mm to the right reaches further out on the right: the stylus is pushed out."""
    bench = bench_of(surface="bar", offset_mm=(0.3, 0.0))
    right = reading_at(bench, "right")
    assert reading_at(bench, "left") - right == pytest.approx(-0.6, abs=1e-12)


def test_the_table_moves_the_work_the_way_its_handwheel_says():
    """Work moved to the back: the back wall goes away, the reading there falls."""
    bench = bench_of()
    before = reading_at(bench, "back")
    bench.turn_handwheel("y", 0.2)
    bench.settle()
    assert bench.truth().offset_y_mm == pytest.approx(0.2)
    assert bench.truth().reading_mm - before == pytest.approx(-0.2, abs=1e-12)


def test_the_first_harmonic_in_a_bore_is_minus_e():
    bench = bench_of(offset_mm=(0.31, -0.17))
    _, a1, b1, *_ = harmonics(*sweep(bench, 2 * math.pi))
    assert (a1, b1) == pytest.approx((-0.31, 0.17), abs=2e-6)


@pytest.mark.parametrize(("surface", "sign"), [("bore", -1.0), ("bar", 1.0)])
def test_an_offset_makes_a_second_harmonic_of_its_own(surface, sign):
    """e²/4(R - ρ) in a bore, e²/4(R + ρ) on a boss: DESIGN's conventions."""
    e, tip_mm = 0.8, 1.5
    bench = bench_of(surface=surface, offset_mm=(e, 0.0), tip_radius_mm=tip_mm)
    *_, a2, b2, a3, b3 = harmonics(*sweep(bench, 2 * math.pi))
    orbit = 26.0 + sign * tip_mm
    assert a2 == pytest.approx(sign * e**2 / (4 * orbit), rel=1e-3)
    assert np.abs([b2, a3, b3]).max() < 1e-6


def test_ovality_is_a_second_harmonic_of_its_amplitude():
    bench = bench_of(ovality_mm=0.03, ovality_deg=25.0)
    _, a1, b1, a2, b2, *_ = harmonics(*sweep(bench, 2 * math.pi), most=8)
    assert math.hypot(a2, b2) == pytest.approx(0.03, rel=0.01)
    assert math.degrees(math.atan2(-b2, -a2)) / 2 == pytest.approx(25.0, abs=1e-3)
    assert math.hypot(a1, b1) < 1e-6


# play


def test_a_reversal_is_late_by_the_retrace():
    bench = bench_of(offset_mm=(0.2, 0.0), retrace_mm=0.003)
    there = sweep(bench, 2 * math.pi)
    back = sweep(bench, -2 * math.pi)
    probe = np.radians([40, 90, 140, 220, 300])
    at_there = np.interp(probe, *there)
    at_back = np.interp(probe, back[0][::-1], back[1][::-1])
    np.testing.assert_allclose(np.abs(at_there - at_back), 0.003, atol=2e-5)


def test_retrace_adds_two_h_over_pi_at_right_angles():
    """The describing function of play, full width h, on a wave of amplitude A.

    In phase A/2·[1 + (2/π)(asin x + x·sqrt(1 - x²))] with x = 1 - h/A, at right angles
    -(2h/π)(1 - h/2A) (as in Gelb and Vander
    Velde, Multiple-Input Describing Functions and Nonlinear System Design, 1968).
    """
    h, wave_mm = 0.004, 0.2
    bench = bench_of(offset_mm=(wave_mm, 0.0), retrace_mm=h)
    sweep(bench, 2 * math.pi)
    a1, b1 = first_harmonic(*sweep(bench, 2 * math.pi, seconds=10.0))
    c1, d1 = first_harmonic(*sweep(bench, -2 * math.pi, seconds=10.0))
    x = 1 - h / wave_mm
    along = wave_mm / 2 * (1 + 2 / math.pi * (math.asin(x) + x * math.sqrt(1 - x * x)))
    across = 2 * h / math.pi * (1 - h / (2 * wave_mm))
    assert (a1, c1) == pytest.approx((-along, -along), abs=2e-5)
    assert (b1, d1) == pytest.approx((-across, across), abs=2e-5)


def first_harmonic(angle_rad, value_mm):
    order = np.argsort(angle_rad)
    even = angle_rad.min() + np.arange(3600) / 3600 * 2 * math.pi
    value = np.interp(even, angle_rad[order], value_mm[order])
    return 2 * np.mean(value * np.cos(even)), 2 * np.mean(value * np.sin(even))


def test_the_table_waits_until_the_screw_has_taken_up_its_play():
    bench = bench_of(backlash_x_mm=0.08, offset_mm=(0.1, 0.0))

    def turn(mm):
        bench.turn_handwheel("x", mm)
        bench.settle()
        return bench.truth().offset_x_mm

    turn(0.5)
    after = turn(0.2)
    assert turn(-0.05) == after, "within the play nothing moves"
    assert turn(-0.05) == pytest.approx(after - 0.02, abs=1e-12)
    assert turn(-0.3) == pytest.approx(after - 0.32, abs=1e-12)
    assert turn(0.3) == pytest.approx(after - 0.10, abs=1e-12)


def test_the_first_move_loses_nothing_or_all_of_the_play():
    moved = set()
    for seed in range(12):
        bench = bench_of(backlash_x_mm=0.05, seed=seed)
        bench.turn_handwheel("x", 0.2)
        bench.settle()
        moved.add(round(bench.truth().offset_x_mm, 9))
    assert moved == {0.15, 0.2}


# the dial's ends


def test_off_the_work_the_needle_rests_and_pushed_home_it_stops():
    bench = bench_of(offset_mm=(0.8, 0.0), travel_mm=(-0.4, 0.4))
    sweep(bench, math.pi / 2)
    angle, value = sweep(bench, 2 * math.pi)
    push = -(0.8 * np.cos(angle) - 0.8)  # first order; it starts at zero on the right
    assert value.max() == 0.4
    assert np.mean(np.isclose(value, 0.4)) == pytest.approx(np.mean(push > 0.4), abs=0.03)
    bench.set_reach(-1.2)
    bench.settle()
    angle, value = sweep(bench, 2 * math.pi)
    assert value.min() == -0.4
    assert bench.truth().push_mm < -0.4 or value.max() > -0.4


def test_the_stylus_let_out_loads_the_dial():
    for surface in ("bore", "bar"):
        bench = bench_of(surface=surface)
        bench.set_reach(0.25)
        bench.settle()
        assert bench.truth().reading_mm == pytest.approx(0.25)


def test_without_its_indicator_nothing_is_read():
    bench = bench_of(travel_mm=(-0.4, 0.4))
    bench.fit_indicator(False)
    assert bench.truth().reading_mm == -0.4
    assert not bench.state().indicator_fitted
    bench.fit_indicator(True)
    assert bench.truth().reading_mm == 0.0


def test_the_dials_own_error_is_one_wave_a_turn():
    bench = bench_of(dial_error_mm=0.002, dial_error_deg=0.0)
    bench.set_reach(0.25)
    bench.settle()
    assert bench.truth().reading_mm == pytest.approx(0.252)


# the layout in which the work turns


def test_a_turning_bar_shows_its_runout_to_a_still_dial():
    bench = bench_of(layout="still", surface="bar", offset_mm=(0.12, 0.05))
    angle, value = sweep(bench, 2 * math.pi)
    assert bench.truth().theta_rad == pytest.approx(2 * math.pi)
    assert np.all(np.diff(angle) < 0), "the work goes by the other way"
    _, a1, b1, *_ = harmonics(angle, value)
    assert (a1, b1) == pytest.approx((0.12, 0.05), abs=1e-6)


def test_the_stand_of_a_still_dial_rides_on_the_table():
    """Moved to the right, away from the bar on whose right side it reads, it reads less."""
    bench = bench_of(layout="still", surface="bar")
    bench.turn_handwheel("x", 0.1)
    bench.settle()
    assert bench.truth().reading_mm == pytest.approx(-0.1)
    assert bench.truth().offset_x_mm == 0.0


def test_the_collar_rises_with_the_stylus_angle():
    for layout in ("riding", "still"):
        bench = bench_of(layout=layout, surface="bar", collar_zero_deg=30.0)
        first = bench.truth()
        bench.turn_spindle(1.0)
        bench.settle()
        last = bench.truth()
        assert last.collar_rad - first.collar_rad == pytest.approx(
            last.stylus_rad - first.stylus_rad
        )


# specs


def test_random_specs_stay_in_the_range_of_the_closed_loop():
    rng = np.random.default_rng(9)
    specs = [random_spec(rng) for _ in range(300)]
    away = [math.hypot(*s.offset_mm) for s in specs]
    assert max(away) <= 0.8
    assert max(away) > 0.75
    assert 0.045 < max(s.ovality_mm for s in specs) <= 0.05
    assert 0.09 < max(s.backlash_x_mm for s in specs) <= 0.1
    assert {s.travel_mm for s in specs} == {(-0.4, 0.4)}
    assert {s.retrace_mm for s in specs} == {0.003}
    assert len({s.offset_mm for s in specs}) == 300


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"layout": "flying"}, "riding, still, orbiting"),
        ({"worn_mm": 0.1, "worn_deg": (10.0, 10.0)}, "needs an arc"),
        ({"worn_mm": 0.5, "worn_deg": (10.0, 14.0)}, "too deep"),
        ({"surface": "boss"}, "bore or bar"),
        ({"travel_mm": (0.4, -0.4)}, "travel must rise"),
        ({"seat_diameter_mm": math.nan}, "seat_diameter_mm must be a number"),
        ({"offset_mm": (20.0, 0.0)}, "offset must lie well inside"),
        ({"ovality_mm": 5.0}, "lobes are too large"),
        ({"tip_radius_mm": 30.0}, "tip must be smaller"),
        ({"backlash_x_mm": -0.1}, "cannot be negative"),
        ({"turn_s": 0.0}, "above 0"),
        ({"image_width": 10}, "320 x 180"),
        ({"collar_markers": 2}, "6 to 50"),
        ({"preload_mm": 9.0}, "inside the dial's travel"),
        ({"tilt_deg": 80.0}, "45 degrees"),
        ({"needle_shadow": 1.5}, "share from 0 to 1"),
        ({"shadow_edge_mm": 0.0}, "0.05 or more"),
    ],
)
def test_a_bench_that_cannot_be_is_refused_in_a_sentence(changes, words):
    with pytest.raises(BadInputError, match=words):
        replace(BenchSpec(), **changes)


def test_two_benches_of_one_seed_are_one():
    def path(seed):
        bench = Bench(random_spec(np.random.default_rng(seed)), np.random.default_rng(seed))
        return sweep(bench, 3.0)

    np.testing.assert_array_equal(path(1), path(1))
    assert not np.array_equal(path(1), path(2))
