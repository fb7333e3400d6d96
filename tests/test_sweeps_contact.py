"""A sweep that ran out of travel or off the work yields no number."""

import numpy as np
import pytest
from sweep_making import Work, stops, turn

from readings import Sweep
from sweeps import detect_clipped, fit_turn

TRAVEL = (-0.4, 0.4)


def clipped(kind, rng):
    work = Work(
        e_mm=rng.uniform(0.45, 1.2),
        high_rad=rng.uniform(0, 6.28),
        oval_mm=rng.uniform(0, 0.05),
        constant_mm=rng.uniform(-0.02, 0.02),
    )
    limits = TRAVEL if kind == "both ends" else (rng.uniform(-0.4, 0.1), 2.0)
    return turn(
        work,
        rng,
        n=int(rng.integers(90, 400)),
        arc_rad=2 * np.pi * rng.uniform(1.0, 1.15),
        noise_mm=rng.choice([1e-4, 3e-4]),
        clip_mm=limits,
        retrace_mm=rng.choice([0.0, 0.003]),
    )


@pytest.mark.parametrize("kind", ["both ends", "off the work"])
def test_a_hundred_cut_sweeps_none_given_a_number(kind):
    rng = np.random.default_rng(7)
    for _ in range(100):
        result = fit_turn(clipped(kind, rng))
        assert not result
        assert set(result.flags) & {"stylus off the work", "end of travel"}
        assert "centre roughly first" in result.reason


def test_eighty_hundredths_on_a_dial_of_forty_is_refused_not_read_as_forty_nine():
    sweep = turn(Work(e_mm=0.8, constant_mm=0.0), np.random.default_rng(1), clip_mm=TRAVEL)
    assert detect_clipped(sweep) == ("end of travel", "stylus off the work")
    columns = np.column_stack(
        [np.ones(len(sweep)), np.cos(sweep.angle_rad), np.sin(sweep.angle_rad)]
    )
    naive = np.linalg.lstsq(columns, sweep.value_mm, rcond=None)[0]
    assert np.hypot(*naive[1:]) == pytest.approx(0.49, abs=0.01)  # what a blind fit would say


def test_a_needle_that_hardly_moved_is_told_from_one_that_was_cut_off():
    still = turn(Work(e_mm=0.0, constant_mm=0.0), np.random.default_rng(3), noise_mm=2e-5)
    found = fit_turn(still)
    assert not found
    assert "hardly moved" in found.reason
    assert fit_turn(still, travel_mm=TRAVEL), "with the travel known it is on the work"


def test_sound_sweeps_are_left_alone():
    rng, alarms = np.random.default_rng(8), 0
    for k in range(150):
        fine = k % 3 == 0
        work = Work(
            e_mm=rng.uniform(0, 0.03 if fine else 0.38),
            high_rad=rng.uniform(0, 6.28),
            oval_mm=rng.uniform(0, 0.02 if fine else 0.05),
            lobe3_mm=rng.uniform(0, 0.003),
        )
        sweep = turn(work, rng, noise_mm=rng.choice([1e-4, 3e-4]), retrace_mm=0.003)
        alarms += bool(detect_clipped(sweep))
    assert alarms <= 3


def test_a_top_that_a_hand_hid_is_no_flat_top():
    sweep = turn(Work(high_rad=3.0, oval_mm=0.015), np.random.default_rng(4))
    seen = np.abs(sweep.angle_rad - 3.0) > np.radians(43)
    columns = (sweep.t_s, sweep.value_mm, sweep.sigma_mm, sweep.angle_rad, sweep.sigma_angle_rad)
    hidden = Sweep(*(c[seen] for c in columns), sense=None)
    assert detect_clipped(hidden) == ()
    result = fit_turn(hidden)
    assert abs(result.eccentricity_mm - 0.15) < 2 * result.u_total_mm


def test_a_needle_at_rest_all_round_is_off_the_work():
    rng = np.random.default_rng(2)
    n, noise = 200, 1e-4
    rest = Sweep(
        np.arange(n) / 15,
        -0.4 + rng.normal(0, noise, n),
        np.full(n, noise),
        np.linspace(0, 6.5, n),
        np.full(n, 1e-4),
        sense=None,
    )
    assert detect_clipped(rest) == ("stylus off the work",)
    assert not fit_turn(rest)


def test_readings_near_a_taught_end_are_not_trusted():
    sweep = turn(Work(e_mm=0.36, constant_mm=0.035), np.random.default_rng(3))
    assert detect_clipped(sweep, TRAVEL) == ("end of travel",)
    assert detect_clipped(sweep, (-0.6, 0.6)) == ()
    assert not fit_turn(sweep, travel_mm=TRAVEL)
    four = stops(Work(e_mm=0.395, high_rad=0.0, constant_mm=0.0), np.random.default_rng(3))
    assert detect_clipped(four, TRAVEL) == ("end of travel", "stylus off the work")


def test_a_flag_that_came_with_the_sweep_is_honoured():
    sweep = turn(Work(), np.random.default_rng(3))
    flagged = Sweep(
        sweep.t_s, sweep.value_mm, sweep.sigma_mm, sweep.angle_rad, sweep.sigma_angle_rad,
        sense=None, flags=("end of travel",),
    )  # fmt: skip
    assert not fit_turn(flagged)
