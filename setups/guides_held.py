"""Guides for work that is held and turned under a still dial: four jaws, a dividing head."""

from dataclasses import replace

from setups.guide import Guide, Step
from setups.guide_steps import (
    BEFORE_HANDS,
    BEFORE_POWER,
    DONE,
    SIZES,
    TODO,
    lock,
    pointing,
    prepare,
    turns,
)
from setups.measured import SizeAsked


def _trued(before: tuple[Step, ...], named: str, *locks: Step) -> tuple[Step, ...]:
    """Return the steps of truing held work; `named` is what the dial stands at, jaw or side.

    The first lock is of the work, before the check; what is locked after it stands last.
    """
    return (
        *before,
        BEFORE_HANDS,
        *pointing(f"{named} 1 faces the dial", f"{named} 2 faces the dial"),
        turns(),
        TODO,
        locks[0],
        turns("check", locked=True),
        *locks[1:],
        BEFORE_POWER,
        DONE,
    )


FOUR_JAW = Guide(
    key="four-jaw",
    title="True a part in an independent four-jaw chuck",
    purpose="Bring held work to run true by its jaws.",
    surface="boss",
    layouts=("still",),
    default_tolerance_mm=0.02,
    tolerance_words="off centre",
    task="jaws",
    around="turns",
    sizes=(SizeAsked("jaw_pitch", "Travel of a jaw for one turn of its screw", 4.0, 0.5, 12.0),),
    steps=_trued(
        (
            prepare(
                "Centre the part by eye to within the dial's travel, all four jaws nipped. Put "
                "the collar on the chuck, and the dial on a stand, its stylus on the part, loaded "
                "to about half its travel.",
            ),
            SIZES,
        ),
        "jaw",
        lock("Tighten all four jaws in turn by the same small amount, then touch next.",
             "Inside. Tighten all four jaws, then next."),
    ),
)  # fmt: skip

_LOCK_HEAD = Step(
    "lock-head",
    "lock",
    "Lock the head",
    "Drop the plunger into its hole and lock the head's spindle. Watch the needle meanwhile: it "
    "must not stir. If it does, free the lock and bring it home once more. Then touch next.",
    "Drop the plunger and lock the head. The needle must not stir. Then next.",
)

DIVIDING_HEAD = replace(
    FOUR_JAW,
    key="dividing-head",
    title="True a part on a dividing head",
    purpose="Bring a part on a dividing head to run true, tapping the side that lies out.",
    task="sides",
    sizes=(),
    steps=_trued(
        (
            prepare(
                "Nip the part on the dividing head so that a soft mallet just moves it. Chalk its "
                "four sides 1 to 4, a quarter turn apart. Draw the plunger and free the spindle's "
                "lock. Put the collar on the head's spindle, so that slack in its worm does not "
                "count, and the dial on a stand, its stylus on the part, loaded to about half its "
                "travel.",
            ),
        ),
        "side",
        lock("Tighten what holds the part, crosswise and little by little, then touch next.",
             "Inside. Tighten what holds the part, then next."),
        _LOCK_HEAD,
    ),
)  # fmt: skip
