"""Known steps for a dial's check: what they are made with, and which there are."""

import re
from collections.abc import Sequence
from math import hypot, isfinite, sqrt

import numpy as np

from calibration.dial_errors import Float, MadeWith, planned_steps_mm
from calibration.dials import TaughtDial
from calibration.handwheels import Handwheel
from calibration.handwheels_store import checked_wheel
from readings import BadInputError, frozen_array

MOST_STEPS = 500
MOST_TURNS = 500.0
"""Turns of the needle that a check may go over, or begin away from zero."""
LARGEST_U_STEP_MM = 1.0

_BLOCK_LIMITS_UM: dict[str, tuple[float, ...]] = {
    "k": (0.20, 0.30, 0.40, 0.50, 0.60),
    "0": (0.12, 0.14, 0.20, 0.25, 0.30),
    "1": (0.20, 0.30, 0.40, 0.50, 0.60),
    "2": (0.45, 0.60, 0.80, 1.00, 1.20),
}
"""ISO 3650's limit deviations of length, by grade, from memory: a certificate knows better."""
_BLOCK_LENGTHS_MM = (10.0, 25.0, 50.0, 75.0, 100.0)
SCREW_LIMIT_MM = 0.010
"""Half-width allowed for a machine's screw whose error nobody measured."""
_WHEEL = re.compile(r"wheel:(?P<mm>[0-9.]+)/(?P<divisions>[0-9]+)")
_BLOCKS = re.compile(r"blocks-(?P<grade>[k012])")


def gauge_blocks(grade: str, longest_mm: float) -> MadeWith:
    """Return gauge blocks of an ISO 3650 grade; a step is the difference of two blocks."""
    row = zip(_BLOCK_LENGTHS_MM, _BLOCK_LIMITS_UM[grade], strict=True)
    limit_um = next((um for end, um in row if longest_mm <= end), None)
    if limit_um is None:
        msg = (
            f"gauge blocks over {_BLOCK_LENGTHS_MM[-1]:g} mm have no limit here: give their "
            "uncertainty with --u-step-mm."
        )
        raise BadInputError(msg)
    u_mm = sqrt(2) * limit_um / 1e3 / sqrt(3)
    return MadeWith(f"gauge blocks, grade {grade.upper()}", u_mm)


def handwheel_steps(wheel: Handwheel, screw_limit_mm: float = SCREW_LIMIT_MM) -> MadeWith:
    """Return a handwheel, its collar read to a fifth of a division, turned one way only.

    Going back would put the slide's own slack into the dial's retrace.
    """
    collar_mm = wheel.mm_per_division / 5 / sqrt(12)
    u_mm = hypot(sqrt(2) * collar_mm, screw_limit_mm / sqrt(3))
    name = f"handwheel of {wheel.mm_per_turn:g} mm and {wheel.divisions_per_turn} divisions a turn"
    return MadeWith(name, u_mm, both_ways=False)


def made_with(
    words: str,
    longest_mm: float,
    u_step_mm: float | None = None,
    wheels: Sequence[Handwheel] = (),
) -> MadeWith:
    """Return what the steps are made with, from a person's words.

    `blocks-0` (a grade of ISO 3650: k, 0, 1, 2), `wheel:x` (a taught one, of `wheels`),
    `wheel:2.5/250` (mm and divisions a turn), or any other words together with the
    uncertainty `u_step_mm` (k = 1), which also replaces the allowance of the others.

    Raises
    ------
    BadInputError
        If the words are none of these, or an uncertainty is missing or negative.
    """
    text = " ".join(words.split())
    if u_step_mm is not None and not 0 <= u_step_mm <= LARGEST_U_STEP_MM:
        msg = (
            f"--u-step-mm {u_step_mm:g} cannot be used: give mm from 0 to {LARGEST_U_STEP_MM:g}, "
            "like 0.0005 for half a micrometre."
        )
        raise BadInputError(msg)
    found = _taught(text.lower(), wheels)
    if found is None:
        found = _from_words(text.lower(), longest_mm, known=u_step_mm is not None)
    if found is not None:
        return found if u_step_mm is None else MadeWith(found.name, u_step_mm, found.both_ways)
    if not text or not text.isprintable() or u_step_mm is None:
        msg = (
            f"'{words}' is not known to make steps with: give blocks-k, blocks-0, blocks-1, "
            "blocks-2, wheel:X (a taught one), wheel:MM/DIVISIONS a turn, or other words with "
            "--u-step-mm."
        )
        raise BadInputError(msg)
    return MadeWith(text, u_step_mm)


