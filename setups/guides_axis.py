"""The guide that finds a rotation axis by printed targets, without a dial."""

from setups.guide import Guide, Step
from setups.guide_steps import BEFORE_HANDS, DONE, SIZES, change, prepare
from setups.measured import SizeAsked

_HOLD = (
    "Turn by hand about a twelfth of a turn and hold still until it is counted; go on so all round."
)


def _orbit(key: str, height: str, *, measures: bool) -> Step:
    return Step(
        key,
        "orbit",
        "Turn on, hold still",
        _HOLD,
        "Turn on by a twelfth of a turn, and hold still.",
        places=height,
        measures=measures,
    )


ROTATION_AXIS = Guide(
    key="rotation-axis",
    title="Rotation axis by a printed target",
    purpose="Find where a spindle, chuck or dividing head turns about, and which way it leans.",
    surface="bar",
    layouts=("still",),
    default_tolerance_mm=1.0,
    tolerance_words="lean over 300 mm",
    task="axis",
    around="orbit",
    sizes=(
        SizeAsked(
            "target_size", "Size of the still target as printed", 60.0, 20.0, 150.0,
            tool="calliper",
        ),
        SizeAsked("first_height", "Target 0's paper over target 1's, short bar", 20.0, 0.0, 400.0,
                  tool="calliper"),
        SizeAsked("second_height", "The same with the longer bar", 100.0, 10.0, 500.0,
                  tool="calliper"),
    ),
    steps=(
        prepare(
            "Stick target 0 near the middle of a short bar's end, target 1 on something flat that "
            "stands still beside it. Set the calibrated camera where it sees both, 15 to 35 "
            "degrees aslant; from now on touch neither it nor target 1.",
        ),
        SIZES,
        BEFORE_HANDS,
        _orbit("orbit", "first_height", measures=False),
        change(
            "longer",
            "Now the longer bar",
            "Put in a longer bar, or draw this one out, with target 0 on its end again; how it "
            "runs and where the paper sticks does not matter. Then touch next.",
            "Put in the longer bar, then next.",
        ),
        _orbit("orbit-longer", "second_height", measures=True),
        DONE,
    ),
)  # fmt: skip
