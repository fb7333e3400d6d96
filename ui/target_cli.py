"""`target read`: where printed targets lie, in their own plane or in a datum's."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
import typer

from readings import BadInputError
from ui.output import put_json, put_table
from ui.pictures import look_at_each

if TYPE_CHECKING:
    from vision.target_reader import TargetSight


def target_read(
    pictures: Annotated[list[Path], typer.Argument(help="Pictures to read.")],
    camera: Annotated[Path, typer.Option(help="The camera's model, from `camera calibrate`.")],
    size_mm: Annotated[
        float, typer.Option("--size-mm", help="The targets' size as printed, 20 to 150.")
    ] = 60.0,
    numbers: Annotated[str, typer.Option(help="The targets' numbers: 0,1,2.")] = "0",
    datum: Annotated[
        int | None, typer.Option(help="Tell places in the plane of this target, from its centre.")
    ] = None,
    height_mm: Annotated[
        float, typer.Option("--height-mm", help="How high the targets lie above the datum's paper.")
    ] = 0.0,
    as_json: Annotated[bool, typer.Option("--json", help="Strict JSON on stdout.")] = False,
) -> None:
    """Read printed targets: place in mm, turn and tilt, each with its uncertainty (k = 1)."""
    from calibration.camera import load_camera
    from calibration.targets import Target
    from vision.target_reader import TargetReader

    wanted = _numbers(numbers, datum)
    model = load_camera(camera)
    reader = TargetReader(tuple(Target(number, size_mm) for number in wanted), model)
    rows: list[dict[str, Any]] = []
    for path, seen in zip(pictures, look_at_each(pictures, reader.read), strict=True):
        sights = {sight.number: sight for sight in seen}
        for number in wanted:
            told = _told(number, sights, datum, height_mm)
            rows.append({"file": path.name, "target": number, **told})
    if as_json:
        put_json(rows, indent=True)
        return
    columns = ("file", "target", "x mm", "y mm", "z mm", "u mm", "turn deg", "tilt deg", "state")
    put_table("Targets" if datum is None else f"Targets from {datum}", columns, map(_row, rows))


def _told(
    number: int, sights: "dict[int, TargetSight]", datum: int | None, height_mm: float
) -> dict[str, Any]:
    """Return what is told of one target in one picture; numbers are null where it is refused."""
    from vision.target_datum import place_in_datum

    empty: dict[str, Any] = dict.fromkeys(
        ("x_mm", "y_mm", "z_mm", "u_x_mm", "u_y_mm", "u_z_mm", "turn_deg", "u_turn_deg", "tilt_deg")
    )
    sight = sights.get(number)
    if sight is None:
        return {**empty, "state": "refused", "why": "not seen, or too much of it is hidden"}
    tilt = None if sight.tilt_rad is None else float(np.degrees(sight.tilt_rad))
    if datum is None:
        place, u, turn, u_turn = (
            sight.place_mm.tolist(),
            sight.sigma_mm.tolist(),
            sight.turn_rad,
            sight.u_turn_rad,
        )
    elif datum not in sights:
        return {**empty, "state": "refused", "why": f"datum target {datum} is not seen"}
    else:
        try:
            lift = 0.0 if number == datum else height_mm
            found = place_in_datum(sight, sights[datum], height_mm=lift)
        except BadInputError as error:
            return {**empty, "state": "refused", "why": str(error)}
        place, u = [*found.place_mm.tolist(), lift], [*found.sigma_mm.tolist(), None]
        turn, u_turn = found.turn_rad, found.u_turn_rad
    return {
        **dict(zip(("x_mm", "y_mm", "z_mm"), place, strict=True)),
        **dict(zip(("u_x_mm", "u_y_mm", "u_z_mm"), u, strict=True)),
        "turn_deg": float(np.degrees(turn)),
        "u_turn_deg": float(np.degrees(u_turn)),
        "tilt_deg": tilt,
        "state": "ok",
        "why": None,
    }


def _row(told: dict[str, Any]) -> list[str]:
    def number(key: str, digits: int) -> str:
        value = told[key]
        return "-" if value is None else f"{value:.{digits}f}"

    u = [told[key] for key in ("u_x_mm", "u_y_mm", "u_z_mm") if told[key] is not None]
    return [
        told["file"],
        str(told["target"]),
        number("x_mm", 3),
        number("y_mm", 3),
        number("z_mm", 2),
        f"{max(u):.4f}" if u else "-",
        number("turn_deg", 3),
        number("tilt_deg", 2),
        told["state"] if told["why"] is None else told["why"],
    ]


def _numbers(words: str, datum: int | None) -> list[int]:
    try:
        found = [int(word) for word in words.split(",")]
    except ValueError as error:
        msg = f"--numbers {words!r} is no list of targets: give numbers with commas, like 0,1."
        raise BadInputError(msg) from error
    if len(set(found)) != len(found):
        msg = f"--numbers {words!r} names a target twice."
        raise BadInputError(msg)
    return found if datum is None or datum in found else [*found, datum]


def add_to(app: typer.Typer) -> None:
    """Hang the commands under `target`."""
    app.command("read")(target_read)
