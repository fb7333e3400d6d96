"""Guides for the machine itself: a test bar in the spindle, tram of the head, a square."""

from setups.guide import Guide
from setups.guide_steps import (
    BEFORE_HANDS,
    BEFORE_POWER,
    DONE,
    SIZES,
    STYLUS_MARKS,
    TODO,
    change,
    lock,
    pointing,
    prepare,
    run_over,
    turns,
)
from setups.measured import SizeAsked

ARM = SizeAsked("arm", "Spindle axis to stylus", 100.0, 20.0, 600.0)

TEST_BAR = Guide(
    key="test-bar",
    title="Runout of a test bar",
    purpose="Find how far a test bar in the spindle runs out, at the nose and further down.",
    surface="bar",
    layouts=("still",),
    default_tolerance_mm=0.02,
    tolerance_words="runout below (TIR)",
    task="bar",
    around="turns",
    sizes=(SizeAsked("apart", "From the upper height down to the lower", 200.0, 30.0, 500.0),),
    steps=(
        prepare(
            "Wipe taper and bar, seat the bar, put the collar on it. Stand the dial on the table, "
            "stylus on the bar close to the nose, loaded to about half its travel, and the camera "
            "where it sees dial and collar.",
        ),
        SIZES,
        BEFORE_HANDS,
        *pointing("the bar's mark faces the dial", "the mark is a quarter turn past the dial"),
        turns(measures=False),
        change(
            "lower",
            "Dial down the bar",
            "Set the dial to the lower height, straight below, loaded to about half its travel. "
            "Then touch next.",
            "Set the dial to the lower height, then next.",
        ),
        turns("turns-below"),
        DONE,
    ),
)

TRAM_HEAD = Guide(
    key="tram-head",
    title="Tram the head",
    purpose="Bring the spindle square to the table by tilting and nodding the head.",
    surface="face",
    layouts=("riding",),
    default_tolerance_mm=0.02,
    tolerance_words="lean over 300 mm",
    task="tram",
    around="turns",
    sizes=(ARM,),
    steps=(
        prepare(
            "Wipe the table; on a slotted table lay a ring or two matched parallels. Put the dial "
            "on an arm in the spindle, stylus down on the table, loaded to about half its travel, "
            "the camera on the same arm, and the ring round the sweep.",
        ),
        SIZES,
        BEFORE_HANDS,
        *STYLUS_MARKS,
        turns(),
        TODO,
        lock("Tighten the head's bolts little by little, crosswise, then touch next.",
             "Inside. Tighten the head, then next."),
        turns("check", locked=True),
        BEFORE_POWER,
        DONE,
    ),
)  # fmt: skip

TRAM_SQUARE = Guide(
    key="tram-square",
    title="Tram a square, with reversal",
    purpose="Tell a square's own error from the machine's travel by turning the square round.",
    surface="face",
    layouts=("still",),
    default_tolerance_mm=0.01,
    tolerance_words="the square over its length",
    task="square",
    around="first",
    sizes=(SizeAsked("length", "Length run along the square", 120.0, 30.0, 600.0),),
    steps=(
        prepare(
            "Stand the square on the wiped table, its face to the right. Hold the dial in the "
            "spindle's nose, the spindle locked, its stylus to the left against the face near "
            "the foot, loaded to about half its travel.",
        ),
        SIZES,
        BEFORE_HANDS,
        run_over("first", "Up the square", "Raise the head to each place as told and hold still.",
                 "along", measures=False),
        change(
            "reverse",
            "Turn the square round",
            "Turn the square half round, its face to the left, and set the stylus to the right "
            "against it near the foot. Then touch next.",
            "Turn the square round, then next.",
        ),
        run_over("second", "Up the other side",
                 "Raise the head to each place as told and hold still.", "along"),
        DONE,
    ),
)  # fmt: skip
