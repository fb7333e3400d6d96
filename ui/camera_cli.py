"""The commands `camera calibrate` and `camera list`; OpenCV is imported when asked for."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from readings import BadInputError
from ui.output import put_json, put_table, tell

if TYPE_CHECKING:
    from calibration.boards import Board
    from calibration.calibrate import Calibration

_MANY = 40
"""A video's frames are thinned to so many, spread over its length."""


def camera_calibrate(
    photos: Annotated[list[str], typer.Argument(help="Photos, a folder of them, or a video.")],
    pattern: Annotated[
        str, typer.Option(help="charuco (our own board) or chessboard.")
    ] = "charuco",
    corners: Annotated[str, typer.Option(help="Inner corners each way, like 9x6.")] = "9x6",
    square_mm: Annotated[
        float, typer.Option("--square-mm", help="Side of a square as measured on the print.")
    ] = 25.0,
    ruler_width_mm: Annotated[
        float | None,
        typer.Option("--ruler-width-mm", help="The print's 150 mm ruler line as measured."),
    ] = None,
    ruler_height_mm: Annotated[
        float | None,
        typer.Option("--ruler-height-mm", help="The print's 100 mm ruler line as measured."),
    ] = None,
    out: Annotated[
        Path, typer.Option(help="Where the model goes; .yml or .xml for OpenCV's own form.")
    ] = Path("camera.json"),
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output.")] = False,
) -> None:
    """Make a camera model from views of a board, and say how far it may be believed."""
    from dataclasses import replace

    from calibration.calibrate import report
    from calibration.camera import save_camera
    from calibration.sheets import scale_of

    board = board_of(pattern, corners, square_mm)
    stretch = scale_of(ruler_width_mm, 0), scale_of(ruler_height_mm, 1)
    found = calibrated(photos, replace(board, stretch=stretch))
    save_camera(found.camera, out, report(found))
    if as_json:
        put_json(_fields(found))
    else:
        _put(found)
    tell(f"Written to {out}: {found.verdict}.")


def board_of(pattern: str, corners: str, square_mm: float) -> "Board":
    """Return the board that a person's words mean.

    Raises
    ------
    BadInputError
        If there is no such pattern or size.
    """
    from calibration.boards import Board

    known: dict[str, Literal["charuco", "chessboard"]] = {
        "charuco": "charuco",
        "chessboard": "chessboard",
    }
    columns, _, rows = corners.lower().partition("x")
    if pattern not in known:
        msg = f"--pattern {pattern} is not known: give charuco or chessboard."
        raise BadInputError(msg)
    if not (columns.isdigit() and rows.isdigit()):
        msg = f"--corners {corners} is no size: give inner corners each way, like 9x6."
        raise BadInputError(msg)
    return Board(known[pattern], int(columns), int(rows), square_mm)


def calibrated(sources: list[str], board: "Board") -> "Calibration":
    """Return the calibration from all pictures of some sources."""
    from calibration.calibrate import LeftOut, View, calibrate
    from vision.board_find import find_board
    from vision.sources import open_source

    views: list[View] = []
    out: list[LeftOut] = []
    for name in sources:
        source = open_source(name)
        try:
            for frame in _spread(list(source.frames())):
                label = frame.name or f"frame {frame.index}"
                found = (
                    LeftOut(label, "cannot be decoded as a picture")
                    if frame.image is None
                    else find_board(frame.image, board, label)
                )
                (views if isinstance(found, View) else out).append(found)  # type: ignore[arg-type]
        finally:
            source.close()
    return calibrate(views, left_out=out)


def _spread(frames: list[Any]) -> list[Any]:
    every = max(1, -(-len(frames) // _MANY))
    return frames[::every]


def _fields(found: "Calibration") -> dict[str, Any]:
    from dataclasses import asdict

    from calibration.calibrate import report

    return asdict(found.camera) | report(found)


def _put(found: "Calibration") -> None:
    camera = found.camera
    rows = [
        (name, f"{getattr(camera, name):.4f}", f"{found.u[name]:.4f}" if name in found.u else "")
        for name in ("fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3")
    ]
    put_table("Camera", ("number", "value", "u (k = 1)"), rows)
    tell(
        f"{len(found.used)} views used, residual {found.rms_px:.3f} px, corners in "
        f"{found.covered:.0%} of the picture."
    )
    for one in found.left_out:
        tell(f"left out {one.name}: {one.reason}.")
    for words in found.missing:
        tell(f"still missing: {words}.")


def camera_list(
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output.")] = False,
) -> None:
    """List the cameras that answer by their number, with name, size, format and rate."""
    from ui.cameras_here import cameras_that_answer

    found = cameras_that_answer()
    if as_json:
        put_json(found)
        return
    if not found:
        tell("No camera answers: plug one in, or give a stream's address to run --source.")
        return
    put_table("Cameras", ("number", "name", "size", "format", "pictures a second"), (
        (
            str(c["number"]), c["name"], f"{c['width']} x {c['height']}", c["format"],
            f"{c['fps']:g}",
        )
        for c in found
    ))  # fmt: skip


def add_to(app: typer.Typer) -> None:
    """Hang the commands under `camera`."""
    app.command("calibrate")(camera_calibrate)
    app.command("list")(camera_list)
