"""Sub-pixel offsets of bars and edges by a linearised matched filter.

A profile across a mark or a needle is `bar(v - offset) * contrast` on a background that may
slope or step. Sampled where the bar is expected, the offset is small, so the profile is
linear in (background, slope, contrast, contrast * offset): one small least-squares problem
each, solved for all profiles at once.
"""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from readings.median import median

Float = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Offsets:
    """What n profiles say; `noise` and `contrast` in grey levels, the others in pixels."""

    offset_px: Float
    contrast: Float
    background: Float
    """Grey level under the bar: the first column of the basis is a constant."""
    noise: Float
    sigma_px: Float
    """k = 1 from the profile's own residual; infinite where nothing was seen."""


def bar(v_px: Float, half_width_px: Float, blur_px: Float | float) -> tuple[Float, Float]:
    """Return a blurred bar of height 1 and its derivative to the position of its centre.

    Arguments broadcast; `blur_px` is the standard deviation of a Gaussian.
    """
    right, left = (v_px - half_width_px) / blur_px, (v_px + half_width_px) / blur_px
    shape = ndtr(left) - ndtr(right)
    density = np.exp(-0.5 * right * right) - np.exp(-0.5 * left * left)
    return shape, density / (np.sqrt(2 * np.pi) * blur_px)


def edge(v_px: Float, blur_px: Float | float) -> tuple[Float, Float]:
    """Return a blurred step from 1 to 0 at v = 0 and its derivative to the step's position."""
    x = v_px / blur_px
    return ndtr(-x), np.exp(-0.5 * x * x) / (np.sqrt(2 * np.pi) * blur_px)


_LIGHT = (np.arange(256) / 255.0) ** 2.2


def linear(values: NDArray[Any]) -> Float:
    """Return display grey levels (0 to 255) as light, 0 to 1."""
    whole = (
        values if values.dtype == np.uint8 else np.clip(np.rint(values), 0, 255).astype(np.uint8)
    )
    return np.asarray(_LIGHT[whole])


def match(profiles: Float, basis: Float, weights: Float | None = None) -> Offsets:
    """Fit profiles (n, m) with `basis` (n, m, p) whose last two columns are shape and derivative.

    Returns the offset derivative coefficient / shape coefficient, to first order. Singular
    problems come back with infinite sigma.
    """
    weighted = basis if weights is None else basis * weights[..., None]
    turned = weighted.transpose(0, 2, 1)
    normal = turned @ basis
    size = basis.shape[2]
    scale = np.trace(normal, axis1=1, axis2=2) / size + 1e-30
    normal = normal + (1e-9 * scale)[:, None, None] * np.eye(size)
    inverse = np.linalg.inv(normal)
    solved = (inverse @ (turned @ profiles[..., None]))[..., 0]
    rest = profiles - (basis @ solved[..., None])[..., 0]
    kept = np.full(len(profiles), profiles.shape[1], dtype=float)
    if weights is not None:
        rest, kept = rest * weights, weights.sum(axis=1)
    freedom = np.maximum(kept - size, 1.0)
    noise = np.sqrt(np.sum(rest * rest, axis=1) / freedom)
    factor = np.maximum(inverse[:, -1, -1], 0.0)
    return _offsets(solved[:, -1], solved[:, -2], solved[:, 0], noise, factor)


def _dot(a: Float, b: Float) -> Float:
    return np.asarray(np.einsum("nm,nm->n", a, b))


def _two_by_two(a: Float, b: Float, profiles: Float) -> tuple[Float, Float, Float, Float]:
    """Return least-squares coefficients of columns a and b, b's variance factor, energy fitted."""
    aa, ab, bb = _dot(a, a), _dot(a, b), _dot(b, b)
    pa, pb = _dot(profiles, a), _dot(profiles, b)
    inside = np.maximum(aa * bb - ab * ab, 1e-12 * aa * bb + 1e-300)
    first, second = (bb * pa - ab * pb) / inside, (aa * pb - ab * pa) / inside
    return first, second, aa / inside, first * pa + second * pb


