"""Sub-pixel offsets of bars and edges by a linearised matched filter.

A profile across a mark or a needle is `bar(v - offset) * contrast` on a background that may
slope or step. Sampled where the bar is expected, the offset is small, so the profile is
linear in (background, slope, contrast, contrast * offset): one small least-squares problem
each, solved for all profiles at once.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

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


_GAMMA = 2.2


def linear(values: Float) -> Float:
    """Return display grey levels (0 to 255) as light, 0 to 1."""
    return np.asarray((np.maximum(values, 0.0) / 255.0) ** _GAMMA)


def match(profiles: Float, basis: Float, weights: Float | None = None) -> Offsets:
    """Fit profiles (n, m) with `basis` (n, m, p) whose last two columns are shape and derivative.

    Returns the offset derivative coefficient / shape coefficient, to first order. Singular
    problems come back with infinite sigma.
    """
    weighted = basis if weights is None else basis * weights[..., None]
    normal = np.einsum("nmi,nmj->nij", weighted, basis)
    size = basis.shape[2]
    scale = np.einsum("nii->n", normal) / size + 1e-30
    normal = normal + (1e-9 * scale)[:, None, None] * np.eye(size)
    inverse = np.linalg.inv(normal)
    solved = np.einsum("nij,nmj,nm->ni", inverse, weighted, profiles)
    rest = profiles - np.einsum("nmi,ni->nm", basis, solved)
    kept = np.full(len(profiles), profiles.shape[1], dtype=float)
    if weights is not None:
        rest, kept = rest * weights, weights.sum(axis=1)
    freedom = np.maximum(kept - size, 1.0)
    noise = np.sqrt(np.einsum("nm,nm->n", rest, rest) / freedom)
    contrast = solved[:, -2]
    with np.errstate(divide="ignore", invalid="ignore"):
        offset = solved[:, -1] / contrast
        sigma = noise * np.sqrt(np.maximum(inverse[:, -1, -1], 0.0)) / np.abs(contrast)
    bad = ~np.isfinite(offset) | ~np.isfinite(sigma)
    return Offsets(
        np.where(bad, 0.0, offset), contrast, solved[:, 0], noise, np.where(bad, np.inf, sigma)
    )
