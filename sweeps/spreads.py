"""What is stated of a point in the plane: a place, or a lean, in X and Y at once."""

from dataclasses import dataclass, field
from math import inf, pi
from typing import Protocol

import numpy as np

from sweeps.budget import BudgetLine, combine
from sweeps.distributions import Distribution
from sweeps.fourier import Float


class Spread(Protocol):
    """Anything that states a (2, 2) covariance and can be drawn from."""

    @property
    def covariance(self) -> Float:
        """Covariance of (x, y)."""

    @property
    def dof(self) -> float:
        """Degrees of freedom of that covariance."""

    def draw(self, rng: np.random.Generator, count: int) -> Float:
        """Return ``(count, 2)`` draws about zero."""


@dataclass(frozen=True, slots=True)
class OnCircle:
    """A known size in an unknown direction: a runout, a plug that always leans on one side."""

    radius: float

    @property
    def covariance(self) -> Float:
        """Half of the square in either axis."""
        return np.diag(np.full(2, self.radius**2 / 2))

    @property
    def dof(self) -> float:
        """Infinite: the size is taken as known."""
        return inf

    def draw(self, rng: np.random.Generator, count: int) -> Float:
        """Return points on the circle."""
        angle = rng.uniform(-pi, pi, count)
        return self.radius * np.column_stack([np.cos(angle), np.sin(angle)])


@dataclass(frozen=True, slots=True)
class InDisc:
    """Anywhere within a circle, evenly: a limit in any direction."""

    radius: float

    @property
    def covariance(self) -> Float:
        """A quarter of the square in either axis."""
        return np.diag(np.full(2, self.radius**2 / 4))

    @property
    def dof(self) -> float:
        """Infinite: the limit is taken as known."""
        return inf

    def draw(self, rng: np.random.Generator, count: int) -> Float:
        """Return points within the circle."""
        far = np.sqrt(rng.uniform(0.0, 1.0, count))
        return far[:, None] * OnCircle(self.radius).draw(rng, count)


@dataclass(frozen=True, slots=True)
class PerAxis:
    """X and Y each with their own distribution; None where an axis is not touched."""

    x: Distribution | None = None
    y: Distribution | None = None

    @property
    def covariance(self) -> Float:
        """Diagonal."""
        return np.diag([0.0 if one is None else one.u**2 for one in (self.x, self.y)])

    @property
    def dof(self) -> float:
        """Effective degrees of freedom of both together (Welch-Satterthwaite)."""
        known = [one for one in (self.x, self.y) if one is not None]
        return combine(BudgetLine("", one.u, one.dof) for one in known).dof

    def draw(self, rng: np.random.Generator, count: int) -> Float:
        """Return independent draws of either axis."""
        each = [np.zeros(count) if d is None else d.draw(rng, count) for d in (self.x, self.y)]
        return np.column_stack(each)


@dataclass(frozen=True, slots=True, eq=False)
class NormalPoint:
    """A measured place: normal with this covariance, Student's t at few degrees of freedom."""

    covariance: Float = field(default_factory=lambda: np.eye(2))
    dof: float = inf

    def draw(self, rng: np.random.Generator, count: int) -> Float:
        """Return normal or t draws of this covariance matrix."""
        values, vectors = np.linalg.eigh(self.covariance)
        root = vectors * np.sqrt(np.maximum(values, 0.0))
        points = rng.standard_normal((count, 2)) @ root.T
        if self.dof < inf:
            points /= np.sqrt(rng.chisquare(self.dof, count) / self.dof)[:, None]
        return np.asarray(points)
