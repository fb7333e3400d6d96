"""Where a round stylus tip meets a wall: exact geometry, no first-order formula.

The wall's radius seen from its own axis is ``R(φ) = R0 + Σ a_n cos n(φ - φ_n)``. The tip's
centre then lies on the curve at distance ρ inside a bore's wall (outside a bar's): the point
``P(φ) ∓ ρ n(φ)`` with the outward normal n. The arm lets the tip's centre slide along one
straight line; where that line meets the curve is the contact. For a circle this closes to
``s = e·u + sqrt((R ∓ ρ)² - (e × u)²)``, against which it is tested.
"""

import math
from dataclasses import dataclass

from readings import FaultError

_SMALL_RAD = 1e-13
_MOST_STEPS = 60


@dataclass(frozen=True, slots=True)
class Wall:
    """A wall round an axis: `lobes` are (order, amplitude mm, phase rad)."""

    radius_mm: float
    lobes: tuple[tuple[int, float, float], ...] = ()
    inside: bool = True
    """Whether the stylus touches from inside (a bore) or outside (a bar)."""
    worn: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Where the wall is worn away from the stylus: begin and width (rad), how deep (mm)."""

    def tip_centre(self, phi_rad: float, tip_radius_mm: float) -> tuple[float, float]:
        """Return the tip's centre (x, y in mm, from the work's axis) in touch at wall angle φ."""
        radius, slope = self.radius_mm, 0.0
        for order, size_mm, phase in self.lobes:
            radius += size_mm * math.cos(order * (phi_rad - phase))
            slope -= size_mm * order * math.sin(order * (phi_rad - phase))
        worn_mm, worn_slope = self._worn(phi_rad)
        radius, slope = radius + worn_mm, slope + worn_slope
        reach = (-tip_radius_mm if self.inside else tip_radius_mm) / math.hypot(radius, slope)
        along, across = radius + reach * radius, -reach * slope
        cos, sin = math.cos(phi_rad), math.sin(phi_rad)
        return along * cos - across * sin, along * sin + across * cos

    def _worn(self, phi_rad: float) -> tuple[float, float]:
        """Return what wear adds to radius and slope at φ: deepest in its middle."""
        begin, width, deep = self.worn
        gone = (phi_rad - begin) % (2 * math.pi)
        if not deep or gone >= width:
            return 0.0, 0.0
        away = deep if self.inside else -deep
        share = math.pi * gone / width
        return away * math.sin(share) ** 2, away * math.pi / width * math.sin(2 * share)

    def tip_orbit_mm(self, tip_radius_mm: float) -> float:
        """Return the mean radius of the curve on which the tip's centre runs (mm)."""
        return self.radius_mm + (-tip_radius_mm if self.inside else tip_radius_mm)


def contact_along(
    wall: Wall,
    axis_mm: tuple[float, float],
    stand_mm: tuple[float, float],
    direction_rad: float,
    tip_radius_mm: float,
) -> float:
    """Return how far along its line the tip's centre is when it touches the wall (mm).

    Parameters
    ----------
    axis_mm
        The work's axis (x, y), in the frame in which the wall stands still.
    stand_mm, direction_rad
        A point of the tip's line and the line's direction, in the same frame.

    Raises
    ------
    FaultError
        If the line misses the work.
    """
    cos, sin = math.cos(direction_rad), math.sin(direction_rad)
    to_x, to_y = axis_mm[0] - stand_mm[0], axis_mm[1] - stand_mm[1]
    orbit_mm = wall.tip_orbit_mm(tip_radius_mm)
    phi = direction_rad
    for _ in range(_MOST_STEPS):
        x, y = wall.tip_centre(phi, tip_radius_mm)
        beside = cos * (to_y + y) - sin * (to_x + x)
        step = beside / orbit_mm
        phi -= step
        if abs(step) < _SMALL_RAD:
            return cos * (to_x + x) + sin * (to_y + y)
    msg = "The virtual stylus does not meet the work: its line passes beside it."
    raise FaultError(msg)


def follow(place: float, target: float, play: float) -> float:
    """Return where a part with play stands after its driver went to `target`.

    It stays until the driver has taken up the play (full width `play`, centred), then goes
    along: Prandtl's play operator, the model of backlash and of a dial's retrace.

    >>> follow(0.0, 0.3, 0.2)
    0.2
    >>> follow(0.2, 0.15, 0.2)
    0.2
    """
    return min(max(place, target - play / 2), target + play / 2)
