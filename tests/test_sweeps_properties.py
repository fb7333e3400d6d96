"""What must not change when the frame of reference does."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from sweep_making import Work, stops, turn

from readings import Sweep
from sweeps import fit_turn

LIGHT = settings(max_examples=20, deadline=None)


def changed(sweep, value=None, angle=None, scale=1.0):
    return Sweep(
        sweep.t_s,
        sweep.value_mm if value is None else value,
        sweep.sigma_mm * scale,
        sweep.angle_rad if angle is None else angle,
        sweep.sigma_angle_rad,
        sense=sweep.sense,
        kind=sweep.kind,
    )


def base(seed=3):
    return turn(Work(oval_mm=0.006), np.random.default_rng(seed))


@LIGHT
@given(st.floats(-20, 20))
def test_turning_the_start_moves_only_the_phase(shift):
    one, other = fit_turn(base()), fit_turn(changed(base(), angle=base().angle_rad + shift))
    assert abs(one.eccentricity_mm - other.eccentricity_mm) < 1e-9
    assert abs(one.tir_mm - other.tir_mm) < 1e-8
    turned = np.radians(other.high_spot_deg - one.high_spot_deg) - shift
    assert abs(np.angle(np.exp(1j * turned))) < 1e-7


@LIGHT
@given(st.floats(-5, 5))
def test_turning_the_bezel_moves_only_the_mean(zero):
    one, other = fit_turn(base()), fit_turn(changed(base(), value=base().value_mm + zero))
    assert abs(other.mean_mm - one.mean_mm - zero) < 1e-9
    assert abs(other.eccentricity_mm - one.eccentricity_mm) < 1e-9


@LIGHT
@given(st.floats(0.3, 3))
def test_a_larger_reading_is_a_larger_result(factor):
    scaled = changed(base(), value=base().value_mm * factor, scale=factor)
    one, other = fit_turn(base()), fit_turn(scaled)
    assert abs(other.eccentricity_mm - factor * one.eccentricity_mm) < 1e-6


@LIGHT
@given(st.integers(0, 1000))
def test_mirrored_sense_mirrors_the_offset(seed):
    sweep = base(seed)
    one = fit_turn(sweep, surface="boss")
    other = fit_turn(changed(sweep, angle=-sweep.angle_rad), surface="boss")
    assert abs(one.offset_x_mm - other.offset_x_mm) < 1e-9
    assert abs(one.offset_y_mm + other.offset_y_mm) < 1e-9


@LIGHT
@given(st.permutations(list(range(8))))
def test_stops_in_any_order_say_the_same(order):
    sweep = stops(Work(), np.random.default_rng(4), per_turn=8)
    mixed = changed(sweep, value=sweep.value_mm[order], angle=sweep.angle_rad[order])
    one, other = fit_turn(sweep), fit_turn(mixed)
    assert abs(one.a1_mm - other.a1_mm) < 1e-9
    assert abs(one.b1_mm - other.b1_mm) < 1e-9
