"""The commands `dial list`, `dial check`, `dial classes`; OpenCV is imported when asked for."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readings import BadInputError
from ui.home import Home
from ui.output import put_json, put_table, tell

if TYPE_CHECKING:
    from calibration.camera import CameraModel
    from calibration.dial_classes import DialClass, Limit
    from calibration.dial_errors import ErrorTable
    from calibration.dial_errors_correct import Correction
    from calibration.dials import TaughtDial
    from ui.check_command import CheckRequest
    from ui.check_steps import StepReader


def dial_list(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output.")] = False,
) -> None:
    """List the known dials, newest version of each, and when each was last checked."""
    home: Home = context.obj
    known = home.dials
    dials = [(d, home.dial_errors.newest(d)) for d in map(known.load, known.list())]
    if as_json:
        put_json([_dial_fields(dial, table) for dial, table in dials])
        return
    if not dials:
        tell("No dial is known yet; teach one with: sparehand dial teach FOLDER")
        return
    put_table(
        "Dials",
        ("name", "version", "graduation", "marks a turn", "numbering", "rises", "checked"),
        (
            (
                d.name,
                str(d.version),
                f"{d.graduation:g} {d.unit}",
                str(d.marks_per_turn),
                d.numbering,
                "clockwise" if d.clockwise else "anticlockwise",
                _checked_words(table),
            )
            for d, table in dials
        ),
    )


def _dial_fields(dial: "TaughtDial", table: "ErrorTable | None") -> dict[str, Any]:
    facts = ("name", "version", "unit", "graduation", "marks_per_turn", "numbering", "clockwise")
    fields = {fact: getattr(dial, fact) for fact in (*facts, "has_turns_counter")}
    return fields | {"checked": None if table is None else checked_fields(table)}


def checked_fields(table: "ErrorTable") -> dict[str, Any]:
    """Return which check counts, when it was made and what it was judged."""
    return {
        "number": table.number,
        "date": table.at_utc.isoformat(),
        "class": table.judged_by,
        "verdict": table.verdict,
    }


def _checked_words(table: "ErrorTable | None") -> str:
    if table is None:
        return "never"
    judged = f": {table.verdict} ({table.judged_by})" if table.verdict else ", not judged"
    return f"{table.at_utc:%Y-%m-%d}{judged}"


def newest_correction(home: Home, dial: "TaughtDial") -> "Correction":
    """Return the correction of a dial's newest check, and tell which it is.

    Raises
    ------
    BadInputError
        If there is none: a correction that was asked for is not left out in silence.
    """
    from calibration.dial_errors_correct import correction_of

    table = home.dial_errors.newest(dial)
    if table is None:
        msg = (
            f"dial {dial.name} was never checked, so nothing can be put right by its check: "
            f"run 'dial check {dial.name}', or leave --correct out."
        )
        raise BadInputError(msg)
    correction = correction_of(table)
    tell(
        f"Put right by check {table.number} of {table.at_utc:%Y-%m-%d}; it holds with the bezel "
        "as it stood then."
    )
    return correction


def dial_check(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="A taught dial (see: dial list).")],
    made_with_words: Annotated[
        str,
        typer.Option(
            "--made-with",
            help="What makes the steps: blocks-k, -0, -1 or -2, wheel:X (a taught one), "
            "wheel:MM/DIVISIONS a turn, or other words with --u-step-mm.",
        ),
    ],
    steps: Annotated[str | None, typer.Option(help="The steps in mm, like 0,0.1,0.2.")] = None,
    every: Annotated[float | None, typer.Option(help="A step every so many mm.")] = None,
    to: Annotated[float | None, typer.Option(help="The last step, mm.")] = None,
    from_mm: Annotated[float, typer.Option("--from", help="The first step, mm.")] = 0.0,
    repeats: Annotated[int, typer.Option(help="How often the steps are gone through.")] = 1,
    source: Annotated[
        str, typer.Option(help="Camera number or address, or a folder with a picture a step.")
    ] = "0",
    camera: Annotated[
        Path | None, typer.Option("--camera", help="The camera's model; none is assumed without.")
    ] = None,
    typed: Annotated[bool, typer.Option("--typed", help="Readings are typed by hand.")] = False,
    temperature: Annotated[float | None, typer.Option(help="Degrees C at the dial.")] = None,
    u_step_mm: Annotated[
        float | None, typer.Option(help="Standard uncertainty (k = 1) of a step, mm.")
    ] = None,
    class_name: Annotated[
        str | None, typer.Option("--class", help="Judge by a class (see: dial classes).")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output.")] = False,
) -> None:
    """Take a dial's own error at known steps, up and down, and keep it with the dial."""
    from datetime import UTC, datetime

    from calibration.camera import load_camera
    from calibration.dial_errors_steps import chosen_steps_mm, made_with
    from ui.check_command import CheckRequest, check_dial, put_check, table_fields

    home: Home = context.obj
    dial = home.dials.load(name)
    chosen = chosen_steps_mm(dial, steps=steps, every_mm=every, to_mm=to, from_mm=from_mm)
    longest = float(abs(chosen).max())
    request = CheckRequest(
        dial=dial,
        steps_mm=chosen,
        made_with=made_with(made_with_words, longest, u_step_mm, home.handwheels.all()),
        at_utc=datetime.now(UTC),
        runs=repeats,
        temperature_c=temperature,
        dial_class=_class_named(home, class_name),
    )
    model = load_camera(camera) if camera else None
    reader = _reader(request, typed=typed, source=source, model=model)
    table, verdict = check_dial(request, reader)
    table = home.dial_errors.save(table)
    if as_json:
        put_json(table_fields(table, verdict))
    else:
        put_check(table, verdict)
    if verdict is not None and verdict.dial_class.known == "memory":
        tell(f"The limits of {class_name} are from memory: compare them with your own chart.")
    tell(f"Kept as check {table.number} of {dial.name}.")


