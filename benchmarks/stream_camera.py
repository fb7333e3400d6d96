"""What bench_stream measures with: a service of its own process over a 1280 x 720 recording.

The recording is of a virtual bench: JPEG pictures in memory, decoded one by one as a camera's
are, forth and back again, each stamped before it is decoded.
"""

import multiprocessing
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from calibration.dials import DialStore
from readings import Frame, SourceError
from setups import Instrument
from simulator import Bench, BenchSource, BenchSpec, camera_model, write_teaching_folder
from stream.service import Eyes, Service, run_until_signalled
from stream.session import Tools
from vision.dial_reader import DialReader
from vision.teach import teach_dial

PICTURES = 60
FORKS = multiprocessing.get_context("forkserver")


DIAL = "bench"


def record(folder, rng):
    """Draw the recording: pictures of a slow turn, and the taught dial beside them."""
    spec = BenchSpec(start_deg=-60.0)
    bench = Bench(spec, rng)
    write_teaching_folder(folder / "dial", spec, np.random.default_rng(7))
    DialStore(folder / "dials").save(teach_dial(folder / "dial", name=DIAL))
    bench.command("turn_spindle", by_rad=0.7, seconds=2.0)
    for i in range(PICTURES):
        bench.advance(1.0 / 30.0)
        cv2.imwrite(str(folder / f"{i:03d}.jpg"), bench.render().image)
    return spec


class Recording:
    """A source that plays the recording at a rate, and counts what it delivered."""

    def __init__(self, folder, fps, *, gone=False, still=False, ready=False, name="camera"):
        self.name = name
        self._ready = ready
        self._jpegs = [np.fromfile(path, np.uint8) for path in sorted(folder.glob("*.jpg"))]
        self._fps, self._gone, self._still = fps, gone, still
        self._open, self._relaxed = True, False

    def frames(self):
        if self._gone:
            raise SourceError("there is no camera")
        ready = [self._decoded(i) for i in range(PICTURES)] if self._ready else []
        order = [0] if self._still else [*range(PICTURES), *range(PICTURES - 2, 0, -1)]
        due_s, index, decoded_s = time.monotonic(), 0, 0.0
        while self._open:
            due_s += 1.0 / self._fps
            time.sleep(max(0.0, due_s - time.monotonic()))
            t_s = time.monotonic()
            if self._relaxed and t_s - decoded_s < 1.0:
                continue  # a grab: the driver's buffer, nothing decoded
            decoded_s = t_s
            at = order[index % len(order)]
            image = ready[at].view() if ready else self._decoded(at)
            yield Frame(image, t_s, index, self.name)
            index += 1

    def _decoded(self, at):
        image = cv2.imdecode(self._jpegs[at], cv2.IMREAD_COLOR)
        image.flags.writeable = False
        return image

    def relax(self, on):
        self._relaxed = on

    def close(self):
        self._open = False


def serve(home, folder, kind, cameras, fps):
    """Run a service in this process until it is told to end."""
    cv2.setNumThreads(1)
    spec = BenchSpec(start_deg=-60.0)
    dial = DialStore(Path(folder) / "dials").load(DIAL)
    model = camera_model(spec)
    instrument = Instrument(dial.name, dial.graduation_mm, dial.marks_per_turn, dial.travel_mm)
    if kind == "bench":
        source = BenchSource(Bench(spec, np.random.default_rng(1)), time.monotonic, time.sleep)
        sources = [source]
    else:
        how = {word: kind == word for word in ("gone", "still", "ready")}
        sources = [Recording(Path(folder), fps, name=f"camera {i}", **how) for i in range(cameras)]
    eyes = [Eyes(source, DialReader(dial, model)) for source in sources]
    service = Service(Path(home), eyes, Tools(instrument), program_version="bench")
    run_until_signalled(service)
    sys.exit(0)


def dashboard(home, told):
    """Run a dashboard in this process until it is told to end."""
    from ui.dashboard_process import run_dashboard

    sys.exit(run_dashboard(Path(home), 0, announce=lambda sentence: told.send(sentence)))


def new_home():
    """A folder for a service, gone with the benchmark."""
    return tempfile.TemporaryDirectory(prefix="bench_stream_")
