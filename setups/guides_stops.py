"""Guides for a camera that stands still while the dial goes round: eight stops each way."""

from dataclasses import replace

from setups.guide import Guide, Step
from setups.guide_steps import (
    BEFORE_HANDS,
    BEFORE_POWER,
    DONE,
    SIZES,
    TODO,
    lock,
    prepare,
    run_over,
)
from setups.guides_machine import ARM
from setups.measured import SizeAsked

_TELL = "Turn the spindle by hand, on in the same sense, until the stylus points there, hold still."


def _round(*, check: bool = False) -> tuple[Step, Step]:
    """Return eight stops anticlockwise and eight back; a check repeats both, locked."""
    begin = "Check: stylus" if check else "Stylus"
    prefix = "check-" if check else ""
    return (
        run_over(f"{prefix}there", f"{begin} round, anticlockwise", _TELL, "stops-there",
                 measures=False, check_of="there" if check else ""),
        run_over(f"{prefix}back", f"{begin} back, clockwise", _TELL, "stops-back",
                 check_of="back" if check else ""),
    )  # fmt: skip


def _prepare(what: str, where: str) -> Step:
    return prepare(
        f"{what} Put the dial on its arm in the spindle, {where}, loaded to about half its "
        "travel, its face to be seen from where the camera stands still, at all eight stops. "
        "Centre or level roughly, so that half a turn stays inside the dial's travel.",
    )


BORE_BY_STOPS = Guide(
    key="centre-bore-stops",
    title="Centre on a bore by eight stops",
    purpose="Centre the spindle on a bore with a camera that stands still, without a collar.",
    surface="bore",
    layouts=("orbiting",),
    default_tolerance_mm=0.01,
    tolerance_words="off centre",
    task="centre-stops",
    around="there",
    sizes=(SizeAsked("diameter", "Diameter of the bore", 52.0, 5.0, 1000.0, tool="calliper"),),
    steps=(
        _prepare("Clamp the work.", "the stylus on the wall of the bore"),
        SIZES,
        BEFORE_HANDS,
        *_round(),
        TODO,
        lock("Lock both slides without moving them, then touch next.",
             "Inside. Lock both slides, then next."),
        *_round(check=True),
        BEFORE_POWER,
        DONE,
    ),
)  # fmt: skip

BOSS_BY_STOPS = replace(
    BORE_BY_STOPS,
    key="centre-boss-stops",
    title="Centre on a boss or plug by eight stops",
    purpose="Centre the spindle on a boss or plug with a camera that stands still.",
    surface="boss",
    sizes=(SizeAsked("diameter", "Diameter of the boss", 52.0, 5.0, 1000.0, tool="calliper"),),
    steps=(_prepare("Clamp the work.", "the stylus on the boss"), *BORE_BY_STOPS.steps[1:]),
)

TRAM_BY_STOPS = Guide(
    key="tram-head-stops",
    title="Tram the head by eight stops",
    purpose="Bring the spindle square to the table with a camera that stands still.",
    surface="face",
    layouts=("orbiting",),
    default_tolerance_mm=0.02,
    tolerance_words="lean over 300 mm",
    task="tram-stops",
    around="there",
    sizes=(replace(ARM, default=60.0),),
    steps=(
        _prepare("Wipe the table.", "the stylus down on the table"),
        SIZES,
        BEFORE_HANDS,
        *_round(),
        TODO,
        lock("Tighten the head's bolts little by little, crosswise, then touch next.",
             "Inside. Tighten the head, then next."),
        *_round(check=True),
        BEFORE_POWER,
        DONE,
    ),
)  # fmt: skip
