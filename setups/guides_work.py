"""Guides for the work: between centres, on jacks, hung, its own face."""

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
    prepare,
    run_over,
    turns,
)
from setups.guides_machine import ARM
from setups.measured import SizeAsked

PITCH = SizeAsked("pitch", "Pitch of the jacks' thread", 1.5, 0.3, 6.0, tool="thread gauge")

FACE_SQUARE = Guide(
    key="face-square",
    title="The part's own face square to the spindle",
    purpose="Sweep a face of the part and shim it square to the spindle.",
    surface="face",
    layouts=("riding",),
    default_tolerance_mm=0.02,
    tolerance_words="tilt over 300 mm",
    task="face",
    around="turns",
    sizes=(
        ARM,
        SizeAsked("supports_x", "Supports apart, left to right", 200.0, 20.0, 1000.0),
        SizeAsked("supports_y", "Supports apart, front to back", 150.0, 20.0, 1000.0),
    ),
    steps=(
        prepare(
            "Set the part on four supports, clamped lightly over them. Put the dial on an arm in "
            "the spindle, stylus down on the face, loaded to about half its travel, the camera "
            "on the same arm, and the ring round the sweep.",
        ),
        SIZES,
        BEFORE_HANDS,
        *STYLUS_MARKS,
        turns(),
        TODO,
        lock("Clamp over the supports, little by little, then touch next.",
             "Inside. Clamp the part, then next."),
        turns("check", locked=True),
        BEFORE_POWER,
        DONE,
    ),
)  # fmt: skip

BETWEEN_CENTRES = Guide(
    key="between-centres",
    title="Set a bar between centres",
    purpose="Bring a bar between centres parallel to the table's travel, above and beside.",
    surface="bar",
    layouts=("still",),
    default_tolerance_mm=0.01,
    tolerance_words="off at the far end",
    task="between-centres",
    around="above",
    sizes=(SizeAsked("length", "From the near place to the far one", 150.0, 40.0, 1000.0),),
    steps=(
        prepare(
            "Hang a true bar between the centres without shake. Hold the dial in the spindle's "
            "nose, the spindle locked, its stylus down on the top of the bar at the far end, "
            "loaded to about half its travel.",
        ),
        SIZES,
        BEFORE_HANDS,
        run_over("above", "Along the top", "Move the table to each place as told, hold still.",
                 "along-to-the-end", measures=False),
        change(
            "to-side",
            "Dial to the side",
            "Set the stylus to the back against the front of the bar at the far end, at the "
            "height of its middle, loaded to about half its travel. Then touch next.",
            "Set the dial to the front of the bar, then next.",
        ),
        run_over("beside", "Along the side", "Move the table to each place as told, hold still.",
                 "along-to-the-end"),
        TODO,
        lock("Lock the far centre and try the bar for shake again, then touch next.",
             "Inside. Lock the far centre, try for shake, then next."),
        run_over("check-beside", "Check the side", "Once more along the side: locking moves work.",
                 "along-to-the-end", measures=False, check_of="beside"),
        change(
            "to-top",
            "Dial to the top",
            "Set the stylus down on the top of the bar at the far end again. Then touch next.",
            "Set the dial on top of the bar, then next.",
        ),
        run_over("check-above", "Check the top", "Once more along the top.",
                 "along-to-the-end", check_of="above"),
        BEFORE_POWER,
        DONE,
    ),
)  # fmt: skip

LEVEL_ON_JACKS = Guide(
    key="level-jacks",
    title="Set a face level on free jacks",
    purpose="Bring a rough face level with the table's travel by three jacks under it.",
    surface="face",
    layouts=("still",),
    default_tolerance_mm=0.05,
    tolerance_words="off level between the jacks",
    task="jacks",
    around="heights",
    sizes=(
        SizeAsked("jacks_apart", "Jack 1 to jack 2, along the front", 200.0, 40.0, 1500.0),
        SizeAsked("jack_behind", "Jack 3 behind that line", 150.0, 40.0, 1500.0),
        PITCH,
    ),
    steps=(
        prepare(
            "Stand the casting on three jacks, 1 and 2 along the front, 3 behind them in the "
            "middle; a fourth stays clear. Hold the dial in the spindle's nose, the spindle "
            "locked, its stylus down on the face, loaded to about half its travel.",
        ),
        SIZES,
        BEFORE_HANDS,
        run_over("heights", "Over the face", "Bring the dial to each place as told, hold still.",
                 "over-jacks"),
        TODO,
        lock("Clamp lightly over the jacks, bring the fourth to touch, then touch next.",
             "Inside. Clamp over the jacks, then next."),
        run_over("check", "Check, clamped", "Once more over the face: clamping moves work.",
                 "over-jacks", check_of="heights"),
        BEFORE_POWER,
        DONE,
    ),
)  # fmt: skip

HUNG_CASTING = Guide(
    key="hung-casting",
    title="Share the error of a casting hung between centres",
    purpose="Roll a casting between centres so that the least skim cleans its rough face.",
    surface="face",
    layouts=("still",),
    default_tolerance_mm=0.10,
    tolerance_words="rolled off the least skim, over the width",
    task="hung",
    around="heights",
    sizes=(
        SizeAsked("length", "Length of the face along the axis", 180.0, 40.0, 1500.0),
        SizeAsked("width", "Between the two lines touched, across", 120.0, 20.0, 1000.0),
        SizeAsked("jack_pair", "Front jack to back jack, across", 140.0, 20.0, 1000.0),
        PITCH,
    ),
    steps=(
        prepare(
            "Hang the casting between centres without shake, a jack nipped under either side. "
            "Hold the dial in the spindle's nose, the spindle locked, its stylus down on the "
            "face, loaded to about half its travel.",
        ),
        SIZES,
        BEFORE_HANDS,
        run_over("heights", "Both sides of the face",
                 "Bring the dial to each place as told, hold still.", "both-sides"),
        TODO,
        lock("Pinch both jacks by hand, clamp, and try the centres for shake again. Then next. "
             "Slacken and pinch the jacks anew before the last cut, and try them after every "
             "pass.", "Inside. Pinch the jacks, try for shake, then next."),
        run_over("check", "Check, pinched", "Once more over both sides: pinching moves work.",
                 "both-sides", check_of="heights"),
        BEFORE_POWER,
        DONE,
    ),
)  # fmt: skip
