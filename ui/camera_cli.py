"""The commands `camera calibrate` and `camera list`; OpenCV is imported when asked for."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from readings import BadInputError
from ui.home import Home
from ui.output import put_json, put_table, tell

if TYPE_CHECKING:
    from calibration.boards import Board
    from calibration.calibrate import Calibration
    from calibration.camera_store import Origin


def camera_calibrate(
    context: typer.Context,
    sources: Annotated[
        list[str],
        typer.Argument(
            help="Photos, a folder of them, a film, or one live camera: its number or address."
        ),
    ],
    pattern: Annotated[
        str, typer.Option(help="charuco (our own board) or chessboard.")
    ] = "charuco",
    corners: Annotated[str, typer.Option(help="Inner corners each way, like 9x6.")] = "9x6",
    square_mm: Annotated[
        float,
        typer.Option(
            "--square-mm",
            help="Side of a square as measured; as printed where the ruler lines are given.",
        ),
    ] = 25.0,
    ruler_width_mm: Annotated[
        float | None,
        typer.Option("--ruler-width-mm", help="The print's 150 mm ruler line as measured."),
    ] = None,
    ruler_height_mm: Annotated[
        float | None,
        typer.Option("--ruler-height-mm", help="The print's 100 mm ruler line as measured."),
    ] = None,
    name: Annotated[
        str | None, typer.Option(help="Which camera took photos or a film; kept with the model.")
    ] = None,
    out: Annotated[
        Path, typer.Option(help="Where the model goes; .yml or .xml for OpenCV's own form.")
    ] = Path("camera.json"),
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output.")] = False,
) -> None:
    """Make a camera model from views of a board, and say how far it may be believed."""
    from calibration.calibrate import report
    from calibration.camera import save_camera
    from calibration.camera_settings import focus_warning
    from calibration.camera_store import plain_origin
    from calibration.sheets import scale_of

    board = board_of(pattern, corners, square_mm)
    stretch = scale_of(ruler_width_mm, 0), scale_of(ruler_height_mm, 1)
    home: Home = context.obj
    found, origin = calibrated(home, sources, replace(board, stretch=stretch), name)
    kept = report(found) | plain_origin(origin)
    save_camera(found.camera, out, kept)
    if origin.identity is not None:
        home.ensure().cameras.keep_model(origin.identity, found.camera, kept)
    if as_json:
        put_json(_fields(found) | plain_origin(origin))
    else:
        _put(found)
    if warning := focus_warning(origin.state):
        tell(warning)
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


def calibrated(
    home: Home, sources: list[str], board: "Board", name: str | None = None
) -> tuple["Calibration", "Origin"]:
    """Return the calibration from all pictures of some sources, and what it was made of.

    Raises
    ------
    BadInputError
        If the views tell no camera, or a live camera is not alone.
    SourceError
        If a source cannot be opened.
    """
    from calibration.calibrate import calibrate
    from calibration.camera_store import Origin
    from ui.camera_views import demand_one_camera, live_views, views_of
    from ui.service_process import live_source
    from vision.live_source import camera_name, is_live

    live = [source for source in sources if is_live(source)]
    demand_one_camera(sources, live)
    found = live_views(live_source(home, live[0]), board) if live else views_of(sources, board)
    identity = name or (camera_name(live[0]) if live else None)
    if name is None and found.state is not None:
        identity = found.state.identity
    origin = Origin(identity, datetime.now(UTC), found.state)
    return calibrate(found.views, left_out=found.left_out), origin


def _fields(found: "Calibration") -> dict[str, Any]:
    from dataclasses import asdict

    from calibration.calibrate import report

    return asdict(found.camera) | report(found)


def _put(found: "Calibration") -> None:
    from calibration.boards import first_names, told_together

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
    tell(
        f"The board stood {found.distance_mm[0]:.0f} to {found.distance_mm[1]:.0f} mm away: if it "
        "did not, measure a square and give it with --square-mm."
    )
    for reason, names in told_together(found.left_out):
        tell(f"left out: {reason} ({first_names(names)}).")
    for words in found.missing:
        tell(f"still missing: {words}.")


def camera_list(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output.")] = False,
) -> None:
    """List the cameras that answer by their number, with size, format, rate and newest model."""
    from ui.cameras_here import cameras_that_answer

    store = context.obj.cameras
    found = [
        camera | {"model": _path(store.newest_model(camera["name"]))}
        for camera in cameras_that_answer()
    ]
    if as_json:
        put_json(found)
        return
    if not found:
        tell("No camera answers: plug one in, or give a stream's address to run --source.")
        return
    put_table("Cameras", ("number", "name", "size", "format", "pictures a second", "model"), (
        (
            str(c["number"]), c["name"], f"{c['width']} x {c['height']}", c["format"],
            f"{c['fps']:g}", c["model"] or "none: see camera calibrate",
        )
        for c in found
    ))  # fmt: skip


def _path(model: Path | None) -> str | None:
    return None if model is None else str(model)


def add_to(app: typer.Typer) -> None:
    """Hang the commands under `camera`."""
    app.command("calibrate")(camera_calibrate)
    app.command("list")(camera_list)
