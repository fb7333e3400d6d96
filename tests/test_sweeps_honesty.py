"""Is the error bar true? Scatter over stated sigma, and how often 95 % intervals hold."""

import numpy as np
import pytest
from scipy.stats import binom, chi2
from scipy.stats import t as student
from sweep_making import CLEAN_MM, TYPICAL_MM, Work, stops, turn

from sweeps import Allowance, fit_turn

ONLY_FIT = Allowance(retrace_mm=0.0, lag_s=0.0, reader_common=0.0, reader_floor_mm=0.0)
FULL, LIGHT = 3000, 300
SCENES = {
    "whole turn": lambda rng, work: turn(work, rng),
    "three quarters": lambda rng, work: turn(work, rng, arc_rad=np.radians(270)),
    "half": lambda rng, work: turn(work, rng, arc_rad=np.radians(190)),
    "eight stops": lambda rng, work: stops(work, rng, per_turn=8),
    "four stops": lambda rng, work: stops(work, rng, per_turn=4),
}


def standardised(scene, count, seed=11):
    """Return errors of e over stated sigma, Student's probability of each, and χ² of (a1, b1)."""
    rng = np.random.default_rng(seed)
    z, inside, square = [], 0, []
    for _ in range(count):
        work = Work(e_mm=0.15, high_rad=rng.uniform(0, 6.28))
        result = fit_turn(SCENES[scene](rng, work), allowance=ONLY_FIT)
        error = result.eccentricity_mm - work.e_mm
        z.append(error / result.u_eccentricity_mm)
        inside += abs(error) <= student.ppf(0.975, result.dof) * result.u_eccentricity_mm
        truth = work.e_mm * np.array([np.cos(work.high_rad), np.sin(work.high_rad)])
        away = np.array([result.a1_mm, result.b1_mm]) - truth
        square.append(away @ np.linalg.solve(result.covariance[1:3, 1:3], away))
    return np.array(z), inside, np.array(square)


def check(scene, count):
    z, inside, square = standardised(scene, count)
    low, high = np.sqrt(chi2.ppf([0.0005, 0.9995], count) / count)
    slack = 1.03  # Student's tails at finite degrees of freedom
    assert low / slack < np.sqrt(np.mean(z**2)) < high * slack
    assert binom.ppf(0.0005, count, 0.95) <= inside <= binom.ppf(0.9995, count, 0.95)
    assert 0.85 < np.mean(square) / 2 < 1.2


@pytest.mark.parametrize("scene", SCENES)
def test_stated_sigma_is_the_scatter_found(scene):
    check(scene, LIGHT)


@pytest.mark.long
@pytest.mark.parametrize("scene", SCENES)
def test_stated_sigma_is_the_scatter_found_in_full(scene):
    z, inside, _ = standardised(scene, FULL)
    assert 0.93 < np.sqrt(np.mean(z**2)) < 1.07
    assert 0.935 < inside / FULL < 0.965


def test_a_reader_that_errs_the_same_way_each_time_is_covered():
    """An error that depends on the needle's place does not average out over 150 pictures."""
    rng, z = np.random.default_rng(5), []
    for _ in range(60):
        work = Work(high_rad=rng.uniform(0, 6.28))
        sweep = turn(work, rng, noise_mm=CLEAN_MM)
        tilt, phase = rng.normal(0, TYPICAL_MM), rng.uniform(0, 6.28)
        bent = sweep.value_mm + tilt * np.sqrt(2) * np.cos(sweep.value_mm / 0.16 + phase)
        object.__setattr__(sweep, "value_mm", bent)
        object.__setattr__(sweep, "sigma_mm", np.full(len(sweep), TYPICAL_MM))
        result = fit_turn(sweep, allowance=Allowance(reader_floor_mm=0.0))
        z.append((result.eccentricity_mm - work.e_mm) / result.u_eccentricity_mm)
    assert 0.3 < np.std(z) < 1.25
    assert np.mean(np.abs(z) < 2) > 0.85


def test_a_smooth_error_of_the_scale_is_covered_by_the_stated_floor():
    """Errors to 0.016 division, smooth along the scale, that no sigma of a reading shows."""
    rng, z = np.random.default_rng(6), []
    for _ in range(60):
        work = Work(high_rad=rng.uniform(0, 6.28))
        sweep = turn(work, rng, noise_mm=CLEAN_MM)
        bent = sweep.value_mm + 1.6e-4 * np.cos(sweep.value_mm / 0.16 + rng.uniform(0, 6.28))
        object.__setattr__(sweep, "value_mm", bent)
        result = fit_turn(sweep)
        z.append((result.eccentricity_mm - work.e_mm) / result.u_eccentricity_mm)
    assert np.max(np.abs(z)) < 2
    assert 0.2 < np.std(z) < 1.1


def test_order_is_chosen_by_the_angles_alone():
    rng = np.random.default_rng(1)
    whole = fit_turn(turn(Work(), rng))
    half = fit_turn(turn(Work(), rng, arc_rad=np.radians(190)))
    assert whole.model.order == 15
    assert half.model.order <= 3
    assert half.u_total_mm > 3 * half.u_eccentricity_mm  # the roundness it cannot see
    assert "short arc" in half.flags
