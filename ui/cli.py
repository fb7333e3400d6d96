"""The command line: every command, its options and its exit codes.

Exit 0 on success, 2 on a person's mistake with one sentence on stderr, 1 on a fault.
"""

import logging
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readings import SparehandError
from ui import (
    camera_cli,
    camera_settings_cli,
    dial_cli,
    edge_command,
    handwheel_cli,
    job_cli,
    keys_command,
    node_command,
    print_command,
    records_cli,
    setup_cli,
    target_cli,
)
from ui.home import Home
from ui.output import put_json, put_table, tell

app = typer.Typer(
    name="sparehand",
    help="A spare pair of hands and eyes for the machinist who works alone.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
dial_app = typer.Typer(help="The dials Sparehand can read.", no_args_is_help=True)
handwheel_app = typer.Typer(help="The slides' handwheels.", no_args_is_help=True)
setup_app = typer.Typer(help="The guided setups.", no_args_is_help=True)
job_app = typer.Typer(help="Jobs: parts in a batch, operations in order.", no_args_is_help=True)
target_app = typer.Typer(help="Printed targets.", no_args_is_help=True)
print_app = typer.Typer(help="Things to print for the camera.", no_args_is_help=True)
records_app = typer.Typer(help="The book of setups.", no_args_is_help=True)
keys_app = typer.Typer(help="Who may come in over a network.", no_args_is_help=True)
camera_app = typer.Typer(help="Cameras: here, or on another computer.", no_args_is_help=True)
dial_cli.add_to(dial_app)
handwheel_cli.add_to(handwheel_app)
setup_cli.add_to(setup_app)
job_cli.add_to(job_app)
records_cli.add_to(records_app)
keys_command.add_to(keys_app)
camera_cli.add_to(camera_app)
camera_settings_cli.add_to(camera_app)
print_command.add_to(print_app)
target_cli.add_to(target_app)
node_command.add_to(camera_app)
app.add_typer(dial_app, name="dial")
app.command("edge")(edge_command.edge)
app.add_typer(handwheel_app, name="handwheel")
app.add_typer(setup_app, name="setup")
app.add_typer(job_app, name="job")
app.add_typer(print_app, name="print")
app.add_typer(target_app, name="target")
app.add_typer(records_app, name="records")
app.add_typer(keys_app, name="keys")
app.add_typer(camera_app, name="camera")

if TYPE_CHECKING:
    from stream.service import Service

# Typer carries its own copy of click in newer versions: ask it for the class it raises.
UsageProblem: type[typer.BadParameter] = next(
    kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException"
)

JsonFlag = Annotated[bool, typer.Option("--json", help="Machine-readable output.")]
DialName = Annotated[str, typer.Option("--dial", help="A taught dial (see: dial list).")]
CameraFile = Annotated[
    Path | None, typer.Option("--camera", help="The camera's model; none is assumed without.")
]
CameraFiles = Annotated[
    list[Path] | None,
    typer.Option("--camera", help="The camera's model; one for all sources or one each."),
]
Network = Annotated[
    str | None,
    typer.Option(
        help="Open to a network too: this computer's address, HOST or HOST:PORT (see: keys)."
    ),
]
Certificate = Annotated[Path | None, typer.Option(help="The dashboard's certificate (PEM).")]
PrivateKey = Annotated[Path | None, typer.Option(help="The certificate's key (PEM).")]
Correct = Annotated[
    bool, typer.Option("--correct", help="Put readings right by the dial's newest check.")
]
Fps = Annotated[float, typer.Option("--fps", help="Pictures a second of a folder.")]


@app.callback()
def _home(
    context: typer.Context,
    home: Annotated[
        Path | None, typer.Option("--home", help="Where Sparehand keeps its state.")
    ] = None,
) -> None:
    context.obj = Home.find(home)


def _home_of(context: typer.Context) -> Home:
    home: Home = context.obj
    return home


@app.command()
def demo(
    context: typer.Context,
    port: Annotated[
        int, typer.Option(help="The dashboard's port; 0 lets the system choose.")
    ] = 8620,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Open no browser.")] = False,
    seed: Annotated[int | None, typer.Option(help="Repeat one bench.")] = None,
    network: Network = None,
    certificate: Certificate = None,
    private_key: PrivateKey = None,
) -> None:
    """Set up a virtual mill and centre its spindle on a bore; no hardware needed."""
    from ui.demo import Doors, run_demo

    home = _home_of(context).demo.ensure()
    doors = Doors(port, not no_browser, network, certificate, private_key)
    raise typer.Exit(run_demo(home, doors, seed))


@app.command()
def run(
    context: typer.Context,
    dial: Annotated[
        list[str], typer.Option("--dial", help="A taught dial; one for all sources or one each.")
    ],
    source: Annotated[
        list[str] | None,
        typer.Option(
            help="Camera number, a stream's address (http or rtsp), or node:NAME; may come again."
        ),
    ] = None,
    camera: CameraFiles = None,
    port: Annotated[
        int, typer.Option(help="The dashboard's port; 0 lets the system choose.")
    ] = 8620,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Open no browser.")] = False,
    network: Network = None,
    certificate: Certificate = None,
    private_key: PrivateKey = None,
) -> None:
    """Watch a real dial: the service and the dashboard on your own cameras."""
    from ui.demo import Doors, run_camera

    home = _home_of(context).ensure()
    doors = Doors(port, not no_browser, network, certificate, private_key)
    raise typer.Exit(run_camera(home, doors, source or ["0"], dial, camera or []))


@app.command("service", hidden=True)
def service(
    context: typer.Context,
    bench: Annotated[bool, typer.Option("--bench")] = False,
    seed: Annotated[int | None, typer.Option()] = None,
    source: Annotated[list[str] | None, typer.Option()] = None,
    dial: Annotated[list[str] | None, typer.Option()] = None,
    camera: CameraFiles = None,
    network: Network = None,
    parent_pipe: Annotated[bool, typer.Option("--parent-pipe")] = False,
) -> None:
    """Run the service alone (demo and run start it by themselves)."""
    from ui.service_process import bench_service, cameras_service, run_service

    home = _home_of(context).ensure()

    def make() -> "Service":
        if bench:
            return bench_service(home, seed, network)
        return cameras_service(home, source or ["0"], dial or [], camera or [], network)

    raise typer.Exit(run_service(make, parent_pipe=parent_pipe))


@dial_app.command("teach")
def dial_teach(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(help="Holds dial.json, camera.json and teach/.")],
    name: Annotated[str | None, typer.Option(help="The dial's name; the folder's without.")] = None,
    photos: Annotated[int | None, typer.Option(help="Use only the first K photos.")] = None,
    no_camera: Annotated[bool, typer.Option("--no-camera", help="Assume no camera model.")] = False,
    zero_confirmed: Annotated[
        bool, typer.Option("--zero-confirmed", help="The mark found as zero is right.")
    ] = False,
) -> None:
    """Learn a dial from photos with a reading each, and clicks where they are needed."""
    from ui.teach_command import counter_words, teach_and_keep

    kept = teach_and_keep(
        _home_of(context),
        folder,
        folder.resolve().name if name is None else name,
        photos=photos,
        use_camera=not no_camera,
        confirm=lambda question: zero_confirmed or _asked(question),
    )
    tell(
        f"Taught {kept.name} (version {kept.version}): {kept.marks_per_turn} marks a turn of "
        f"{kept.graduation:g} {kept.unit}, {kept.numbering}.{counter_words(kept)}"
    )


