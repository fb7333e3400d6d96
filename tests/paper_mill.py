"""A mill on paper: exact geometry of a stylus in a bore, no pictures, no project code.

Used to walk the guides fast. Signs are derived here from the placement alone.
"""

from dataclasses import dataclass, field
from math import cos, hypot, pi, sin, sqrt

import numpy as np


@dataclass
class PaperMill:
    """A bore under a spindle; a dial with travel, retrace and noise."""

    rng: np.random.Generator
    x_mm: float
    y_mm: float
    radius_mm: float = 26.0
    tip_mm: float = 1.0
    oval_mm: float = 0.0
    oval_rad: float = 0.0
    retrace_mm: float = 0.0
    reach_mm: float = 25.0
    travel_mm: tuple[float, float] = (-0.4, 0.4)
    noise_mm: float = 0.0001
    collar_zero_rad: float = 1.0
    collar_sense: int = -1
    lock_shift_mm: tuple[float, float] = (0.0, 0.0)
    worn: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Wall worn away: from and to in degrees, how deep in mm at its middle."""
    theta_rad: float = 0.3
    shown_mm: float = 0.0
    trend: str | None = None
    time_s: float = 0.0
    log: list = field(default_factory=list)

    def __post_init__(self):
        self._settle()

    def contact_mm(self):
        """How far the wall pushes the stylus in: reach minus the tip centre's free distance."""
        ux, uy = cos(self.theta_rad), sin(self.theta_rad)
        along = self.x_mm * ux + self.y_mm * uy
        across = self.x_mm * uy - self.y_mm * ux
        oval = self.oval_mm * cos(2 * (self.theta_rad - self.oval_rad))
        wall = along + sqrt((self.radius_mm - self.tip_mm + oval) ** 2 - across**2)
        return self.reach_mm - wall - self._worn_mm()

    def _worn_mm(self):
        start, end, deep = self.worn
        share = (self.theta_rad * 180 / pi - start) % 360 / max((end - start) % 360, 1e-9)
        return deep * sin(pi * share) ** 2 if share < 1 else 0.0

    def _settle(self):
        """The needle follows the contact with play of `retrace_mm`, inside its travel."""
        low, high = self.travel_mm
        contact = min(high, max(low, self.contact_mm()))
        half = self.retrace_mm / 2
        if contact - half > self.shown_mm:
            self.shown_mm, self.trend = contact - half, "rising"
        elif contact + half < self.shown_mm:
            self.shown_mm, self.trend = contact + half, "falling"

    def reading_mm(self):
        return self.shown_mm + self.rng.normal(0.0, self.noise_mm)

    def turn_to(self, theta_rad, places=40):
        for theta in np.linspace(self.theta_rad, theta_rad, places + 1)[1:]:
            self.theta_rad = float(theta)
            self._settle()
            self.time_s += 0.05

    def nearest(self, degrees):
        """The angle `degrees` modulo a turn that is nearest to where the stylus stands."""
        away = (degrees * pi / 180 - self.theta_rad + pi) % (2 * pi) - pi
        return self.theta_rad + away

    def move(self, axis, by_mm, places=20):
        for _ in range(places):
            if axis == "x":
                self.x_mm += by_mm / places
            else:
                self.y_mm += by_mm / places
            self._settle()

    def let_out(self, by_mm):
        self.reach_mm += by_mm
        self._settle()

    def lock(self):
        self.x_mm += self.lock_shift_mm[0]
        self.y_mm += self.lock_shift_mm[1]
        self._settle()

    def collar_rad(self):
        return self.collar_zero_rad + self.collar_sense * self.theta_rad

    def sweep(self, sense, degrees=375, places=200):
        """Columns t, value, collar angle of one turn."""
        start = self.theta_rad
        rows = []
        for theta in np.linspace(start, start + sense * degrees * pi / 180, places):
            self.theta_rad = float(theta)
            self._settle()
            self.time_s += 0.1
            rows.append((self.time_s, self.reading_mm(), self.collar_rad()))
        return np.array(rows)

    @property
    def off_mm(self):
        return hypot(self.x_mm, self.y_mm)
