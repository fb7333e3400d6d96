"""Pauses are found by themselves."""

import numpy as np
import pytest

from sweeps import find_stops

FPS = 15.0


def clip(levels, rng, *, pause=25, move=12, noise=2e-5, first_move=0):
    """Readings as of a clip: pauses with smooth moves between; returns (t, value)."""
    parts = []
    for here, there in zip(levels, [*levels[1:], None], strict=True):
        parts.append(np.full(pause, here))
        if there is not None:
            ease = (1 - np.cos(np.pi * (np.arange(1, move) / move))) / 2
            parts.append(here + (there - here) * ease)
    value = np.concatenate(parts)
    return np.arange(len(value)) / FPS, value + rng.normal(0, noise, len(value))


def found(t, value, sigma=2e-5, **kwargs):
    return find_stops(t, value, np.full(len(t), sigma), **kwargs)


LEVELS = [0.016, -0.007, 0.012, 0.028, 0.016]


def test_five_pauses_with_their_readings_and_times():
    stops = found(*clip(LEVELS, np.random.default_rng(1)))
    assert [s.value_mm for s in stops] == pytest.approx(LEVELS, abs=2e-5)
    assert [s.value_mm for s in stops] != pytest.approx(np.array(LEVELS) + 6e-05, abs=2e-05)
    assert [s.at_s for s in stops] == pytest.approx(np.arange(5) * 36 / FPS + 12 / FPS, abs=0.15)
    for stop in stops:
        assert stop.n >= 20
        assert stop.sigma_mm > 1.9e-5  # one picture's sigma is kept whole
        assert stop.spread_mm < 4e-5


@pytest.mark.parametrize("hidden", [(3, 12), (30, 44), (60, 70), (0, 16)])
def test_a_hand_before_the_dial_is_skipped(hidden):
    t, value = clip(LEVELS, np.random.default_rng(2))
    seen = np.ones(len(t), dtype=bool)
    seen[slice(*hidden)] = False
    stops = found(t[seen], value[seen])
    assert [s.value_mm for s in stops] == pytest.approx(LEVELS, abs=3e-5)


def test_a_halt_on_the_way_is_no_stop():
    _t, value = clip([0.0, 0.05, 0.1, 0.15], np.random.default_rng(3), pause=30)
    halt = np.concatenate([value[:36], np.full(5, value[36]), value[36:]])
    stops = found(np.arange(len(halt)) / FPS, halt)
    assert [s.value_mm for s in stops] == pytest.approx([0.0, 0.05, 0.1, 0.15], abs=5e-5)


def test_nothing_stands_still_while_turning():
    t = np.arange(300) / FPS
    moving = 0.15 * np.cos(2 * np.pi * t / 6)
    stops = found(t, moving + np.random.default_rng(4).normal(0, 2e-5, 300), sigma=2e-5)
    assert stops == ()
    assert find_stops([], [], []) == ()


def test_a_misread_frame_does_not_split_a_pause():
    t, value = clip(LEVELS, np.random.default_rng(5))
    value[10] += 0.004
    stops = found(t, value)
    assert [s.value_mm for s in stops] == pytest.approx(LEVELS, abs=3e-5)
