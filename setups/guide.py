"""What a guided setup is made of: steps, sizes asked for, a task that makes advice."""

from dataclasses import dataclass
from typing import Literal

from readings import Direction, Surface
from setups.measured import SizeAsked

Layout = Literal["still", "riding", "orbiting"]
StepKind = Literal[
    "prepare",
    "sizes",
    "checklist",
    "point",
    "rough",
    "turns",
    "places",
    "orbit",
    "moves",
    "todo",
    "change",
    "lock",
    "done",
]
"""`change`: something is turned round or the dial is set elsewhere; a touch of next goes on."""
TaskName = Literal[
    "centre",
    "tram",
    "face",
    "bar",
    "jaws",
    "sides",
    "between-centres",
    "square",
    "jacks",
    "hung",
    "second-end",
    "tram-stops",
    "centre-stops",
    "prove",
    "axis",
]


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what it is, its big title, what to do, and what is spoken."""

    key: str
    kind: StepKind
    title: str
    text: str
    say: str
    checklist: str | None = None
    direction: Direction | None = None
    locked: bool = False
    """For turns and places: whether they check what was locked."""
    places: str = ""
    """For places: the name of their list; for an orbit: the size that is its height."""
    measures: bool = True
    """For turns and places: whether the round is complete with them."""
    run: str = ""
    """For turns and places: the name under which they are kept; a check repeats a run's."""

    @property
    def kept_as(self) -> str:
        """Name of what is taken in at this step."""
        return self.run or self.key


@dataclass(frozen=True, slots=True)
class Guide:
    """A guided setup.

    `around` is where a round begins anew once things were put right; `tolerance_words` say
    what the tolerance is of.
    """

    key: str
    title: str
    purpose: str
    surface: Surface
    layouts: tuple[Layout, ...]
    default_tolerance_mm: float
    steps: tuple[Step, ...]
    task: TaskName = "centre"
    sizes: tuple[SizeAsked, ...] = ()
    around: str = "turns"
    tolerance_words: str = "off centre"

    def step(self, key: str) -> Step:
        """Return the step named `key`."""
        return next(s for s in self.steps if s.key == key)

    def after(self, key: str) -> Step:
        """Return the step that follows `key` in the plain order."""
        keys = [s.key for s in self.steps]
        return self.steps[min(keys.index(key) + 1, len(keys) - 1)]

    def first_of(self, kind: StepKind) -> Step | None:
        """Return the first step of a kind, None where there is none."""
        return next((s for s in self.steps if s.kind == kind), None)

    def begins_check(self, key: str) -> bool:
        """Whether a step takes in what checks the lock."""
        return self.step(key).locked
