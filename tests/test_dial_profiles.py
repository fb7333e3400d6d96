"""Sub-pixel offsets of bars and stripes, on profiles drawn here and against outside fits."""

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.special import erf

from readings.median import median
from vision.dial_profiles import bar, edge, match, match_bars, match_ends, match_stripe
from vision.dial_smear import smeared_bar

NOISE = 0.02
V = np.linspace(-8.0, 8.0, 21)


def stripe(v, middle, half, blur, left=1.0, right=1.0, inside=0.2):
    """A stripe by the error function, written apart from the code under test."""
    a = 0.5 * (1 + erf((v - middle + half) / (np.sqrt(2) * blur)))
    b = 0.5 * (1 + erf((v - middle - half) / (np.sqrt(2) * blur)))
    return left * (1 - a) + inside * (a - b) + right * b


def bars(offsets, half=1.0, blur=0.9, rng=None):
    drawn = np.array([0.7 * (1 - stripe(V, o, half, blur, inside=0.0)) + 0.1 for o in offsets])
    return drawn if rng is None else drawn + rng.normal(0, NOISE, drawn.shape)


def basis(count, half=1.0, blur=0.9):
    v = np.tile(V, (count, 1))
    shape, slope = bar(v, half, blur)
    return np.stack([np.ones_like(v), v / V.max(), shape, slope], axis=2)


def test_bar_offset_is_found_to_a_hundredth_of_a_pixel():
    offsets = np.array([-0.2, -0.1, 0.0, 0.1, 0.2])
    seen = match(bars(offsets), basis(5))
    np.testing.assert_allclose(seen.offset_px, offsets, atol=0.012)
    np.testing.assert_allclose(seen.contrast, 0.7, atol=0.03)


def test_bar_sigma_tells_its_scatter():
    rng = np.random.default_rng(3)
    seen = match(bars(np.zeros(4000), rng=rng), basis(4000))
    ratio = np.std(seen.offset_px / seen.sigma_px)
    assert 0.9 < ratio < 1.15


def test_bar_agrees_with_scipy_curve_fit():
    """Outside truth: scipy.optimize.curve_fit of the nonlinear model on the same profiles."""
    rng = np.random.default_rng(8)
    drawn = bars(rng.uniform(-0.15, 0.15, 40), rng=rng)
    seen = match(drawn, basis(40))
    for profile, offset, sigma in zip(drawn, seen.offset_px, seen.sigma_px, strict=True):
        fit, covariance = curve_fit(
            lambda v, m, c, a, b: a + b * v + c * (1 - stripe(v, m, 1.0, 0.9, inside=0.0)),
            V,
            profile,
            p0=(0, 0.7, 0.1, 0),
        )
        assert abs(offset - fit[0]) < 0.02
        assert sigma == pytest.approx(np.sqrt(covariance[0, 0]), rel=0.1)


FIELDS = ("offset_px", "contrast", "background", "noise", "sigma_px")


def test_closed_form_of_bars_is_the_general_fit():
    """Second road: level, slope, bar and derivative as one least-squares problem."""
    drawn = bars(np.linspace(-0.3, 0.3, 30), rng=np.random.default_rng(4))
    quick = match_bars(np.tile(V, (30, 1)), drawn, np.full(30, 1.0), 0.9)
    whole = match(drawn, basis(30))
    for name in FIELDS:
        np.testing.assert_allclose(getattr(quick, name), getattr(whole, name), rtol=1e-5, atol=1e-7)


def test_closed_form_of_ends_is_the_general_fit():
    u = np.tile(np.linspace(-4.0, 4.0, 13), (20, 1))
    drawn = 0.2 + 0.6 * edge(u - np.linspace(-0.3, 0.3, 20)[:, None], 0.9)[0]
    drawn += np.random.default_rng(5).normal(0, NOISE, drawn.shape)
    shape, slope = edge(u, 0.9)
    whole = match(drawn, np.stack([np.ones_like(u), shape, slope], axis=2))
    quick = match_ends(u, drawn, 0.9)
    for name in FIELDS:
        np.testing.assert_allclose(getattr(quick, name), getattr(whole, name), rtol=1e-5, atol=1e-7)


def test_quick_median_is_numpys():
    rng = np.random.default_rng(6)
    for count in (1, 2, 7, 100):
        values = rng.normal(size=count)
        assert median(values) == np.median(values)
    assert np.isnan(median(np.array([])))


def test_nothing_to_see_has_no_offset():
    seen = match(np.zeros((1, len(V))), basis(1))
    assert seen.sigma_px[0] == np.inf


@pytest.mark.parametrize("half", [0.7, 2.0, 4.0])
@pytest.mark.parametrize("right", [1.0, 0.6])
def test_stripe_between_unequal_backgrounds(half, right):
    offsets = np.array([-0.15, 0.0, 0.15])
    drawn = np.array([stripe(V, o, half, 0.9, right=right) for o in offsets])
    v = np.tile(V, (3, 1))
    seen = match_stripe(v, drawn, np.full(3, half), 0.9)
    np.testing.assert_allclose(seen.offset_px, offsets, atol=0.03)
    shifted = match_stripe(v, np.roll(drawn, 1, axis=1), np.full(3, half), 0.9)
    assert np.all(shifted.offset_px - seen.offset_px > 0.3)


def test_stripe_of_unknown_width_keeps_its_middle():
    drawn = np.array([stripe(V, 0.1, 2.4, 0.9)])
    seen = match_stripe(V[None], drawn, np.array([2.0]), 0.9)
    assert seen.offset_px[0] == pytest.approx(0.1, abs=0.02)
    assert seen.widen_px[0] > 0.2


def test_smeared_bar_is_the_mean_of_bars():
    """Second road: average many still bars over the exposure."""
    places = (np.arange(2000) + 0.5) * 0.0025 - 2.5
    mean = np.mean([bar(V - p, 1.2, 0.8)[0] for p in places], axis=0)
    shape, slope = smeared_bar(V, 1.2, 5.0, 0.8)
    np.testing.assert_allclose(shape, mean, atol=2e-4)
    moved = smeared_bar(V - 1e-4, 1.2, 5.0, 0.8)[0]
    np.testing.assert_allclose(slope, (moved - shape) / 1e-4, atol=1e-3)


def test_edge_derivative():
    shape, slope = edge(V, 0.8)
    moved, _ = edge(V - 1e-5, 0.8)
    np.testing.assert_allclose(slope, (moved - shape) / 1e-5, atol=1e-4)
