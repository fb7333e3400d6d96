"""Where the readings of a dial's check come from: typed by hand, pictures in order, a camera."""

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from math import isfinite, sqrt
from pathlib import Path
from typing import Literal, Protocol

import numpy as np

from calibration.camera import CameraModel
from calibration.dials import TaughtDial
from readings import BadInputError, Frame, FrameSource, Reading, SourceError, flag_sentence
from ui.output import tell
from vision.dial_reader import DialReader
from vision.sources import PictureSource

EYE_DIVISIONS = 0.2 / sqrt(12)
"""k = 1 of a reading by eye to a fifth of a division."""
AGREEING = 3
"""Readings in a row that must agree before a step's reading counts."""
AGREE_DIVISIONS = 0.1
MOST_PICTURES = 60
"""Pictures looked at for one step before it is given up."""
TRIES = 3
"""How often a person may put a refused step right."""
BACK = ("b", "back")
"""What a person types to take the last reading back."""

Ask = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Step:
    """One reading asked for: `place` of `places`, at a step, going one way, in one run."""

    place: int
    places: int
    step_mm: float
    way: Literal["up", "down"]
    first_down: bool

    @property
    def words(self) -> str:
        """Say what to do."""
        past = " Go a few divisions past it first." if self.first_down else ""
        return f"{self.place} of {self.places}, going {self.way}: {self.step_mm:g} mm.{past}"


@dataclass(frozen=True, slots=True)
class StepReading:
    """What the dial read at a step; `turns_known` says whether `value_mm` holds whole turns."""

    value_mm: float
    sigma_mm: float
    turns_known: bool


class StepReader(Protocol):
    """Gives the reading of one step after the other."""

    by_person: bool
    """Whether somebody is there who can do a step again."""

    def read(self, step: Step) -> StepReading | None:
        """Return the reading of a step, None where the one before is taken back.

        Raises
        ------
        BadInputError
            If there is none; the check is then given up.
        """


def ask_person(words: str) -> str:
    """Say something on stderr and return what the person types.

    Raises
    ------
    BadInputError
        If nothing can be typed any more.
    """
    sys.stderr.write(words + " ")
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        sys.stderr.write("\n")
        msg = "the check was cut short before its last step; nothing was kept."
        raise BadInputError(msg)
    return line.strip()


def steps_of(steps_mm: np.ndarray, runs: int, *, both_ways: bool) -> list[Step]:
    """Return the readings to take: up, then down where both ways, and again for each run."""
    up = [(float(s), "up") for s in steps_mm]
    down = [(float(s), "down") for s in steps_mm[::-1]] if both_ways else []
    order = (up + down) * runs
    return [
        Step(
            k + 1,
            len(order),
            step,
            "down" if way == "down" else "up",
            way == "down" and order[k - 1][1] == "up",
        )
        for k, (step, way) in enumerate(order)
    ]


class TypedSteps:
    """Readings typed by hand, in divisions counted in the rising direction."""

    by_person = True

    def __init__(self, dial: TaughtDial, ask: Ask) -> None:
        self._dial = dial
        self._ask = ask

    def read(self, step: Step) -> StepReading | None:
        """Ask for one reading in divisions; one that is none may be typed anew."""
        most = self._dial.marks_per_turn
        graduation = self._dial.graduation_mm
        way_back = ", or b to take one back" if step.place == 2 else ""
        for _ in range(TRIES):
            typed = self._ask(f"{step.words} Reading in divisions{way_back}:")
            if typed.lower() in BACK:
                return None
            divisions = _typed_number(typed)
            if isfinite(divisions) and -most <= divisions <= most:
                sigma_mm = EYE_DIVISIONS * graduation
                return StepReading(divisions * graduation, sigma_mm, turns_known=False)
            tell(f"{typed!r} is no reading: type divisions from {-most} to {most}.")
        msg = f"{typed!r} at {step.step_mm:g} mm is no reading either; nothing was kept."
        raise BadInputError(msg)


def _typed_number(typed: str) -> float:
    try:
        return float(typed.replace(",", "."))
    except ValueError:
        return np.nan


def _taken(reading: Reading, dial: TaughtDial) -> StepReading | None:
    if not reading.ok or reading.value_mm is None or reading.sigma_divisions is None:
        return None
    sigma = reading.sigma_divisions * dial.graduation_mm
    return StepReading(reading.value_mm, sigma, turns_known=reading.turns is not None)


def _refused(step: Step, reading: Reading | None, where: str = "") -> str:
    why = flag_sentence(reading.flags[0]) if reading and reading.flags else "There was no picture."
    return f"step {step.place} of {step.places} ({step.step_mm:g} mm, {step.way}){where}: {why}"


class PictureSteps:
    """One picture a step, from a folder, in natural order."""

    by_person = False

    def __init__(
        self, pictures: FrameSource, dial: TaughtDial, camera: CameraModel | None, places: int
    ) -> None:
        if not isinstance(pictures, PictureSource) or not Path(pictures.name).is_dir():
            msg = f"{pictures.name} is no folder: give a folder with a picture for each step."
            raise BadInputError(msg)
        if len(pictures) != places:
            msg = (
                f"{pictures.name} holds {len(pictures)} pictures, the check has {places} "
                "readings: one picture for each, up and then down for every run."
            )
            raise BadInputError(msg)
        self._frames = pictures.frames()
        self._reader = DialReader(dial, camera)
        self._dial = dial

    def read(self, step: Step) -> StepReading:
        """Read the next picture."""
        frame = next(self._frames)
        self._reader.reset()
        reading = self._reader.read(frame)
        taken = _taken(reading, self._dial)
        if taken is None:
            msg = f"{_refused(step, reading, f', {frame.name}')} Nothing was kept."
            raise BadInputError(msg)
        return taken


class CameraSteps:
    """A camera watches; the person sets the step and presses Enter.

    The camera is opened anew for every step, so that no picture is from before it.
    """

    by_person = True

    def __init__(
        self, camera: FrameSource, dial: TaughtDial, model: CameraModel | None, ask: Ask
    ) -> None:
        self._camera = camera
        self._reader = DialReader(dial, model)
        self._dial = dial
        self._ask = ask

    def read(self, step: Step) -> StepReading | None:
        """Ask for the step and read it; a refused one may be put right twice."""
        last: Reading | None = None
        way_back = " (b takes one back)" if step.place == 2 else ""
        for _ in range(TRIES):
            typed = self._ask(f"{step.words} Press Enter when it stands still{way_back}.")
            if typed.lower() in BACK:
                return None
            taken, last = self._settled(islice(self._camera.frames(), MOST_PICTURES))
            if taken is not None:
                return taken
            tell(f"{_refused(step, last)} Put it right.")
        msg = f"{_refused(step, last)} Nothing was kept."
        raise SourceError(msg)

    def _settled(self, frames: Iterator[Frame]) -> tuple[StepReading | None, Reading | None]:
        """Return the middle of a few readings in a row that agree, and the last refusal."""
        row: list[StepReading] = []
        refusal: Reading | None = None
        turn = self._dial.mm_per_turn
        near = AGREE_DIVISIONS * self._dial.graduation_mm
        for frame in frames:
            reading = self._reader.read(frame)
            taken = _taken(reading, self._dial)
            if taken is None:
                refusal, row = reading, []
                continue
            off = [(r.value_mm - taken.value_mm + turn / 2) % turn - turn / 2 for r in row]
            row = [*row, taken] if all(abs(v) <= near for v in off) else [taken]
            if len(row) == AGREEING:
                return taken, None
        return None, refusal