def _taught(text: str, wheels: Sequence[Handwheel]) -> MadeWith | None:
    axis = text.removeprefix("wheel:")
    if axis == text or axis not in ("x", "y", "z"):
        return None
    wheel = next((each for each in wheels if each.axis == axis), None)
    if wheel is None:
        msg = f"The {axis.upper()} handwheel was never taught: run 'handwheel teach {axis}'."
        raise BadInputError(msg)
    return handwheel_steps(wheel)


def _from_words(text: str, longest_mm: float, *, known: bool) -> MadeWith | None:
    blocks, wheel = _BLOCKS.fullmatch(text), _WHEEL.fullmatch(text)
    if blocks is not None:
        return gauge_blocks(blocks["grade"], 0.0 if known else longest_mm)
    if wheel is None:
        return None
    try:
        mm = float(wheel["mm"])
    except ValueError:
        return None
    return handwheel_steps(checked_wheel(Handwheel("x", mm, int(wheel["divisions"]))))


def chosen_steps_mm(
    dial: TaughtDial,
    *,
    steps: str | None = None,
    every_mm: float | None = None,
    to_mm: float | None = None,
    from_mm: float = 0.0,
) -> Float:
    """Return the steps a person asked for, rising.

    A list; or every so many mm up to the last; or up to the last as the method asks; without
    any, over the dial's whole taught travel.

    Raises
    ------
    BadInputError
        If they contradict each other, do not rise, or are fewer than 2 or more than 500.
    """
    if steps is not None:
        if every_mm is not None or to_mm is not None or from_mm != 0.0:
            msg = "give either --steps, or --from, --every and --to, not both."
            raise BadInputError(msg)
        return _checked(_listed(steps), dial)
    if to_mm is None:
        if dial.travel_mm is None or every_mm is not None:
            msg = "say how far the steps go: --to MM, or list them with --steps 0,0.1,0.2."
            raise BadInputError(msg)
        from_mm, to_mm = dial.travel_mm
    if not (isfinite(from_mm) and isfinite(to_mm) and from_mm < to_mm):
        msg = f"steps from {from_mm:g} to {to_mm:g} mm cannot be made: --to lies above --from."
        raise BadInputError(msg)
    if every_mm is not None:
        return _checked(_evenly(from_mm, to_mm, every_mm), dial)
    _demand_turns(np.array([from_mm, to_mm]), dial)
    turn, marks = dial.mm_per_turn, dial.marks_per_turn
    return _checked(planned_steps_mm(to_mm, turn, marks, from_mm), dial)


def _demand_turns(steps: Float, dial: TaughtDial) -> None:
    most_mm = MOST_TURNS * dial.mm_per_turn
    if not np.all(np.abs(steps) <= most_mm):
        farthest = float(steps[np.argmax(np.abs(steps))])
        msg = (
            f"a step at {farthest:g} mm is over {MOST_TURNS:g} turns of dial {dial.name} away: "
            f"give steps within {most_mm:g} mm."
        )
        raise BadInputError(msg)


def _evenly(from_mm: float, to_mm: float, every_mm: float) -> Float:
    """Return the steps every so many mm, the last one at `to_mm` itself."""
    if not (isfinite(every_mm) and every_mm > 0):
        msg = f"--every {every_mm:g} mm makes no steps: give a length above zero."
        raise BadInputError(msg)
    count = (to_mm - from_mm) / every_mm
    if count > MOST_STEPS - 1 + 1e-9:
        msg = (
            f"--every {every_mm:g} mm over {to_mm - from_mm:g} mm makes over {MOST_STEPS} steps: "
            "give longer ones, or a shorter --to."
        )
        raise BadInputError(msg)
    if count < 1 - 1e-9:
        msg = (
            f"--every {every_mm:g} mm is longer than the {to_mm - from_mm:g} mm from --from to "
            "--to: give shorter steps."
        )
        raise BadInputError(msg)
    whole = np.round(from_mm + every_mm * np.arange(int(count + 1e-9) + 1), 9)
    return whole if to_mm - whole[-1] < 1e-6 else np.append(whole, to_mm)


def _listed(steps: str) -> Float:
    try:
        return np.array([float(word) for word in steps.split(",")])
    except ValueError as error:
        msg = f"--steps {steps!r} is no list of numbers: give mm with commas, like 0,0.1,0.2."
        raise BadInputError(msg) from error


def _checked(steps: Float, dial: TaughtDial) -> Float:
    if not 2 <= len(steps) <= MOST_STEPS:
        many = "1 step was" if len(steps) == 1 else f"{len(steps)} steps were"
        msg = f"{many} given: a check needs 2 to {MOST_STEPS}."
        raise BadInputError(msg)
    if not (np.isfinite(steps).all() and np.all(np.diff(steps) > 1e-6)):
        msg = "the steps must rise: give each larger than the one before, in mm."
        raise BadInputError(msg)
    _demand_turns(steps, dial)
    return frozen_array(steps)