def _asked(question: str) -> bool:
    """Ask on a terminal; without one nobody said yes."""
    return sys.stdin.isatty() and typer.confirm(question, err=True)


@app.command()
def read(
    context: typer.Context,
    source: Annotated[str, typer.Argument(help="A picture, a folder of pictures or a video.")],
    dial: DialName,
    camera: CameraFile = None,
    jsonl: Annotated[bool, typer.Option("--jsonl", help="A JSON line a picture.")] = False,
    fps: Fps = 15.0,
    correct: Correct = False,
) -> None:
    """Read a dial in every picture of a source; refusals are results too."""
    from ui.read_command import read_lines, remarks

    home = _home_of(context)
    taught = home.dials.load(dial)
    correction = dial_cli.newest_correction(home, taught) if correct else None
    lines = read_lines(source, taught, camera, fps, correction)
    if jsonl:
        for line in lines:
            put_json(line)
        return
    counts = taught.has_turns_counter
    put_table(
        f"{dial} in {source}",
        ("picture", "state", "divisions", "± (k=1)", "mm", "reasons"),
        (
            (
                str(line.get("file", line.get("frame"))),
                line["state"],
                "" if line["divisions"] is None else f"{line['divisions']:.3f}",
                "" if line["sigma_divisions"] is None else f"{line['sigma_divisions']:.3f}",
                "" if line["value_mm"] is None else f"{line['value_mm']:+.4f}",
                ", ".join(remarks(line, counts=counts)),
            )
            for line in lines
        ),
    )