def match_bars(v_px: Float, profiles: Float, half_px: Float, blur_px: Float | float) -> Offsets:
    """Fit profiles (n, m) as `match` does with level, slope, bar and its derivative.

    `blur_px` is one for all or (n, 1).
    `v_px` must be symmetric about zero: then level and bar are even, slope and derivative odd,
    and each profile's problem falls apart into two of two unknowns.
    """
    return match_even(v_px, profiles, *bar(v_px, half_px[:, None], blur_px))


def match_even(v_px: Float, profiles: Float, shape: Float, derivative: Float) -> Offsets:
    """Fit profiles (n, m) as `match` does with level, slope, an even shape and its derivative.

    `v_px` must be symmetric about zero, `shape` even and `derivative` odd in it.
    """
    mean = profiles.mean(axis=1, keepdims=True)
    rest = profiles - mean
    level, contrast, _, even = _two_by_two(np.ones_like(shape), shape, rest)
    _, moved, factor, odd = _two_by_two(v_px, derivative, rest)
    left = np.maximum(_dot(rest, rest) - even - odd, 0.0)
    noise = np.sqrt(left / max(1.0, v_px.shape[1] - 4.0))
    return _offsets(moved, contrast, level + mean[:, 0], noise, factor)


def match_ends(u_px: Float, profiles: Float, blur_px: float) -> Offsets:
    """Fit profiles (n, m) as `match` does with level, step and its derivative.

    `u_px` must be symmetric about zero: but for its mean the step is odd, all else even.
    """
    shape, derivative = edge(u_px, blur_px)
    odd = shape - 0.5
    mean = profiles.mean(axis=1, keepdims=True)
    rest = profiles - mean
    size = _dot(odd, odd)
    along = _dot(rest, odd)
    step = along / size
    level, moved, factor, even = _two_by_two(np.ones_like(odd), derivative, rest)
    left = np.maximum(_dot(rest, rest) - along * step - even, 0.0)
    noise = np.sqrt(left / max(1.0, u_px.shape[1] - 3.0))
    under = level - 0.5 * step + mean[:, 0]
    return _offsets(moved, step, under, noise, factor)


def _offsets(
    moved: Float, contrast: Float, background: Float, noise: Float, factor: Float
) -> Offsets:
    """Return offsets from the derivative's coefficient and its variance factor."""
    with np.errstate(divide="ignore", invalid="ignore"):
        offset = moved / contrast
        sigma = noise * np.sqrt(factor) / np.abs(contrast)
    bad = ~np.isfinite(offset) | ~np.isfinite(sigma)
    offset, sigma = np.where(bad, 0.0, offset), np.where(bad, np.inf, sigma)
    return Offsets(offset, contrast, background, noise, sigma)


@dataclass(frozen=True, slots=True, eq=False)
class Stripes:
    """What n profiles across an opaque stripe say: its middle, its width, its contrast."""

    offset_px: Float
    widen_px: Float
    """How much half the width differs from what was assumed, each pulled to 0 by a prior."""
    contrast: Float
    """Stripe over the mean of the backgrounds on its two sides."""
    noise: Float
    sigma_px: Float


_WIDTH_PRIOR_PX = 0.5


_SLOPE_PRIOR = 0.15  # how firmly backgrounds are held to being level


