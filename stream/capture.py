"""Hands-free capture: pictures in, the events of a setup out.

Pure of clocks and of the book: source time comes with each picture, the session's
time (`at_s`) is handed in, samples are handed out as they come.
"""

from dataclasses import dataclass, replace

from readings import CollarAngle, Reading
from setups import Instrument, Still
from setups.guide import StepKind
from stream.tracking import STILL_S, CollarTrack, Look, NeedleTrack, Place, Stillness
from stream.turning import Item, TurnCatcher

POINT_HOLD_S = 1.2
"""Pointing marks are taken after a longer rest: a hand that grips anew pauses for less."""

JUMP_S = 2.0

Happened = Item | Still


@dataclass(frozen=True, slots=True)
class Pose:
    """What stands at this moment, for showing."""

    value_mm: float | None
    collar_rad: float | None
    moving: bool
    turned_rad: float | None
    samples: int


class Capture:
    """Track one dial and one collar over the pictures of one setup."""

    def __init__(self, instrument: Instrument) -> None:
        self._needle = NeedleTrack(instrument)
        self._collar = CollarTrack()
        self._still = Stillness(instrument.graduation_mm)
        self._turns = TurnCatcher()
        self._look = Look(0.0, None, None, None, None)
        self._times: tuple[float, float] | None = None

    def enter(self, kind: StepKind | None) -> None:
        """Begin a step: arm what it waits for. None: no setup is running."""
        hold = POINT_HOLD_S if kind == "point" else STILL_S
        self._still.enter(
            hold_s=hold,
            repeat=kind in ("rough", "moves", "todo"),
            claimed_only=kind == "places",
            blind=kind in ("places", "todo"),
        )
        if kind == "turns":
            self._turns.arm()
        else:
            self._turns.disarm()

    def claim(self) -> None:
        """Take the person's word that the stylus stands where it is wanted."""
        self._still.claim()

    def look(self, reading: Reading, collar: CollarAngle | None, at_s: float) -> list[Happened]:
        """Take one picture's reading and collar angle; return what happened, in order.

        Parameters
        ----------
        reading, collar
            Of the same picture.
        at_s
            The session's time, which the events carry.
        """
        jumped = self._jumped(reading.t_s, at_s)
        value = self._needle.follow(reading)
        angle = self._collar.follow(collar)
        look = Look(
            reading.t_s,
            value,
            reading.sigma_mm if value is not None else None,
            angle,
            collar.sigma_rad if collar is not None else None,
            _place(reading),
            jumped,
        )
        self._look = look
        happened: list[Happened] = []
        still = self._still.look(look, self._needle.trend, at_s)
        if still is not None:
            happened.append(still)
        happened.extend(
            self._turns.look(
                look,
                at_s,
                gap_s=self._collar.gap_s,
                step_rad=self._collar.step_rad,
                unsure=self._needle.unsure,
            )
        )
        return happened

    def _jumped(self, t_s: float, at_s: float) -> bool:
        """Whether the pictures' time went back, or ahead of ours by more than `JUMP_S`."""
        before, self._times = self._times, (t_s, at_s)
        if before is None:
            return False
        step_s = t_s - before[0]
        return step_s < 0 or step_s - (at_s - before[1]) > JUMP_S

    @property
    def turning(self) -> bool:
        """Whether a turn is being captured."""
        return self._turns.turning

    def begin_here(self) -> list[Happened]:
        """Begin a turn afresh from here; what was captured is given up."""
        return list(self._turns.begin_here())

    def end_here(self, at_s: float) -> list[Happened]:
        """End the turn being captured; one too short is given up."""
        return list(self._turns.end_here(at_s))

    def pose(self) -> Pose:
        """Return what stands after the last picture."""
        return Pose(
            self._look.value_mm,
            self._look.collar_rad,
            self._still.moving(),
            self._turns.turned_rad,
            self._turns.taken,
        )

    def lose(self) -> None:
        """Forget the last picture: the camera is gone."""
        self._look = replace(self._look, value_mm=None, collar_rad=None)


def _place(reading: Reading) -> Place | None:
    """Return where the dial lies in the picture, None where it was not told."""
    sight = reading.sight
    if sight is None:
        return None
    x, y = sight.pivot_px.ravel()[:2]
    return float(x), float(y), sight.face_radius_px