def _class_named(home: Home, name: str | None) -> "DialClass | None":
    from calibration.dial_classes import find_class, load_classes

    return None if name is None else find_class(load_classes(home.dial_classes), name)


def _reader(
    request: "CheckRequest", *, typed: bool, source: str, model: "CameraModel | None"
) -> "StepReader":
    import time

    from ui.check_steps import CameraSteps, PictureSteps, TypedSteps, ask_person
    from vision.live_source import LiveSource, is_live
    from vision.sources import open_source

    dial = request.dial
    if typed:
        return TypedSteps(dial, ask_person)
    if is_live(source):
        return CameraSteps(LiveSource(source, time.monotonic), dial, model, ask_person)
    return PictureSteps(open_source(source), dial, model, len(request.order))


def dial_classes(
    context: typer.Context,
    copy: Annotated[
        bool, typer.Option("--copy", help="Copy the presets into the home, to be edited.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output.")] = False,
) -> None:
    """List the classes that a dial can be judged by, with their limits and sources."""
    from calibration.dial_classes import load_classes

    home: Home = context.obj
    if copy:
        _copy_presets(home)
    classes = load_classes(home.dial_classes)
    if as_json:
        put_json(list(classes.values()))
        return
    put_table(
        "Dial classes (limits in µm; check your own chart)",
        ("name", "what", "limits", "known"),
        (
            (c.name, c.title, ", ".join(_limit_words(limit) for limit in c.limits), c.known)
            for c in classes.values()
        ),
    )


def _copy_presets(home: Home) -> None:
    from calibration.dial_classes import presets_text

    place = home.ensure().dial_classes
    try:
        with place.open("x", encoding="utf-8") as file:
            file.write(presets_text())
    except FileExistsError as error:
        msg = f"{place} is there already: edit it, or move it away first."
        raise BadInputError(msg) from error
    except OSError as error:
        msg = f"{place} cannot be written ({error.strerror})."
        raise BadInputError(msg) from error
    tell(f"Copied to {place}: classes there count instead of those of the same name.")


def _limit_words(limit: "Limit") -> str:
    size = (
        f"{limit.limit_um:g}"
        if limit.limit_um is not None
        else f"{limit.limit_graduations:g} grad."
    )
    return f"{limit.title} {'±' if limit.kind == 'plus_minus' else ''}{size}"


def add_to(dial_app: typer.Typer) -> None:
    """Hang the commands under `dial`."""
    dial_app.command("list")(dial_list)
    dial_app.command("check")(dial_check)
    dial_app.command("classes")(dial_classes)
