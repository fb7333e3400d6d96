"""The helper that judges error bars passes true ones and catches false ones."""

import numpy as np
import pytest
from sweep_error_bars import Bar, check_full, check_light, joint


def mean_of(n, stretch=1.0, shift=0.0):
    def scene(rng):
        sample = rng.normal(0, 0.002, n)
        u = stretch * sample.std(ddof=1) / np.sqrt(n)
        return Bar(sample.mean() + shift, u, n - 1)

    return scene


def pair(stretch=1.0):
    def scene(rng):
        true = np.array([[1, 0], [0.5, 4]]) * 1e-3
        cov = true @ true.T
        error = true @ rng.normal(size=2)
        return {"both": joint(error, stretch**2 * cov)}

    return scene


@pytest.mark.parametrize("n", [4, 6, 40])
def test_the_mean_of_a_sample_is_passed(n):
    check_light(mean_of(n))
    check_full(mean_of(n), count=4000)
    check_light(pair())


@pytest.mark.parametrize(
    "scene",
    [mean_of(6, 0.7), mean_of(6, 1.4), mean_of(6, shift=0.0016), pair(0.75), pair(1.4)],
)
def test_a_wrong_bar_is_caught(scene):
    with pytest.raises(AssertionError, match=r"Tally|both"):
        check_light(scene)


@pytest.mark.parametrize("stretch", [0.9, 1.12])
def test_the_full_count_catches_a_tenth(stretch):
    with pytest.raises(AssertionError, match="Tally"):
        check_full(mean_of(20, stretch))
