"""Whole turns of a needle followed from picture to picture."""

from dataclasses import dataclass, replace

from calibration.dials import TaughtDial
from readings import Reading
from vision.dial_counter import TurnsCounter
from vision.dial_needle import NeedleFit
from vision.dial_scale import ScaleFit
from vision.picture import Picture

UNSURE_TURNS = 0.35
"""A needle this far from where it was expected may have gone the other way about."""
_FAST_TURNS = 0.25
"""A needle that would turn by more than this while it was not read may have gone further."""
OVER_TRAVEL_TURNS = 0.02
"""How far a reading may lie beyond the dial's travel: the travel is a round figure."""


def travel_turns(dial: TaughtDial, divisions: float) -> list[int]:
    """Return the whole turns at which a reading lies within a dial's travel; it must be known."""
    assert dial.travel_mm is not None
    low, high = (end / dial.mm_per_turn for end in dial.travel_mm)
    at = divisions / dial.marks_per_turn
    first, last = int(low - at) - 2, int(high - at) + 2
    over = OVER_TRAVEL_TURNS
    return [k for k in range(first, last + 1) if low - over <= at + k <= high + over]


def at_end(dial: TaughtDial, value_mm: float) -> bool:
    """Return whether a value with its turns stands within a division of the travel's end."""
    if dial.travel_mm is None:
        return False
    low, high = dial.travel_mm
    near = dial.graduation_mm
    return not low + near < value_mm < high - near


_COUNT_AGAIN = 15
"""Readings after which the turns counter is looked at anew while the needle is followed."""


@dataclass(frozen=True, slots=True)
class Followed:
    """Where a needle stands after following it: whole turns since the count began, and doubt."""

    turns: int
    doubt: bool
    """A whole turn may have been missed since the last reading: the count begins anew."""


class TurnFollower:
    """Count the whole turns of a needle from reading to reading.

    Without a turns counter nobody knows in which turn a stream begins: the count is 0 at its
    first reading. It goes up where the needle passes zero rising. It begins anew at 0 with a
    reading that lies `UNSURE_TURNS` and more from where the needle's last speed leads to.
    """

    def __init__(self, marks_per_turn: int) -> None:
        self._marks = marks_per_turn
        self._last: tuple[float, float] | None = None
        self._speed = 0.0
        self._missed = False

    def forget(self) -> None:
        """Begin a new stream."""
        self._last, self._speed, self._missed = None, 0.0, False

    def miss(self) -> None:
        """Note a picture without a reading."""
        self._missed = True

    def follow(self, reading: Reading) -> Followed:
        """Take in an accepted reading."""
        assert reading.divisions is not None
        at = reading.divisions / self._marks
        if self._last is None:
            self._last, self._missed = (reading.t_s, at), False
            return Followed(0, doubt=False)
        then_s, was = self._last
        gap_s = max(reading.t_s - then_s, 0.0)
        expected = was + self._speed * gap_s
        off = (at - expected + 0.5) % 1.0 - 0.5
        doubt = abs(off) > UNSURE_TURNS
        doubt |= self._missed and abs(self._speed) * gap_s > _FAST_TURNS
        place = at if doubt else expected + off
        self._speed = (place - was) / gap_s if gap_s > 0 and not doubt else 0.0
        self._last, self._missed = (reading.t_s, place), False
        return Followed(round(place - at), doubt)


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """What a reading was read from."""

    picture: Picture
    scale: ScaleFit
    needle: NeedleFit
    light: float


class TurnsTold:
    """Put whole turns into readings: from the turns counter, the travel, and by following.

    The counter is read at first, again and again after `_COUNT_AGAIN` readings, and whenever a
    turn may have been missed; in between, following the needle tells.
    """

    def __init__(self, dial: TaughtDial) -> None:
        self._dial = dial
        self._counter = TurnsCounter(dial, dial.counter) if dial.counter else None
        self._follower = TurnFollower(dial.marks_per_turn)
        self.forget()

    def forget(self) -> None:
        """Begin a new stream."""
        self._follower.forget()
        self._base: int | None = None
        self._pose: object = None
        self._since = 0

    def miss(self) -> None:
        """Note a picture without a reading."""
        self._follower.miss()

    def tell(self, reading: Reading, sight: Sight) -> Reading:
        """Return an accepted reading with its turns and what is to be said about them.

        The flag "off the taught scale" says that it lies outside the dial's travel.
        """
        followed = self._follower.follow(reading)
        if followed.doubt or self._pose is not sight.scale.pose:
            self._base = None
        self._pose = sight.scale.pose
        contradicted = self._count(reading, followed, sight)
        turns = None if self._base is None else self._base + followed.turns
        lost = contradicted or (followed.doubt and turns is None)
        flags = ("ambiguous turn",) if lost else ()
        reading = replace(reading, turns_followed=followed.turns, flags=flags)
        return self._within_travel(reading, turns)

    def _count(self, reading: Reading, followed: Followed, sight: Sight) -> bool:
        """Look at the counter if it is time; return whether it contradicts what was followed."""
        self._since += 1
        if self._counter is None or (self._base is not None and self._since < _COUNT_AGAIN):
            return False
        told = self._counter.turns(
            sight.picture.image, sight.picture.gray, sight.scale, sight.needle, sight.light
        )
        if told is None:
            return False
        base, self._since = told - followed.turns, 0
        contradicted = self._base is not None and base != self._base
        self._base = None if contradicted else base
        return contradicted

    def _within_travel(self, reading: Reading, turns: int | None) -> Reading:
        dial = self._dial
        assert reading.divisions is not None
        if dial.travel_mm is not None:
            possible = travel_turns(dial, reading.divisions)
            if not possible or (turns is not None and turns not in possible):
                return replace(reading, flags=(*reading.flags, "off the taught scale"))
            turns = possible[0] if len(possible) == 1 else turns
        if turns is None:
            return reading
        value = dial.value_mm(reading.divisions, turns)
        flags = (*reading.flags, "end of travel") if at_end(dial, value) else reading.flags
        return replace(reading, turns=turns, value_mm=value, flags=flags)
