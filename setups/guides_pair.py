"""Guides of a pair of seats: the second end on a plug, and the proof of both."""

from dataclasses import replace

from setups.guide import Guide, Step
from setups.guide_steps import (
    BEFORE_HANDS,
    BEFORE_POWER,
    DONE,
    SIZES,
    STYLUS_MARKS,
    change,
    prepare,
    turns,
)
from setups.measured import SizeAsked


def _turns_at(key: str, title: str, *, measures: bool = False) -> Step:
    return replace(turns(key, measures=measures), title=title)


def _deeper(key: str, where: str) -> Step:
    return change(
        key,
        f"Stylus to {where}",
        f"Bring the stylus to {where} by Z alone, the table untouched, loaded to about half its "
        "travel. Then touch next.",
        f"Stylus to {where}, then next.",
    )


SECOND_END = Guide(
    key="second-end",
    title="The second end true to the first, on a plug",
    purpose="Tell before boring how coaxial the second seat will be with the first.",
    surface="boss",
    layouts=("riding",),
    default_tolerance_mm=0.05,
    tolerance_words="coaxial within (zone diameter)",
    task="second-end",
    around="turns",
    sizes=(
        SizeAsked("clearance", "First bore less plug, in diameter", 0.010, 0.0, 0.5,
                  tool="bore gauge and micrometer"),
        SizeAsked("plug_tir", "Runout between the plug's two diameters (TIR)", 0.003, 0.0, 0.2,
                  tool="dial"),
        SizeAsked("face_error", "End face square to its bore, within", 0.010, 0.0, 1.0,
                  tool="dial"),
        SizeAsked("face_across", "over a diameter of", 100.0, 10.0, 1000.0),
        SizeAsked("seat_near", "From the plug's middle up to the second seat", 80.0, 0.0, 1000.0),
        SizeAsked("seat_length", "Length of the second seat", 20.0, 1.0, 500.0),
    ),
    steps=(
        prepare(
            "Centre the spindle on the plug first (its own guide), slides locked. The plug stays "
            "clamped to the table; the dial rides on its arm in the spindle, stylus on the plug.",
        ),
        SIZES,
        BEFORE_HANDS,
        *STYLUS_MARKS,
        turns(),
        change(
            "over-plug",
            "Turn the part over",
            "Lower the part over the plug; from now on the plug cannot be swept and the table "
            "must not move. Nip both rollers (feeler or paper) and clamp. Then touch next.",
            "Lower the part over the plug, nip the rollers, clamp. Then next.",
        ),
        change(
            "back-face",
            "Check beside the plug",
            "Run the dial along the machined back face by Z, and leave a dial on the table while "
            "the slides stand locked: neither may move. Then touch next.",
            "Check the back face along Z, and the dial on the table. Then next.",
        ),
        BEFORE_POWER,
        DONE,
    ),
)  # fmt: skip

PROVE_PAIR = Guide(
    key="prove-pair",
    title="Prove the pair",
    purpose="Find how coaxial two bored seats are, each swept at two depths from one side.",
    surface="bore",
    layouts=("riding",),
    default_tolerance_mm=0.05,
    tolerance_words="coaxial within (zone diameter)",
    task="prove",
    around="first-upper",
    sizes=(
        SizeAsked("first_apart", "First seat: upper depth to lower", 15.0, 2.0, 300.0),
        SizeAsked("to_second", "First seat's upper depth to the second seat's", 100.0, 5.0, 900.0),
        SizeAsked("second_apart", "Second seat: upper depth to lower", 15.0, 2.0, 300.0),
    ),
    steps=(
        prepare(
            "Clamp the part so that the stylus reaches both seats by Z alone, the slides locked "
            "throughout. Put the printed ring of markers on the table, dial and camera on the arm "
            "in the spindle, the stylus on the wall of the first seat at its upper depth.",
        ),
        SIZES,
        BEFORE_HANDS,
        *STYLUS_MARKS,
        _turns_at("first-upper", "First seat, upper depth"),
        _deeper("to-first-lower", "the first seat's lower depth"),
        _turns_at("first-lower", "First seat, lower depth"),
        _deeper("to-second-upper", "the second seat's upper depth"),
        _turns_at("second-upper", "Second seat, upper depth"),
        _deeper("to-second-lower", "the second seat's lower depth"),
        _turns_at("second-lower", "Second seat, lower depth", measures=True),
        DONE,
    ),
)
