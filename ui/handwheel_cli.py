"""The commands `handwheel teach` and `handwheel list`."""

from typing import Annotated, Literal

import typer

from calibration.handwheels import Handwheel
from calibration.handwheels_store import AXES, checked_wheel
from readings import Axis, BadInputError, move_word
from ui.home import Home
from ui.output import put_json, put_table, tell

_WAYS: dict[tuple[Axis, str], Literal[-1, 1]] = {
    ("x", "right"): 1,
    ("x", "left"): -1,
    ("y", "back"): 1,
    ("y", "front"): -1,
    ("z", "up"): 1,
    ("z", "down"): -1,
}


def handwheel_teach(
    context: typer.Context,
    axis: Annotated[str, typer.Argument(help="The slide: x, y or z.")],
    mm_per_turn: Annotated[
        float, typer.Option("--mm-per-turn", help="Travel of one whole turn, mm.")
    ],
    divisions: Annotated[
        int, typer.Option("--divisions", help="Divisions on the wheel's collar, one whole turn.")
    ],
    clockwise: Annotated[
        str,
        typer.Option(
            "--clockwise-moves",
            help="Which way the slide goes when its wheel is turned clockwise: right or left "
            "(x), back or front (y), up or down (z).",
        ),
    ],
    backlash_mm: Annotated[
        float | None, typer.Option("--backlash-mm", help="Lost motion, where it was measured.")
    ] = None,
) -> None:
    """Keep a slide's handwheel: its divisions, and which way it moves the slide."""
    home: Home = context.obj
    slide = _axis(axis)
    sense = _WAYS.get((slide, clockwise.strip().lower()))
    if sense is None:
        ways = " or ".join(way for each, way in _WAYS if each == slide)
        msg = f"'{clockwise}' is no way the {slide.upper()} slide goes: give {ways}."
        raise BadInputError(msg)
    wheel = checked_wheel(Handwheel(slide, mm_per_turn, divisions, sense, backlash_mm))
    version = home.ensure().handwheels.save(wheel)
    tell(f"Taught the {slide.upper()} handwheel (version {version}): {_words(wheel)}.")


def handwheel_list(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output.")] = False,
) -> None:
    """List the taught handwheels."""
    home: Home = context.obj
    wheels = home.handwheels.all()
    if as_json:
        put_json(wheels)
        return
    if not wheels:
        tell("No handwheel is known yet; teach one with: sparehand handwheel teach AXIS")
        return
    put_table(
        "Handwheels",
        ("slide", "mm a turn", "divisions", "mm a division", "clockwise moves", "backlash"),
        (
            (
                wheel.axis.upper(),
                f"{wheel.mm_per_turn:g}",
                str(wheel.divisions_per_turn),
                f"{wheel.mm_per_division:g}",
                move_word(wheel.axis, wheel.clockwise_moves),
                "not measured" if wheel.backlash_mm is None else f"{wheel.backlash_mm:g} mm",
            )
            for wheel in wheels
        ),
    )


def _axis(word: str) -> Axis:
    axis = word.strip().lower()
    if axis not in AXES:
        msg = f"There is no slide '{word}': give x, y or z."
        raise BadInputError(msg)
    return axis


def _words(wheel: Handwheel) -> str:
    way = move_word(wheel.axis, wheel.clockwise_moves)
    return (
        f"{wheel.divisions_per_turn} divisions of {wheel.mm_per_division:g} mm, clockwise moves "
        f"it {way}"
    )


def add_to(app: typer.Typer) -> None:
    """Hang the commands under `handwheel`."""
    app.command("teach")(handwheel_teach)
    app.command("list")(handwheel_list)
