"""What is stated of one input, as the GUM (JCGM 100) and its Monte Carlo (JCGM 101) see it.

Every distribution has zero mean; the input's value is added by whoever uses it. Each gives
its standard uncertainty `u` with degrees of freedom `dof` for the one road, and draws for
the other.
"""

from dataclasses import dataclass
from math import inf, isfinite, pi, sqrt
from typing import Protocol

import numpy as np

from sweeps.fourier import Float


class Distribution(Protocol):
    """Anything that states an uncertainty and can be drawn from."""

    @property
    def u(self) -> float:
        """Standard uncertainty (k = 1) that the GUM's road takes."""

    @property
    def dof(self) -> float:
        """Degrees of freedom of `u`; infinite where it is taken as known."""

    def draw(self, rng: np.random.Generator, count: int) -> Float:
        """Return ``(count,)`` draws about zero."""


@dataclass(frozen=True, slots=True)
class Student:
    """A mean of repeated readings: scaled and shifted t (JCGM 101, 6.4.9); normal at ν = ∞.

    >>> Student(0.5).dof
    inf
    """

    u: float
    dof: float = inf

    def draw(self, rng: np.random.Generator, count: int) -> Float:
        """Return ``u`` times draws of Student's t."""
        if isfinite(self.dof):
            return np.asarray(self.u * rng.standard_t(self.dof, count))
        return np.asarray(self.u * rng.standard_normal(count))


@dataclass(frozen=True, slots=True)
class Rectangular:
    """Anywhere within ± `half_width`, evenly: u = a/√3 (JCGM 100, 4.3.7).

    `doubt` is how far the limits themselves may be wrong: a curvilinear trapezoid
    (JCGM 101, 6.4.3), of which the GUM's road knows ``ν = (a / doubt)² / 2`` (G.4.2).

    >>> round(Rectangular(0.005).u, 4)
    0.0029
    """

    half_width: float
    doubt: float = 0.0

    @property
    def u(self) -> float:
        """Standard uncertainty; the limits as stated."""
        return self.half_width / sqrt(3)

    @property
    def dof(self) -> float:
        """Degrees of freedom from the doubt about the limits."""
        return (self.half_width / self.doubt) ** 2 / 2 if self.doubt > 0 else inf

    def draw(self, rng: np.random.Generator, count: int) -> Float:
        """Return even draws between limits that are drawn themselves where they are in doubt."""
        low = -self.half_width + self.doubt * rng.uniform(-1.0, 1.0, count)
        return np.asarray(low - 2 * low * rng.uniform(0.0, 1.0, count))


@dataclass(frozen=True, slots=True)
class Triangular:
    """Within ± `half_width`, the middle likelier: u = a/√6 (JCGM 100, 4.3.9)."""

    half_width: float

    @property
    def u(self) -> float:
        """Standard uncertainty."""
        return self.half_width / sqrt(6)

    @property
    def dof(self) -> float:
        """Infinite: the limits are taken as known."""
        return inf

    def draw(self, rng: np.random.Generator, count: int) -> Float:
        """Return the sum of two even draws."""
        pair = rng.uniform(-0.5, 0.5, (2, count))
        return np.asarray(self.half_width * (pair[0] + pair[1]))


@dataclass(frozen=True, slots=True)
class Arcsine:
    """One coordinate of a thing of known size and unknown direction: u = a/√2.

    Also a temperature that swings as a sine (JCGM 101, 6.4.6).
    """

    half_width: float

    @property
    def u(self) -> float:
        """Standard uncertainty."""
        return self.half_width / sqrt(2)

    @property
    def dof(self) -> float:
        """Infinite: the size is taken as known."""
        return inf

    def draw(self, rng: np.random.Generator, count: int) -> Float:
        """Return a times the sine of an even angle."""
        return np.asarray(self.half_width * np.sin(rng.uniform(-pi, pi, count)))


@dataclass(frozen=True, slots=True)
class Scaled:
    """Another distribution times a factor: an input as it stands on the result."""

    of: Distribution
    factor: float

    @property
    def u(self) -> float:
        """Standard uncertainty."""
        return abs(self.factor) * self.of.u

    @property
    def dof(self) -> float:
        """The input's degrees of freedom."""
        return self.of.dof

    def draw(self, rng: np.random.Generator, count: int) -> Float:
        """Return the input's draws times the factor."""
        return self.factor * self.of.draw(rng, count)


def span(width: float) -> Rectangular:
    """Return a limit stated as a whole span S, such as a dial's whole-range error: u = S/√12.

    >>> round(span(0.010).u, 5)
    0.00289
    """
    return Rectangular(width / 2)


def resolution(graduation_mm: float, read_to: float = 5.0) -> Rectangular:
    """Return what reading to a share of a graduation leaves open: u = (d/5)/√12.

    >>> round(resolution(0.01).u, 6)
    0.000577
    """
    return span(graduation_mm / read_to)
