"""Steps that many guides share."""

from dataclasses import replace

from setups.guide import Step

BEFORE_HANDS = Step(
    "before-hands",
    "checklist",
    "Before hands go on the spindle",
    "Touch each line when you have done it.",
    "Checklist. Touch each line when it is done.",
    checklist="before-hands",
)
BEFORE_POWER = Step(
    "before-power",
    "checklist",
    "Before power",
    "The setup is saved. Touch each line when you have done it.",
    "Saved. Before power, touch each line.",
    checklist="before-power",
)
DONE = Step("done", "done", "Recorded", "The numbers and the photo are in the book.", "Recorded.")
SIZES = Step(
    "sizes",
    "sizes",
    "Sizes",
    "Enter each size as you measured it, then touch next.",
    "Enter the sizes, then touch next.",
)
TODO = Step("todo", "todo", "Put it right", "Do as told, then hold still.", "")


def prepare(text: str) -> Step:
    """Return the first step."""
    return Step("prepare", "prepare", "Before you start", text, "Mount it as shown. Then next.")


def pointing(first: str, second: str) -> tuple[Step, Step]:
    """Return the two pointing marks: θ = 0 at the first, a quarter turn on at the second."""
    return (
        Step(
            "point-right",
            "point",
            first[0].upper() + first[1:],
            f"Turn by hand until {first}, then hold still.",
            f"Turn until {first}, and hold still.",
            direction="right",
        ),
        Step(
            "point-back",
            "point",
            second[0].upper() + second[1:],
            f"Turn by hand until {second}, then hold still.",
            f"Turn until {second}, and hold still.",
            direction="back",
        ),
    )


_RIGHT, _BACK = pointing("the stylus points right", "the stylus points away from you")
STYLUS_MARKS = (
    replace(_RIGHT, title="Stylus to the right"),
    replace(_BACK, title="Stylus to the back"),
)


def turns(key: str = "turns", *, locked: bool = False, measures: bool = True) -> Step:
    """Return a step of one turn each way."""
    return Step(
        key,
        "turns",
        "Check, locked" if locked else "One turn each way",
        "One turn each way once more: clamping moves work."
        if locked
        else "Turn one full turn by hand, slowly, then one full turn back.",
        "Check. One full turn, then one back."
        if locked
        else "One full turn, slowly, then one full turn back.",
        locked=locked,
        measures=measures,
    )


def lock(text: str, say: str) -> Step:
    """Return the step at which what was moved is locked."""
    return Step("lock", "lock", "Lock it", text, say)


def run_over(
    key: str, title: str, text: str, places: str, *, measures: bool = True, check_of: str = ""
) -> Step:
    """Return a run over places; `check_of` names the run that it repeats, locked."""
    return Step(
        key,
        "places",
        title,
        text,
        title + ".",
        places=places,
        measures=measures,
        locked=bool(check_of),
        run=check_of,
    )


def change(key: str, title: str, text: str, say: str) -> Step:
    """Return a step at which something is turned round or set elsewhere."""
    return Step(key, "change", title, text, say)
