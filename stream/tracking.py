"""What one picture after another tells: unwrapped needle and collar, trend, stillness.

Pure of clocks: time is the source's and comes with each picture. Thresholds scale with
the graduation of the dial in use.
"""

from collections import deque
from dataclasses import dataclass
from math import pi
from statistics import median

from readings import CollarAngle, Reading, Sample
from setups import Instrument, Still
from sweeps import Trend
from vision.dial_track_turns import OVER_TRAVEL_TURNS, UNSURE_TURNS

DEG = pi / 180.0

STILL_DIVISIONS = 0.15
"""The needle stands still while it stays within this (0.0015 mm on a 0.01 mm dial)."""

STILL_COLLAR_RAD = 0.3 * DEG
STILL_S = 0.7

MOVED_RAD = 2.0 * DEG
"""The spindle counts as moved since the step was entered beyond this."""

TELL_DIVISIONS = 0.05
"""A still needle that crept by more than this is told again."""

REPEAT_S = 1.0
MOVING_S = 0.3
TREND_DIVISIONS = 0.08
TREND_GAP_S = 0.5
"""After so long without a reading nobody knows how the needle moved last."""


Place = tuple[float, float, float]
"""Where a dial lies in the picture: x, y and radius in pixels."""


@dataclass(frozen=True, slots=True)
class Look:
    """One picture, tracked: the needle with its turns, the collar unwrapped."""

    t_s: float
    value_mm: float | None
    sigma_mm: float | None
    collar_rad: float | None
    sigma_collar_rad: float | None
    place: Place | None = None
    clock_jumped: bool = False

    def sample(self) -> Sample | None:
        """Return the sample of this picture, None where needle or collar was not read."""
        if self.value_mm is None or self.sigma_mm is None:
            return None
        if self.collar_rad is None or self.sigma_collar_rad is None:
            return None
        return Sample(
            self.t_s, self.value_mm, self.sigma_mm, self.collar_rad, self.sigma_collar_rad
        )


class NeedleTrack:
    """Follow the needle over its turns, and how it moved last."""

    def __init__(self, instrument: Instrument) -> None:
        self._turn_mm = instrument.graduation_mm * instrument.marks_per_turn
        self._travel_mm = instrument.travel_mm
        self._least_mm = TREND_DIVISIONS * instrument.graduation_mm
        self._last: tuple[float, float] | None = None
        self._near: deque[float] = deque(maxlen=3)
        self._turning_point_mm: float | None = None
        self.trend: Trend | None = None
        self.unsure = False
        """Whether the last step may hide a whole turn of the needle."""

    def follow(self, reading: Reading) -> float | None:
        """Return the reading in mm with its turns; None where it was refused."""
        self.unsure = False
        if not reading.ok or reading.value_mm is None:
            return None
        value = reading.value_mm if reading.turns is not None else self._near_last(reading)
        self._note_trend(value, reading)
        self._last = (reading.t_s, value)
        return value

    def _near_last(self, reading: Reading) -> float:
        value = reading.value_mm or 0.0
        if self._last is None:
            return value
        last = self._last[1]
        near = value + round((last - value) / self._turn_mm) * self._turn_mm
        if not self._possible(near):
            return value
        jumped = abs(near - last) > UNSURE_TURNS * self._turn_mm
        other = near + (self._turn_mm if near < last else -self._turn_mm)
        self.unsure = jumped and self._possible(other)
        return near

    def _possible(self, value_mm: float) -> bool:
        if self._travel_mm is None:
            return True
        over = OVER_TRAVEL_TURNS * self._turn_mm
        return self._travel_mm[0] - over <= value_mm <= self._travel_mm[1] + over

    def _note_trend(self, value_mm: float, reading: Reading) -> None:
        if self._last is None or reading.t_s - self._last[0] > TREND_GAP_S:
            self._near.clear()
            self.trend, self._turning_point_mm = None, None
        self._near.append(value_mm)
        middle = median(self._near)
        if self._turning_point_mm is None:
            self._turning_point_mm = middle
            return
        least = max(self._least_mm, 5.0 * (reading.sigma_mm or 0.0))
        gone = middle - self._turning_point_mm
        if abs(gone) > least:
            self.trend = "rising" if gone > 0 else "falling"
        onward = gone > 0 if self.trend == "rising" else gone < 0
        if abs(gone) > least or (self.trend is not None and onward):
            self._turning_point_mm = middle


class CollarTrack:
    """Follow the collar over its turns."""

    def __init__(self) -> None:
        self._last: tuple[float, float] | None = None
        self.gap_s = 0.0
        self.step_rad = 0.0

    def follow(self, collar: CollarAngle | None) -> float | None:
        """Return the collar's angle unwrapped; None where it was not seen."""
        if collar is None:
            return None
        if self._last is None:
            self._last = (collar.t_s, collar.angle_rad)
            return collar.angle_rad
        then_s, angle = self._last
        self.step_rad = (collar.angle_rad - angle + pi) % (2 * pi) - pi
        self.gap_s = collar.t_s - then_s
        self._last = (collar.t_s, angle + self.step_rad)
        return self._last[1]


