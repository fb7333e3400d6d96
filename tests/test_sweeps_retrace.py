"""Retrace against a needle with play, worked out step by step."""

import numpy as np
import pytest
from sweep_making import played

from sweeps.retrace import kept_in_step, retrace_drag_mm, retrace_loss_mm

THETA = np.linspace(-2 * np.pi, 2 * np.pi, 40001)


def first_harmonic(amplitude_mm, play_mm):
    needle = played(amplitude_mm * np.cos(THETA), play_mm)[20001:]
    theta = THETA[20001:]
    return 2 * np.mean(needle * np.cos(theta)), 2 * np.mean(needle * np.sin(theta))


@pytest.mark.parametrize("amplitude", [0.0016, 0.003, 0.01, 0.15])
def test_describing_function_is_what_a_needle_with_play_does(amplitude):
    in_step, across = first_harmonic(amplitude, 0.003)
    assert in_step == pytest.approx(amplitude * kept_in_step(amplitude, 0.003), abs=2e-6)
    assert abs(across) <= retrace_drag_mm(0.003)
    assert retrace_loss_mm(in_step, 0.003) == pytest.approx(amplitude - in_step, abs=3e-6)


def test_small_retrace_follows_its_power_law_and_none_does_nothing():
    part = 0.003 / (2 * 0.15)
    assert 1 - kept_in_step(0.15, 0.003) == pytest.approx(16 / (3 * np.pi) * part**1.5, rel=0.02)
    assert kept_in_step(0.15, 0.0) == 1.0
    assert retrace_loss_mm(0.15, 0.0) == pytest.approx(0.0, abs=1e-12)


def test_a_needle_that_never_moved_may_hide_half_the_retrace():
    assert kept_in_step(0.0014, 0.003) == 0.0
    assert retrace_loss_mm(0.0, 0.003) == 0.0015
