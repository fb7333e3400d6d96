"""Hands-free capture of full turns: begun and ended by the collar's own motion.

A turn begins when the collar leaves its place and is full when its accepted samples
cover `FULL_RAD` in one sense; the next one begins at the reversal. Pure of clocks.
"""

from collections import deque
from dataclasses import dataclass
from math import hypot
from typing import Literal

from readings import Sample, Sweep
from setups import Turned, Void
from stream.tracking import DEG, Look, Place

FULL_RAD = (360.0 + 12.0) * DEG
"""A turn and an overlap that shows whether the reading comes back."""

BEGIN_RAD = 1.5 * DEG
"""The collar has left its place beyond this."""

BACK_RAD = 5.0 * DEG
"""Going back by more than this gives the turn up and begins one the other way."""

NOISE_RAD = 0.3 * DEG
FASTEST_RAD_S = 360.0 * DEG
"""60 turns a minute: no hand does that."""

SPEED_OVER_S = 0.15
REST_S = 0.5
MOST_AT_PLACE = 15
"""Samples taken while the hand rests at one place; a long rest must not outweigh the turn."""

LEAST_BY_HAND_RAD = 270.0 * DEG
"""A turn that is ended by hand counts from here on."""

OUT_OF_SIGHT_S = 5.0
"""A turn whose needle was not read for so long may be of two dials."""

MOVED_RADII = 0.3
GREW = 1.15
"""A dial that lies farther away, or looks larger or smaller, is not where it was."""

GAP_S = 3.0
GAP_RAD = 60.0 * DEG
LONG_GAP_RAD = 5.0 * DEG
"""What the collar may have gone unseen: `GAP_RAD`, or this after more than `GAP_S`."""


@dataclass(frozen=True, slots=True)
class Began:
    """A turn began; `sense` is the sign in which the collar's angle goes."""

    sense: Literal[-1, 1]


@dataclass(frozen=True, slots=True)
class Taken:
    """Samples taken into the turn being captured."""

    samples: tuple[Sample, ...]


@dataclass(frozen=True, slots=True)
class Dropped:
    """The turn being captured was given up: it was turned back before it was full."""


Item = Began | Taken | Dropped | Turned | Void


