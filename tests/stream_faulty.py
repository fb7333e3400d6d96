"""A service that reads a real picture of a dial through a camera with faults, by command."""

import sys
import threading
import time
from math import pi
from pathlib import Path

import cv2
import numpy as np
from stream_kit import collar

from readings import BadInputError, Frame, SourceError
from setups import Instrument
from stream.service import Eyes, Service, run_until_signalled
from stream.session import Tools
from vision.dial_reader import DialReader
from vision.teach import teach_dial

FPS = 20.0


class FaultyCamera:
    """Pictures of one dial with a camera's noise, and what may go wrong with them."""

    name = "camera 0"

    def __init__(self, picture):
        self._picture = cv2.imread(str(picture))
        self._rng = np.random.default_rng(1)
        self._noise = self._rng.normal(0.0, 1.2, self._picture.shape).round().astype(np.int16)
        self._fault = ""
        self._frozen = None
        self._lock = threading.Lock()
        self._open = True
        self._index = 0

    def frames(self):
        """Yield pictures until it is gone or closed."""
        if self._fault == "gone":
            raise SourceError("camera 0 cannot be opened: check its cable.")
        while self._open and self._fault != "gone":
            time.sleep(1.0 / FPS)
            image = self._faulty(self._seen())
            self._index += 1
            flags = () if image is not None else ("unreadable file",)
            yield Frame(image, time.monotonic(), self._index, self.name, flags=flags)

    def _seen(self):
        noise = np.roll(self._noise, int(self._rng.integers(0, 5000)))
        return np.clip(self._picture + noise, 0, 255).astype(np.uint8)

    def _faulty(self, image):
        fault = self._fault
        if fault != "frozen":
            self._frozen = image
        if fault == "frozen":
            return self._frozen.copy()
        if fault == "black":
            return (image // 100).astype(np.uint8)
        if fault == "focus":
            return cv2.GaussianBlur(image, (0, 0), 14.0)
        if fault == "smeared":
            veil = np.broadcast_to(image.mean(axis=(0, 1)), image.shape).astype(np.uint8)
            return cv2.addWeighted(cv2.GaussianBlur(image, (0, 0), 1.2), 0.5, veil, 0.5, 0.0)
        if fault == "size":
            return cv2.resize(image, None, fx=0.75, fy=0.75)
        if fault == "corrupt":
            return decoded(cv2.imencode(".jpg", image)[1], self._rng)
        return image

    def command(self, do, **args):
        """Bring a fault about, or take it away."""
        if do != "fault":
            raise BadInputError(f"The camera knows no {do!r}.")
        self._fault = args["kind"]
        return f"{do}: done."

    def state(self):
        return {"t_s": 0.0}

    def close(self):
        self._open = False


def decoded(jpeg, rng):
    """A JPEG whose head is damaged, as it comes over a bad cable."""
    content = jpeg.ravel().copy()
    content[:600] = rng.integers(0, 256, 600)
    return cv2.imdecode(content, cv2.IMREAD_COLOR)


class StillCollar:
    """A collar that stands."""

    def read(self, frame):
        return collar(frame.t_s, 0.3 * pi)


def run(home, face):
    """Run the service of one face's dial until it is told to end."""
    from calibration.camera import load_camera

    camera = load_camera(Path(face) / "camera.json")
    dial = teach_dial(Path(face), name="clock")
    picture = Path(face) / "frames" / "000.jpg"
    eyes = Eyes(FaultyCamera(picture), DialReader(dial, camera), StillCollar())
    instrument = Instrument(dial.name, dial.graduation_mm, dial.marks_per_turn, dial.travel_mm)
    tools = Tools(instrument, (), source="camera 0")
    run_until_signalled(Service(Path(home), eyes, tools, program_version="test"))
    sys.exit(0)
