"""The command `camera set`: size, format and locks of a camera, and what became of them."""

from typing import TYPE_CHECKING, Annotated

import typer

from readings import BadInputError
from ui.home import Home
from ui.output import put_json, put_table, tell

if TYPE_CHECKING:
    from calibration.camera_settings import CameraSettings, CameraState


def camera_set(
    context: typer.Context,
    number: Annotated[int, typer.Argument(min=0, help="The camera's number (see: camera list).")],
    size: Annotated[str, typer.Option(help="Width x height in pixels.")] = "1280x720",
    pixel_format: Annotated[
        str, typer.Option("--format", help="mjpg (many pictures a second) or raw (no artefacts).")
    ] = "mjpg",
    lock: Annotated[
        list[str] | None,
        typer.Option(
            help="focus, exposure, white-balance or all; NAME=VALUE to lock at a value. "
            "May come again."
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output.")] = False,
) -> None:
    """Set a camera, read back what its driver did, and set it so whenever it is opened."""
    from calibration.camera_settings import plain_state

    home: Home = context.obj
    settings = settings_of(size, pixel_format, lock or [])
    state = _set(number, settings)
    home.ensure().cameras.keep_settings(state.identity, settings)
    if as_json:
        put_json(plain_state(state))
    else:
        _put(state)
    for words in state.not_done:
        tell(f"{words[0].upper()}{words[1:]}.")


def settings_of(size: str, pixel_format: str, locks: list[str]) -> "CameraSettings":
    """Return the settings that a person's words mean.

    Raises
    ------
    BadInputError
        If the size, the format or a lock is none.
    """
    from calibration.camera_settings import CONTROLS, CameraSettings, Control

    width, _, height = size.lower().partition("x")
    if not (width.isdigit() and height.isdigit()):
        msg = f"--size {size} is no size: give width and height in pixels, like 1280x720."
        raise BadInputError(msg)
    wanted: list[Control] = []
    values: dict[Control, float] = {}
    for words in locks:
        name, told, value = words.replace("-", "_", 1).partition("=")
        known: list[Control] = [one for one in CONTROLS if name in (one, "all")]
        if not known or (told and name == "all"):
            msg = f"--lock {words} is not known: give focus, exposure, white-balance or all."
            raise BadInputError(msg)
        wanted += [one for one in known if one not in wanted]
        if told:
            values[known[0]] = _value(words, value)
    return CameraSettings(int(width), int(height), pixel_format, tuple(wanted), values)  # type: ignore[arg-type]


def _value(words: str, value: str) -> float:
    try:
        return float(value)
    except ValueError as error:
        msg = f"--lock {words}: {value!r} is no number; give one as the table shows it."
        raise BadInputError(msg) from error


def _set(number: int, settings: "CameraSettings") -> "CameraState":
    from vision.camera_device import identity_of, open_device, set_up

    device = open_device(number)
    try:
        if not device.isOpened():
            msg = (
                f"camera {number} cannot be opened: see camera list, check its cable, and that no "
                "other program uses it."
            )
            raise BadInputError(msg)
        return set_up(device, settings, identity_of(number))
    finally:
        device.release()


def _put(state: "CameraState") -> None:
    rows = [
        ("size", f"{state.width_px} x {state.height_px}", ""),
        ("format", state.pixel_format, ""),
        ("pictures a second", f"{state.fps:g}", ""),
    ]
    rows += [
        (name.replace("_", " "), f"{value:g}", "locked" if name in state.locked else "automatic")
        for name, value in state.values.items()
    ]
    put_table(f"Camera {state.identity}", ("what", "is", ""), rows)


def add_to(app: typer.Typer) -> None:
    """Hang the command under `camera`."""
    app.command("set")(camera_set)
