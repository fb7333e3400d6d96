"""The service's process: what it sees with and works with is put together here."""

import logging
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any, TypeVar

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
from stream.guard import listening_at
from stream.keys import checked_name
from stream.node_door import NodeSource
from stream.service import Eyes, Service, run_until_signalled
from stream.session import Tools
from ui.home import Home
from ui.output import tell
from ui.shop_lines import shop_lines
from vision.camera_device import identity_of
from vision.collar_reader import CollarReader
from vision.dial_reader import DialReader
from vision.live_source import LiveSource, is_live
from vision.target_pair import PairReader
from vision.teach import teach_dial

BENCH_DIAL = "bench-dial"
NODE_PREFIX = "node:"
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


def _eyes(
    home: Home,
    source: FrameSource,
    dial: TaughtDial,
    camera: CameraModel | None,
    wheels: tuple[Handwheel, ...],
) -> Eyes:
    """Return one camera with its readers and with what its setups are made with."""
    collar = Collar(MARKERS)
    errors = home.dial_errors.newest(dial)
    tools = Tools(
        instrument_of(dial, errors),
        wheels,
        snapshots=snapshots_of(dial, errors, camera, collar),
        source=source.name,
        shop_lines=shop_lines(home.folder),
    )
    node = isinstance(source, NodeSource)
    return Eyes(
        source,
        DialReader(dial, camera),
        CollarReader(collar, camera),
        name=source.name,
        tools=tools,
        every_picture=node,
        from_node=node,
        target_reader=PairReader(camera),
    )


def _service(home: Home, eyes: list[Eyes], network: str | None) -> Service:
    tools = eyes[0].tools
    assert tools is not None
    return Service(
        home.folder,
        eyes,
        tools,
        program_version=program_version(),
        listening=listening_at(home.folder, network),
    )


def bench_service(home: Home, seed: int | None, network: str | None = None) -> Service:
    """Return the service of the demo: the virtual bench as its source."""
    spec = bench_spec(seed)
    bench = Bench(spec, np.random.default_rng(seed))
    wheels = (
        Handwheel("x", spec.mm_per_turn_x, spec.wheel_divisions),
        Handwheel("y", spec.mm_per_turn_y, spec.wheel_divisions),
    )
    source = BenchSource(bench, time.monotonic, time.sleep)
    eyes = _eyes(home, source, bench_dial(home, spec), camera_model(spec), wheels)
    return _service(home, [eyes], network)


def live_source(home: Home, source: str) -> LiveSource:
    """Return a camera by its number, set as its owner said, or by its address.

    Raises
    ------
    BadInputError
        If `source` is neither.
    """
    if not is_live(source):
        msg = (
            f"--source {source} is no camera: give its number (0 is the first) or its address "
            "(http://… or rtsp://…); a recording is for read or sweep"
        )
        raise BadInputError(msg)
    known = home.cameras.settings(identity_of(int(source))) if source.isdigit() else None
    return LiveSource(source, time.monotonic, known)


def cameras_service(
    home: Home,
    sources: list[str],
    dials: list[str],
    cameras: list[Path],
    network: str | None = None,
) -> Service:
    """Return the service of real cameras, here or on nodes (``node:NAME``).

    Raises
    ------
    BadInputError
        If a source is no camera's number or address, a dial is not known, or there are
        neither one nor as many dials or camera models as sources.
    """
    wheels = home.handwheels.all()
    dial_of = _one_each("--dial", dials, len(sources))
    camera_of = _one_each("--camera", cameras, len(sources)) if cameras else [None] * len(sources)
    eyes = []
    for source, dial, camera in zip(sources, dial_of, camera_of, strict=True):
        model = load_camera(camera) if camera else None
        eyes.append(_eyes(home, _source(home, source), home.dials.load(dial), model, wheels))
    return _service(home, eyes, network)


def _source(home: Home, source: str) -> FrameSource:
    name = source.removeprefix(NODE_PREFIX)
    return NodeSource(checked_name(name)) if name != source else live_source(home, source)


T = TypeVar("T")


def _one_each(option: str, given: list[T], wanted: int) -> list[T]:
    """Return one for each source: the only one for all, or as many as there are."""
    if len(given) == 1:
        return given * wanted
    if len(given) != wanted:
        msg = f"{option} came {len(given)} times for {wanted} sources: give it once, or for each"
        raise BadInputError(msg)
    return given


def run_service(
    make: Callable[[], Service], *, parent_pipe: bool = False, announce: bool = True
) -> int:
    """Run a service until INT or TERM and return 0."""
    logging.basicConfig(level=logging.WARNING)

    def ready(card: Card) -> None:
        if announce:
            tell(f"Service: pid {card.pid}. Ctrl+C ends it.")

    run_until_signalled(make(), parent_pipe=parent_pipe, ready=ready)
    return 0
