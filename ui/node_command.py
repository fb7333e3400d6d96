"""`camera node`: the camera of another computer, at the machine, for a service elsewhere."""

import signal
import time
from pathlib import Path
from typing import Annotated

import typer

from readings import BadInputError
from ui.home import Home
from ui.output import tell


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command("node")(node)


def node(
    context: typer.Context,
    key: Annotated[
        Path | None,
        typer.Option("--key", help="This node's key file (see: keys make)."),
    ] = None,
    name: Annotated[
        str | None, typer.Option(help="Its name, where the service is on this computer.")
    ] = None,
    source: Annotated[str, typer.Option(help="Camera number, or a stream's address.")] = "0",
    dial: Annotated[
        str | None, typer.Option("--dial", help="Read this dial here; the service reads without.")
    ] = None,
    camera: Annotated[
        Path | None, typer.Option("--camera", help="The camera's model, where it reads here.")
    ] = None,
) -> None:
    """Send a camera's pictures, or what is read in them, to a service; keeps them meanwhile."""
    raise typer.Exit(run_node(context.obj, key, name, source, dial, camera))


def run_node(
    home: Home,
    key: Path | None,
    name: str | None,
    source: str,
    dial: str | None,
    camera: Path | None,
) -> int:
    """Run a node until INT or TERM and return 0.

    Raises
    ------
    BadInputError
        If source, dial or camera cannot be used, or it is not said where the service is.
    ServiceError
        If the key file cannot be used, or no service runs on this computer.
    """
    from calibration.camera import load_camera
    from calibration.collars import Collar
    from stream.keys import KeyFile, read_private
    from stream.node import Node
    from stream.reach import reach_of
    from ui.service_process import MARKERS, live_source
    from vision.collar_reader import CollarReader
    from vision.dial_reader import DialReader

    if (key is None) == (name is None):
        msg = (
            "say where the service is: --key FILE for one on another computer, or --name NAME "
            "for the one of this home folder"
        )
        raise BadInputError(msg)
    if key is not None:
        file = read_private(key, KeyFile)
        reach, name = reach_of(file), file.name
    else:
        reach = reach_of(home.folder)
    seen = live_source(home, source)
    readers: tuple[DialReader | None, CollarReader | None] = (None, None)
    if dial is not None:
        model = load_camera(camera) if camera else None
        taught = home.dials.load(dial)
        readers = (DialReader(taught, model), CollarReader(Collar(MARKERS), model))
    running = Node(reach, name or "", seen, *readers, clock=time.monotonic)
    for signal_name in ("SIGINT", "SIGTERM", "SIGBREAK"):
        if hasattr(signal, signal_name):
            signal.signal(getattr(signal, signal_name), lambda number, frame: running.stop())
    where = reach.node.removeprefix("tcp://")
    tell(f"Camera node {name}: {seen.name} to {where}; what it sees is kept until it is taken.")
    running.run()
    return 0