@app.command()
def sweep(
    context: typer.Context,
    source: Annotated[str, typer.Argument(help="A folder of frames or a video.")],
    dial: DialName,
    camera: CameraFile = None,
    collar: Annotated[int | None, typer.Option(help="Markers on the collar.")] = None,
    stops: Annotated[int | None, typer.Option(help="Stops in one turn.")] = None,
    on: Annotated[str | None, typer.Option(help="bore, boss, bar or face.")] = None,
    diameter_mm: Annotated[float | None, typer.Option(help="Diameter swept.")] = None,
    first: Annotated[str | None, typer.Option(help="right, back, left or front.")] = None,
    turning: Annotated[
        str | None, typer.Option(help="clockwise or anticlockwise, seen from above.")
    ] = None,
    gain: Annotated[float, typer.Option(help="True travel over reading, of a lever.")] = 1.0,
    fps: Fps = 15.0,
    correct: Correct = False,
    as_json: JsonFlag = False,
) -> None:
    """Turn a recorded sweep into eccentricity, runout and lobes with uncertainty."""
    from ui.sweep_command import SweepRequest, put_sweep, run_sweep

    home = _home_of(context)
    taught = home.dials.load(dial)
    if correct:
        dial_cli.newest_correction(home, taught)
    request = SweepRequest(
        source=source,
        dial=taught,
        camera_file=camera,
        collar=collar,
        stops=stops,
        on=on,
        diameter_mm=diameter_mm,
        first=first,
        turning=turning,
        gain=gain,
        fps=fps,
        errors=home.dial_errors.newest(taught),
        correct=correct,
    )
    result = run_sweep(request)
    if as_json:
        put_json(result)
    else:
        put_sweep(result)


@app.command()
def doctor(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Say what is installed, what is missing and how to get it."""
    from ui.doctor import examine, put_findings

    findings = examine(_home_of(context))
    if as_json:
        put_json(findings)
    else:
        put_findings(findings)
    raise typer.Exit(0 if all(f.ok or not f.needed for f in findings) else 2)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; no traceback reaches a person."""
    try:
        code = app(args=arguments, prog_name="sparehand", standalone_mode=False)
    except typer.Exit as left:
        return int(left.exit_code)
    except UsageProblem as error:
        if error.format_message():
            asked = error.ctx.command_path if error.ctx else "sparehand"
            tell(f"sparehand: {error.format_message().rstrip('.')}. Help: {asked} --help")
        return 2
    except (typer.Abort, KeyboardInterrupt):
        return 130
    except SparehandError as error:
        tell(f"sparehand: {error}")
        return error.exit_code
    except ImportError as error:
        tell(f"sparehand: {missing_part(error)}")
        return 2
    except BrokenPipeError:
        return 0
    except Exception as error:
        logging.getLogger("sparehand").debug("fault", exc_info=True)
        tell(f"sparehand: something broke in the program itself ({type(error).__name__}: {error})")
        return 1
    return int(code or 0)


def missing_part(error: ImportError) -> str:
    """Return the sentence for a part that is not installed."""
    if "libGL" in str(error) or "libgthread" in str(error):
        return (
            "OpenCV needs the system's libGL; on Debian and its kin: "
            "apt-get install libgl1 libglib2.0-0"
        )
    return (
        f"the part {error.name or error} is not installed; the dashboard and reports need: "
        "pip install 'sparehand[app]'"
    )


if __name__ == "__main__":
    sys.exit(main())
