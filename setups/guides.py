"""Each guided setup as data: typed constants, in the order they are walked."""

from dataclasses import dataclass
from typing import Literal

from readings import Direction, Surface

Layout = Literal["still", "riding", "orbiting"]
StepKind = Literal["prepare", "checklist", "point", "rough", "turns", "moves", "lock", "done"]


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
    """For turns: whether they check the locked slides."""


@dataclass(frozen=True, slots=True)
class Guide:
    """A guided setup."""

    key: str
    title: str
    purpose: str
    surface: Surface
    layouts: tuple[Layout, ...]
    default_tolerance_mm: float
    steps: tuple[Step, ...]

    def step(self, key: str) -> Step:
        """Return the step named `key`."""
        return next(s for s in self.steps if s.key == key)

    def after(self, key: str) -> Step:
        """Return the step that follows `key` in the plain order."""
        keys = [s.key for s in self.steps]
        return self.steps[min(keys.index(key) + 1, len(keys) - 1)]


CENTRE_ON_BORE = Guide(
    key="centre-bore",
    title="Centre the spindle on a bore",
    purpose="Bring the axis of a bore under the axis of the spindle by moving the table.",
    surface="bore",
    layouts=("riding",),
    default_tolerance_mm=0.005,
    steps=(
        Step(
            "prepare",
            "prepare",
            "Before you start",
            "Clamp the work so that it can still be nudged by the table only. Put the ring on "
            "the table round the bore, the dial on its arm in the spindle, and the camera on the "
            "same arm where it sees the dial and the ring. Set the stylus on the wall of the "
            "bore, loaded to about half its travel.",
            "Mount ring, dial and camera. Then touch next.",
        ),
        Step(
            "before-hands",
            "checklist",
            "Before hands go on the spindle",
            "Touch each line when you have done it.",
            "Checklist. Touch each line when it is done.",
            checklist="before-hands",
        ),
        Step(
            "point-right",
            "point",
            "Stylus to the right",
            "Turn the spindle by hand until the stylus points right, then hold still.",
            "Point the stylus to the right and hold still.",
            direction="right",
        ),
        Step(
            "point-back",
            "point",
            "Stylus to the back",
            "Turn the spindle by hand until the stylus points away from you, then hold still.",
            "Point the stylus to the back and hold still.",
            direction="back",
        ),
        Step(
            "rough",
            "rough",
            "Rough centring",
            "Bring the bore within the dial's travel all round.",
            "Rough centring.",
        ),
        Step(
            "turns",
            "turns",
            "One turn each way",
            "Turn the spindle one full turn by hand, slowly, then one full turn back.",
            "One full turn, slowly, then one full turn back.",
        ),
        Step(
            "moves",
            "moves",
            "Move the table",
            "Turn the stylus to the axis, then bring the needle to the reading.",
            "",
        ),
        Step(
            "lock",
            "lock",
            "Lock the slides",
            "Lock both slides without moving them, then touch next.",
            "Inside. Lock both slides, then touch next.",
        ),
        Step(
            "check",
            "turns",
            "Check, locked",
            "One turn each way once more: clamping moves work.",
            "Check. One full turn, then one back.",
            locked=True,
        ),
        Step(
            "before-power",
            "checklist",
            "Before power",
            "The setup is saved. Touch each line when you have done it.",
            "Saved. Before power, touch each line.",
            checklist="before-power",
        ),
        Step(
            "done",
            "done",
            "Recorded",
            "The numbers and the photo are in the book.",
            "Recorded.",
        ),
    ),
)

GUIDES: dict[str, Guide] = {g.key: g for g in (CENTRE_ON_BORE,)}