class TurnCatcher:
    """Catch turns while armed; each look returns what happened, in order."""

    def __init__(self) -> None:
        self._phase: Literal["off", "waiting", "turning", "spoiled"] = "off"
        self._anchor_rad: float | None = None
        self._blocked = 0
        self._lead: deque[Sample] = deque(maxlen=60)
        self._speed: deque[tuple[float, float]] = deque()
        self._clear(1, 0.0)

    def _clear(self, sense: Literal[-1, 1], front_rad: float) -> None:
        self._sense: Literal[-1, 1] = sense
        self._front_rad = front_rad
        self._samples: list[Sample] = []
        self._behind: list[Sample] = []
        self._refused = 0
        self._place: tuple[float, int] | None = None
        self._at: Place | None = None
        self._read_s: float | None = None

    def arm(self) -> None:
        """Wait for a turn, from wherever the collar stands."""
        self._phase = "waiting"
        self._wait_at(None, blocked=0)

    def disarm(self) -> None:
        """Want no turn any more."""
        self._phase = "off"
        self._clear(1, 0.0)

    @property
    def turned_rad(self) -> float | None:
        """How much of the wanted turn is covered; None while none is wanted."""
        if self._phase == "off":
            return None
        return self._covered() if self._phase == "turning" else 0.0

    @property
    def taken(self) -> int:
        """How many samples the turn being captured holds."""
        return len(self._samples) if self._phase == "turning" else 0

    @property
    def turning(self) -> bool:
        """Whether a turn is being captured."""
        return self._phase == "turning"

    def begin_here(self) -> list[Item]:
        """Begin afresh from where the collar stands: what was captured is given up."""
        if self._phase == "off":
            return []
        dropped: list[Item] = [Dropped()] if self._phase == "turning" else []
        self._phase = "waiting"
        self._wait_at(None, blocked=0)
        self._clear(1, 0.0)
        return dropped

    def end_here(self, at_s: float) -> list[Item]:
        """End the turn at its last sample; one too short to count is given up."""
        if self._phase != "turning":
            return []
        if self._covered() < LEAST_BY_HAND_RAD:
            return self.begin_here()
        return [self._finish(self._samples[-1], at_s)]

    def look(
        self,
        look: Look,
        at_s: float,
        *,
        gap_s: float = 0.0,
        step_rad: float = 0.0,
        unsure: bool = False,
    ) -> list[Item]:
        """Take one picture in.

        Parameters
        ----------
        gap_s, step_rad
            Since the collar was last seen: how long ago, and how far it went.
        unsure
            Whether the needle may have passed a whole turn unseen.
        """
        if self._phase == "off":
            return []
        if look.collar_rad is None:
            self._refused += self._phase == "turning"
            return []
        flag = self._spoilt_by(look, gap_s, step_rad, unsure)
        if flag and self._phase != "spoiled":
            return self._spoil(look, at_s, flag)
        if self._phase == "spoiled":
            return self._rest(look)
        return self._waiting(look) if self._phase == "waiting" else self._turning(look, at_s)

    # what makes a turn void

    def _spoilt_by(self, look: Look, gap_s: float, step_rad: float, unsure: bool) -> str:
        if self._too_fast(look):
            return "turning too fast"
        if self._phase != "turning":
            return ""
        if look.clock_jumped:
            return "clock jumped"
        if self._dial_changed(look):
            return "dial changed"
        lost = abs(step_rad) > (GAP_RAD if gap_s <= GAP_S else LONG_GAP_RAD)
        if lost:
            return "collar not seen"
        return "ambiguous turn" if unsure else ""

    def _dial_changed(self, look: Look) -> bool:
        """Whether the dial lies elsewhere than when the turn began, or was long out of sight."""
        if look.value_mm is None:
            return self._read_s is not None and look.t_s - self._read_s > OUT_OF_SIGHT_S
        self._read_s = look.t_s
        if look.place is None:
            return False
        if self._at is None:
            self._at = look.place
            return False
        (x, y, radius), (x0, y0, radius0) = look.place, self._at
        moved = hypot(x - x0, y - y0) > MOVED_RADII * radius0
        return moved or not radius0 / GREW < radius < radius0 * GREW

    def _too_fast(self, look: Look) -> bool:
        angle = look.collar_rad or 0.0
        self._speed.append((look.t_s, angle))
        while len(self._speed) > 2 and self._speed[1][0] <= look.t_s - SPEED_OVER_S:
            self._speed.popleft()
        then_s, then = self._speed[0]
        passed = look.t_s - then_s
        if passed > 2 * GAP_S or passed < 0:
            self._speed.clear()
            return False
        return passed >= SPEED_OVER_S and abs(angle - then) > FASTEST_RAD_S * passed

    def _spoil(self, look: Look, at_s: float, flag: str) -> list[Item]:
        self._phase = "spoiled"
        self._clear(1, 0.0)
        self._rest_since = (look.t_s, look.collar_rad or 0.0)
        return [Void(at_s, flag)]

    def _rest(self, look: Look) -> list[Item]:
        since_s, place = self._rest_since
        angle = look.collar_rad or 0.0
        if abs(angle - place) > NOISE_RAD:
            self._rest_since = (look.t_s, angle)
        elif look.t_s - since_s >= REST_S:
            self._phase = "waiting"
            self._wait_at(angle, blocked=0)
        return []

    # waiting for a turn

    def _wait_at(self, anchor_rad: float | None, *, blocked: int) -> None:
        self._anchor_rad, self._blocked = anchor_rad, blocked
        self._lead.clear()

    def _waiting(self, look: Look) -> list[Item]:
        angle = look.collar_rad or 0.0
        if self._anchor_rad is None or (angle - self._anchor_rad) * self._blocked > 0:
            self._wait_at(angle, blocked=self._blocked)
        sample = look.sample()
        if sample is not None:
            self._lead.append(sample)
        gone = angle - (self._anchor_rad or 0.0)
        if abs(gone) < BEGIN_RAD:
            return []
        return self._begin(1 if gone > 0 else -1, angle)

    def _begin(self, sense: Literal[-1, 1], front_rad: float) -> list[Item]:
        """Begin with the last sample at rest and all since."""
        lead = list(self._lead)
        rest = [
            i
            for i, s in enumerate(lead)
            if abs(s.angle_rad - (self._anchor_rad or 0.0)) <= NOISE_RAD
        ]
        self._phase = "turning"
        self._clear(sense, front_rad)
        self._samples = lead[rest[-1] :] if rest else lead
        taken: list[Item] = [Taken(tuple(self._samples))] if self._samples else []
        return [Began(sense), *taken]

    # turning

    def _covered(self) -> float:
        if not self._samples:
            return 0.0
        return (self._samples[-1].angle_rad - self._samples[0].angle_rad) * self._sense

    def _turning(self, look: Look, at_s: float) -> list[Item]:
        angle = look.collar_rad or 0.0
        ahead = (angle - self._front_rad) * self._sense
        if ahead > 0:
            self._front_rad = angle
            self._behind.clear()
        sample = look.sample()
        if ahead < -BACK_RAD:
            return self._turn_back(sample, angle)
        if sample is None:
            self._refused += 1
            return []
        if ahead < -NOISE_RAD:
            self._behind.append(sample)
            return []
        return self._take(sample, at_s)

    def _take(self, sample: Sample, at_s: float) -> list[Item]:
        if not self._room_at(sample.angle_rad):
            return []
        self._samples.append(sample)
        items: list[Item] = [Taken((sample,))]
        if self._covered() >= FULL_RAD:
            items.append(self._finish(sample, at_s))
        return items

    def _room_at(self, angle_rad: float) -> bool:
        """Whether another sample is wanted here; a long rest at one place is thinned."""
        if self._place is None or abs(angle_rad - self._place[0]) > NOISE_RAD:
            self._place = (angle_rad, 1)
            return True
        self._place = (self._place[0], self._place[1] + 1)
        return self._place[1] <= MOST_AT_PLACE

    def _finish(self, last: Sample, at_s: float) -> Turned:
        sweep = Sweep.from_samples(self._samples, sense=None, refused=self._refused)
        sense = self._sense
        self._phase = "waiting"
        self._wait_at(last.angle_rad, blocked=sense)
        self._clear(1, 0.0)
        return Turned(at_s, sweep)

    def _turn_back(self, sample: Sample | None, angle: float) -> list[Item]:
        """Give the turn up, and begin one the other way at the reversal."""
        since = [*self._behind, sample] if sample is not None else list(self._behind)
        sense: Literal[-1, 1] = 1 if self._sense < 0 else -1
        self._wait_at(self._front_rad, blocked=0)
        self._lead.extend(since)
        return [Dropped(), *self._begin(sense, angle)]
