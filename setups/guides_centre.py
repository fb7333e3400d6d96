"""Centring a spindle on a bore, a boss, or a plug fitted in a bore."""

from dataclasses import replace

from setups.guide import Guide, Step
from setups.guide_steps import BEFORE_HANDS, BEFORE_POWER, DONE, STYLUS_MARKS

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
            "Clamp the work so that it can still be nudged by the table only. Put the markers "
            "where they stand still: a ring on the table round the bore, or a collar round the "
            "quill. The dial goes on its arm in the spindle, the camera on the same arm where it "
            "sees dial and markers. Set the stylus on the wall of the bore, loaded to about half "
            "its travel.",
            "Mount markers, dial and camera. Then touch next.",
        ),
        BEFORE_HANDS,
        *STYLUS_MARKS,
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
        BEFORE_POWER,
        DONE,
    ),
)


def _on(surface_words: str, prepare: str) -> tuple[Step, ...]:
    """Return the bore's steps with what is swept named, and another way to prepare."""
    return tuple(
        replace(step, text=prepare)
        if step.kind == "prepare"
        else replace(step, text=step.text.replace("the bore", surface_words))
        for step in CENTRE_ON_BORE.steps
    )


CENTRE_ON_BOSS = replace(
    CENTRE_ON_BORE,
    key="centre-boss",
    title="Centre the spindle on a boss",
    purpose="Bring the axis of a boss under the axis of the spindle by moving the table.",
    surface="boss",
    steps=_on(
        "the boss",
        "Clamp the work so that it can still be nudged by the table only. Put the printed ring of "
        "markers on the table round the boss, the dial on its arm in the spindle with its stylus "
        "pointing in, and the camera on the same arm where it sees the dial and the markers. Set "
        "the stylus on the outside of the boss, loaded to about half its travel.",
    ),
)

CENTRE_ON_PLUG = replace(
    CENTRE_ON_BORE,
    key="centre-plug",
    title="Centre the spindle on a plug",
    purpose="Bring the axis of a plug fitted in a bore under the axis of the spindle.",
    surface="boss",
    steps=_on(
        "the plug",
        "Push the plug home in its bore and try it for shake. Put the printed ring of markers "
        "on the table round the work, the dial on its arm in the spindle with its stylus "
        "pointing in, the camera on the same arm. Set the stylus on the plug, close to the bore's "
        "mouth, loaded to about half its travel. Once a casting sits over its plug, the plug "
        "cannot be swept: do it now.",
    ),
)
