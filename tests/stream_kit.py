"""Small real stand-ins for the stream's tests: pictures that carry their own truth."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from math import pi

import numpy as np

from calibration.handwheels import Handwheel
from readings import CollarAngle, Frame, Reading
from setups import Instrument

FPS = 30.0
DEG = pi / 180.0
DIAL = Instrument("paper dial", 0.01, 80, (-0.4, 0.4))
WHEELS = (Handwheel("x", 5.0, 250), Handwheel("y", 5.0, 250))
START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
NO_CORNERS = np.zeros((1, 4, 2))


def reading(t_s, value_mm, sigma_mm=0.0001, *, turn_mm=0.8):
    """An accepted reading as a balanced dial without a turns counter gives it."""
    if value_mm is None:
        return Reading("refused", t_s, flags=("needle hidden",))
    shown = (value_mm + turn_mm / 2) % turn_mm - turn_mm / 2
    return Reading("ok", t_s, shown / 0.01 % 80, sigma_mm / 0.01, None, shown, sigma_mm)


def collar(t_s, angle_rad):
    if angle_rad is None:
        return None
    return CollarAngle(t_s, angle_rad % (2 * pi), 0.0005, 5, NO_CORNERS)


@dataclass
class Hand:
    """One dial and one collar moved by hand, seen at 30 pictures a second."""

    see: object
    """Called with (reading, collar) of each picture; what it returns is collected."""
    rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(5))
    t_s: float = 10.0
    angle_deg: float = 20.0
    noise_mm: float = 0.0001
    noise_deg: float = 0.03
    happened: list = field(default_factory=list)

    def value_mm(self):
        return 0.1 * np.cos(self.angle_deg * DEG)

    def picture(self, *, value_mm="cam", seen=True):
        self.t_s += 1.0 / FPS
        value = self.value_mm() if value_mm == "cam" else value_mm
        if value is not None:
            value += self.rng.normal(0.0, self.noise_mm)
        angle = (self.angle_deg + self.rng.normal(0.0, self.noise_deg)) * DEG if seen else None
        self.happened.extend(self.see(reading(self.t_s, value), collar(self.t_s, angle)) or ())

    def rest(self, seconds, **how):
        for _ in range(round(seconds * FPS)):
            self.picture(**how)

    def turn(self, degrees, seconds, **how):
        n = max(1, round(seconds * FPS))
        for _ in range(n):
            self.angle_deg += degrees / n
            self.picture(**how)

    def take(self):
        """What happened since the last time."""
        got, self.happened = self.happened, []
        return got


@dataclass
class Clocks:
    """A monotonic and a wall clock that only the test moves."""

    t_s: float = 0.0

    def clock(self):
        return self.t_s

    def now(self):
        return START + timedelta(seconds=self.t_s)


def picture(t_s, index=0):
    """A small grey picture."""
    image = np.full((48, 64, 3), 90, dtype=np.uint8)
    image.flags.writeable = False
    return Frame(image, t_s, index, "paper")