@dataclass(frozen=True, slots=True, eq=False)
class StripeShapes:
    """What n profiles of m samples across stripes are fitted with, whatever they show.

    Solved as far as it goes without the profiles: they then cost a few products each, and two
    unknowns, shift and widening, beside the five levels that are eliminated (Schur complement).
    """

    levels: Float
    """(n, m, 5): left, right, their slopes, the stripe."""
    solve: Float
    """(n, 5, m) from profiles to levels."""
    slopes: Float
    """(n, 2, m) derivatives of left and right edge."""
    follow: Float
    """(n, 5, 2) what the levels take of the derivatives."""
    freed: Float
    """(n, m, 2) the derivatives freed of it."""
    inner: Float
    """(n, 2, 2) products of derivatives and freed ones."""

    def take(self, rows: NDArray[np.intp]) -> "StripeShapes":
        """Return the shapes of some rows, in any order and any number of times."""
        return StripeShapes(*(getattr(self, field.name)[rows] for field in fields(self)))

    def match(self, profiles: Float) -> Stripes:
        """Fit profiles (n, m) as `match_stripe` says."""
        first = _times(self.solve, profiles)
        rest = profiles - _times(self.levels, first)
        prior = median(_noise(rest)) ** 2 / _WIDTH_PRIOR_PX**2
        left, right = first[:, 0] - first[:, 4], first[:, 4] - first[:, 1]
        shift, widen, factor = _shift_widen(
            left, right, _times(self.slopes, rest), self.inner, prior
        )
        edges = np.stack([left * (shift - widen), right * (shift + widen)], axis=1)
        levels = first - _times(self.follow, edges)
        noise = _noise(rest - _times(self.freed, edges))
        sigma = noise * np.sqrt(np.maximum(factor, 0.0))
        good = np.isfinite(sigma) & np.isfinite(shift)
        return Stripes(
            np.where(good, shift, 0.0),
            np.where(good, widen, 0.0),
            levels[:, 4] - (levels[:, 0] + levels[:, 1]) / 2,
            noise,
            np.where(good, sigma, np.inf),
        )


def _times(matrix: Float, vector: Float) -> Float:
    return np.asarray(np.einsum("nij,nj->ni", matrix, vector))


def _noise(rest: Float) -> Float:
    return np.asarray(np.sqrt(_dot(rest, rest) / max(1, rest.shape[1] - 7)))


def _shift_widen(
    left: Float, right: Float, seen: Float, inner: Float, prior: float
) -> tuple[Float, Float, Float]:
    """Return shift, widening and the shift's variance factor from the edges' steps.

    `seen` (n, 2) are the products of the edges' derivatives with what is left of the profiles.
    """
    a, b, both = left**2 * inner[:, 0, 0], right**2 * inner[:, 1, 1], left * right * inner[:, 0, 1]
    shifts, widens, mixed = a + b + 2 * both + 1e-12, a + b - 2 * both + 1e-12 + prior, b - a
    for_shift, for_widen = (
        left * seen[:, 0] + right * seen[:, 1],
        right * seen[:, 1] - left * seen[:, 0],
    )
    size = shifts * widens - mixed**2
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = (widens * for_shift - mixed * for_widen) / size
        widen = (shifts * for_widen - mixed * for_shift) / size
        return shift, widen, widens / size


def stripe_shapes(v_px: Float, half_px: Float, blur_px: float) -> StripeShapes:
    """Prepare the fit of stripes of half widths (n,) in profiles sampled at `v_px` (n, m)."""
    half = half_px[:, None]
    left, left_slope = edge(v_px + half, blur_px)
    right_inv, right_slope = edge(v_px - half, blur_px)
    right = 1.0 - right_inv
    inside = 1.0 - left - right
    scale = np.abs(v_px).max(axis=1, keepdims=True)
    ramps = [left * (v_px + half) / scale, right * (v_px - half) / scale]
    turned = np.stack([left, right, *ramps, inside], axis=1)
    levels = turned.transpose(0, 2, 1)
    slopes = np.stack([left_slope, right_slope], axis=1)
    weak = np.diag([1e-9, 1e-9, _SLOPE_PRIOR, _SLOPE_PRIOR, 1e-9])
    solve = np.asarray(np.linalg.inv(turned @ levels + weak) @ turned, dtype=np.float64)
    follow = solve @ slopes.transpose(0, 2, 1)
    freed = slopes.transpose(0, 2, 1) - levels @ follow
    return StripeShapes(levels, solve, slopes, follow, freed, slopes @ freed)


def match_stripe(v_px: Float, profiles: Float, half_px: Float, blur_px: float) -> Stripes:
    """Fit profiles (n, m) as an opaque stripe between two backgrounds that may differ and slope.

    A needle hides what is under it, and its shadow lies on one side: each side has its own
    level and slope, the stripe one level. Both edges share one shift; the width may give a
    little. First the levels, then levels and edges together, to first order.
    """
    return stripe_shapes(v_px, half_px, blur_px).match(profiles)
