"""A live camera: a device's number, or the address of a phone or camera on the network.

`frames` opens the device anew each time it is called and ends when no picture comes any
more, so that the caller reopens by calling it again. A frame's time is when it was grabbed,
by the clock that is handed in.
"""

import re
from collections.abc import Callable, Iterator

import cv2
import numpy as np

from readings import Frame, SourceError

ADDRESS = re.compile(r"^(https?|rtsp)://", re.IGNORECASE)
WIDTH_PX, HEIGHT_PX = 1280, 720
RELAXED_S = 1.0
OPEN_MS, READ_MS = 4000, 3000
"""How long an address may take to answer, and a picture to come (ms)."""


def is_live(spec: str) -> bool:
    """Whether `spec` names a camera: a number or an address.

    >>> is_live("0"), is_live("http://127.0.0.1:8080/video"), is_live("sweep.mp4")
    (True, True, False)
    """
    return spec.isdigit() or ADDRESS.match(spec) is not None


class LiveSource:
    """Frames of one camera (a `readings.FrameSource`)."""

    def __init__(self, spec: str, clock: Callable[[], float]) -> None:
        self._spec = spec
        self._clock = clock
        self._open = True
        self._index = 0
        self._relaxed = False

    @property
    def name(self) -> str:
        """The camera's number or address."""
        return f"camera {self._spec}" if self._spec.isdigit() else self._spec

    def frames(self) -> Iterator[Frame]:
        """Yield pictures as they come; end when they stop coming.

        Raises
        ------
        SourceError
            If the camera cannot be opened.
        """
        capture = self._capture()
        decoded_s = -RELAXED_S
        try:
            while self._open and capture.grab():
                t_s = self._clock()
                if self._relaxed and 0 <= t_s - decoded_s < RELAXED_S:
                    self._index += 1
                    continue
                decoded_s = t_s
                good, image = capture.retrieve()
                if not good or image is None:
                    return
                image.flags.writeable = False
                index, self._index = self._index, self._index + 1
                yield Frame(np.asarray(image, dtype=np.uint8), t_s, index, self.name)
        finally:
            capture.release()

    def relax(self, on: bool) -> None:
        """Decode one picture a second while nobody looks; all are grabbed, so that none is old."""
        self._relaxed = on

    def close(self) -> None:
        """End `frames`; may be called twice."""
        self._open = False

    def _capture(self) -> cv2.VideoCapture:
        capture = _device(int(self._spec)) if self._spec.isdigit() else _address(self._spec)
        if not capture.isOpened():
            capture.release()
            msg = (
                f"{self.name} cannot be opened: check its cable or address, "
                "and that no other program uses it."
            )
            raise SourceError(msg)
        return capture


def _device(number: int) -> cv2.VideoCapture:
    capture = cv2.VideoCapture(number)
    if capture.isOpened():
        capture.set(cv2.CAP_PROP_FOURCC, float(cv2.VideoWriter.fourcc(*"MJPG")))
        capture.set(cv2.CAP_PROP_FRAME_WIDTH, WIDTH_PX)
        capture.set(cv2.CAP_PROP_FRAME_HEIGHT, HEIGHT_PX)
        capture.set(cv2.CAP_PROP_BUFFERSIZE, 1)
    return capture


def _address(url: str) -> cv2.VideoCapture:
    limits = [cv2.CAP_PROP_OPEN_TIMEOUT_MSEC, OPEN_MS, cv2.CAP_PROP_READ_TIMEOUT_MSEC, READ_MS]
    return cv2.VideoCapture(url, cv2.CAP_FFMPEG, limits)