class Stillness:
    """Tell when needle and collar have stood still long enough."""

    def __init__(self, graduation_mm: float) -> None:
        self._graduation_mm = graduation_mm
        self._looks: deque[Look] = deque()
        self._told: tuple[float, float | None] | None = None
        self._entered_rad: float | None = None
        self.hold_s = STILL_S
        self.repeat = False
        self.moved = False
        self._claimed_only = False
        self._blind = False

    def enter(
        self,
        *,
        hold_s: float = STILL_S,
        repeat: bool = False,
        claimed_only: bool = False,
        blind: bool = False,
    ) -> None:
        """Begin a step: nothing has moved yet, and nothing was told.

        With `claimed_only` a place counts only once, by the person's word; with `blind` no
        collar need be in sight.
        """
        self.hold_s, self.repeat = hold_s, repeat
        self._claimed_only, self._blind = claimed_only, blind
        self.moved, self._entered_rad, self._told = False, None, None

    def claim(self) -> None:
        """Take the person's word that this is the place, though nothing moved."""
        self.moved, self._told = True, None

    def look(self, look: Look, trend: Trend | None, at_s: float) -> Still | None:
        """Take one picture in; return a `Still` where one is due."""
        self._remember(look)
        self._note_moved(look)
        place = self._place()
        if not self._rests() or (place is None and not self._blind):
            self._told = None
            return None
        value, sigma = self._value()
        if not self._due(look.t_s, value):
            return None
        self._told = (look.t_s, value)
        still = Still(at_s, place, value, sigma, self.moved, trend)
        self.moved = self.moved and not self._claimed_only
        return still

    def moving(self) -> bool:
        """Whether needle or collar moved within the last `MOVING_S`."""
        if not self._looks:
            return False
        since = self._looks[-1].t_s - MOVING_S
        recent = [k for k in self._looks if k.t_s >= since]
        return _collar_spread(recent) > STILL_COLLAR_RAD or self._swings(recent)

    def _remember(self, look: Look) -> None:
        if self._looks and look.t_s <= self._looks[-1].t_s:
            self._looks.clear()
        self._looks.append(look)
        while len(self._looks) > 1 and self._looks[1].t_s <= look.t_s - self.hold_s:
            self._looks.popleft()

    def _note_moved(self, look: Look) -> None:
        if look.collar_rad is None or self._claimed_only:
            return
        if self._entered_rad is None:
            self._entered_rad = look.collar_rad
        self.moved = self.moved or abs(look.collar_rad - self._entered_rad) > MOVED_RAD

    def _place(self) -> float | None:
        """Return the collar's mean angle where it is in sight, now and half of the time."""
        looks = self._looks
        seen = [k.collar_rad for k in looks if k.collar_rad is not None]
        if looks[-1].collar_rad is None or 2 * len(seen) < len(looks):
            return None
        return sum(seen) / len(seen)

    def _rests(self) -> bool:
        """Whether needle and collar, as far as in sight, stand still for long enough."""
        looks = self._looks
        if looks[-1].t_s - looks[0].t_s < self.hold_s - 1e-9:
            return False
        return _collar_spread(looks) <= STILL_COLLAR_RAD and not self._swings(looks)

    def _swings(self, looks: "deque[Look] | list[Look]") -> bool:
        values = [k.value_mm for k in looks if k.value_mm is not None]
        sigmas = [k.sigma_mm for k in looks if k.sigma_mm is not None]
        if not values:
            return False
        least = STILL_DIVISIONS * self._graduation_mm
        return max(values) - min(values) > max(least, 6.0 * median(sigmas or [0.0]))

    def _value(self) -> tuple[float | None, float | None]:
        """Return the needle's mean and sigma; None where it was refused half of the time."""
        values = [k.value_mm for k in self._looks if k.value_mm is not None]
        sigmas = [k.sigma_mm for k in self._looks if k.sigma_mm is not None]
        if 2 * len(values) < len(self._looks):
            return None, None
        return sum(values) / len(values), median(sigmas)

    def _due(self, t_s: float, value_mm: float | None) -> bool:
        if self._told is None:
            return True
        told_s, told_mm = self._told
        if (value_mm is None) != (told_mm is None):
            return True
        if self.repeat and t_s - told_s >= REPEAT_S:
            return True
        crept = abs((value_mm or 0.0) - (told_mm or 0.0))
        return crept > TELL_DIVISIONS * self._graduation_mm


def _collar_spread(looks: "deque[Look] | list[Look]") -> float:
    seen = [k.collar_rad for k in looks if k.collar_rad is not None]
    return max(seen) - min(seen) if seen else 0.0
