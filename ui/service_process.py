"""The service's process: what it sees with and works with is put together here."""

import logging
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from calibration.camera import CameraModel, load_camera
from calibration.collars import Collar
from calibration.dial_errors import ErrorTable
from calibration.dial_errors_correct import u_by_span_mm
from calibration.dials import TaughtDial
from calibration.handwheels import Handwheel
from readings import BadInputError, FrameSource
from setups import Instrument
from simulator import (
    Bench,
    BenchSource,
    BenchSpec,
    camera_model,
    random_spec,
    write_teaching_folder,
)
from stream.card import Card
from stream.service import Eyes, Service, run_until_signalled
from stream.session import Tools
from ui.home import Home
from ui.output import tell
from vision.collar_reader import CollarReader
from vision.dial_reader import DialReader
from vision.live_source import LiveSource, is_live
from vision.teach import teach_dial

BENCH_DIAL = "bench-dial"
MARKERS = 16
"""Markers on the printed collar."""


def program_version() -> str:
    """Return the installed version."""
    return version("sparehand")


def bench_spec(seed: int | None) -> BenchSpec:
    """Return the demo's bench, or one drawn at random from `seed`."""
    if seed is None:
        return BenchSpec(ovality_mm=0.006, ovality_deg=35.0, turn_s=20.0, start_deg=-60.0)
    return random_spec(np.random.default_rng(seed))


def bench_dial(home: Home, spec: BenchSpec) -> TaughtDial:
    """Return the bench's dial, taught from photos of it the first time."""
    if BENCH_DIAL in home.dials.list():
        return home.dials.load(BENCH_DIAL)
    tell("Teaching the bench's dial from three photos of it.")
    with tempfile.TemporaryDirectory() as folder:
        write_teaching_folder(Path(folder), spec, np.random.default_rng(7))
        return home.dials.save(teach_dial(Path(folder), name=BENCH_DIAL))


def instrument_of(
    dial: TaughtDial, errors: ErrorTable | None = None, tip_radius_mm: float = 1.0
) -> Instrument:
    """Return a taught dial as the guides need to know it, with its newest error table."""
    return Instrument(
        name=dial.name,
        graduation_mm=dial.graduation_mm,
        marks_per_turn=dial.marks_per_turn,
        travel_mm=dial.travel_mm,
        u_by_span_mm=() if errors is None else u_by_span_mm(errors),
        tip_radius_mm=tip_radius_mm,
    )


def snapshots_of(
    dial: TaughtDial, errors: ErrorTable | None, camera: CameraModel | None, collar: Collar
) -> dict[str, Any]:
    """Return what goes on record about the instruments as they are now."""
    facts = ("name", "version", "unit", "graduation", "marks_per_turn", "numbering", "travel_mm")
    kept: dict[str, Any] = {
        "dial": {fact: getattr(dial, fact) for fact in facts} | _checked(errors),
        "collar": asdict(collar),
    }
    if camera is not None:
        kept["camera"] = asdict(camera)
    return kept


def _checked(errors: ErrorTable | None) -> dict[str, Any]:
    """Return the date, number, class and verdict of the dial's check; None where there is none."""
    if errors is None:
        return {"checked": None}
    return {
        "checked": errors.at_utc.isoformat(),
        "check": errors.number,
        "judged_by": errors.judged_by,
        "verdict": errors.verdict,
    }


def _service(
    home: Home,
    source: FrameSource,
    dial: TaughtDial,
    camera: CameraModel | None,
    wheels: tuple[Handwheel, ...],
) -> Service:
    collar = Collar(MARKERS)
    eyes = Eyes(source, DialReader(dial, camera), CollarReader(collar, camera))
    errors = home.dial_errors.newest(dial)
    tools = Tools(
        instrument_of(dial, errors),
        wheels,
        snapshots=snapshots_of(dial, errors, camera, collar),
        source=source.name,
    )
    return Service(home.folder, eyes, tools, program_version=program_version())


def bench_service(home: Home, seed: int | None) -> Service:
    """Return the service of the demo: the virtual bench as its source."""
    spec = bench_spec(seed)
    bench = Bench(spec, np.random.default_rng(seed))
    wheels = (
        Handwheel("x", spec.mm_per_turn_x, spec.wheel_divisions),
        Handwheel("y", spec.mm_per_turn_y, spec.wheel_divisions),
    )
    source = BenchSource(bench, time.monotonic, time.sleep)
    return _service(home, source, bench_dial(home, spec), camera_model(spec), wheels)


def camera_service(home: Home, source: str, dial: str, camera: Path | None) -> Service:
    """Return the service of a real camera.

    Raises
    ------
    BadInputError
        If `source` is no camera's number or address, or the dial is not known.
    """
    if not is_live(source):
        msg = (
            f"--source {source} is no camera: give its number (0 is the first) or its address "
            "(http://… or rtsp://…); a recording is for read or sweep"
        )
        raise BadInputError(msg)
    model = load_camera(camera) if camera else None
    wheels = home.handwheels.all()
    return _service(home, LiveSource(source, time.monotonic), home.dials.load(dial), model, wheels)


def run_service(
    make: Callable[[], Service], *, parent_pipe: bool = False, announce: bool = True
) -> int:
    """Run a service until INT or TERM and return 0."""
    logging.basicConfig(level=logging.WARNING)

    def ready(card: Card) -> None:
        if announce:
            tell(f"Service: pid {card.pid}")

    run_until_signalled(make(), parent_pipe=parent_pipe, ready=ready)
    return 0
