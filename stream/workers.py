"""The threads beside the main loop: grab frames, read them, make previews.

Newest wins between the threads: a slow reader or a slow page never holds the camera up.
"""

import logging
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from readings import CollarAngle, Frame, FrameSource, Reading, SparehandError
from stream.given import Seen
from stream.messages import Preview
from stream.photos import to_jpeg
from vision.target_pair import TargetPair

LOG = logging.getLogger("sparehand.stream")

PREVIEW_QUALITY = 80
PREVIEW_WIDTH_PX = 960
PREVIEW_FPS = 32.0
"""At most, on the average: a little more than cameras deliver."""

AHEAD = 2.0
"""Pictures that may come sooner after some that came late."""

UNWATCHED_PREVIEW_S = 1.0
"""How often a preview is made while nobody watches, for those who come later."""

FIRST_WAIT_S, LONGEST_WAIT_S = 0.5, 5.0
"""Waits before the camera is opened again, doubled each time."""

WAIT_S = 0.2
MOST_WAITING = 15
"""Pictures that wait for the reader: half a second of them."""

NEWEST_ONLY_S = 5.0
FEW = 3
"""Previews that may wait while a thread is held up: less than anybody sees."""

BUSY = 6
"""So many pictures waiting for the reader, and previews are left out."""
_MOST_LOOKS = 8
"""So often a picture that stays is looked at while what it shows is refused."""

RATE_OVER_S = 2.0


class ReadsDials(Protocol):
    """What reads a dial in a frame."""

    def read(self, frame: Frame) -> Reading:
        """Return the reading; refusals are readings too."""


class ReadsCollars(Protocol):
    """What reads a collar in a frame."""

    def read(self, frame: Frame) -> CollarAngle | None:
        """Return the angle, None where the collar is not seen."""


class ReadsTargets(Protocol):
    """What reads two targets in a frame: one that turns, one that stands still."""

    def read(self, frame: Frame) -> tuple[Reading, CollarAngle | None, TargetPair | None]:
        """Return a reading without numbers, the turn, and the pair where both are seen."""


class Newest:
    """A place for one frame or a few: the newest win."""

    def __init__(self, few: int = 1) -> None:
        self._changed = threading.Condition()
        self._frames: deque[Frame] = deque(maxlen=few)

    def put(self, frame: Frame) -> None:
        """Put a frame in, over the oldest that nobody took where there is no room."""
        with self._changed:
            self._frames.append(frame)
            self._changed.notify()

    def take(self, timeout_s: float) -> Frame | None:
        """Take the oldest frame out, waiting for one; None where none came in time."""
        with self._changed:
            self._changed.wait_for(lambda: self._frames, timeout_s)
            return self._frames.popleft() if self._frames else None


class Backlog:
    """Pictures that wait to be read, in order: a short hold-up of the reader loses none.

    Where pictures come faster than they can be read, the oldest are given up and counted, and
    for a while only the newest waits, so that what is shown does not lag.
    """

    def __init__(self, most: int = MOST_WAITING, *, wait: bool = False) -> None:
        self._wait = wait
        self._changed = threading.Condition()
        self._frames: deque[Frame] = deque()
        self._most = most
        self._newest_only_until_s: float | None = None
        self.skipped = 0

    def __len__(self) -> int:
        return len(self._frames)

    def put(self, frame: Frame) -> None:
        """Put a frame in; with `wait` there is always room, and the putting waits for it."""
        with self._changed:
            if self._wait:
                self._changed.wait_for(lambda: len(self._frames) < self._most, LONGEST_WAIT_S)
            late = self._newest_only_until_s is not None and frame.t_s < self._newest_only_until_s
            if not self._wait and len(self._frames) >= (1 if late else self._most):
                self.skipped += len(self._frames)
                self._frames.clear()
                self._newest_only_until_s = frame.t_s + NEWEST_ONLY_S
            self._frames.append(frame)
            self._changed.notify_all()

    def take(self, timeout_s: float) -> Frame | None:
        """Take the oldest frame out, waiting for one; None where none came in time."""
        with self._changed:
            self._changed.wait_for(lambda: self._frames, timeout_s)
            frame = self._frames.popleft() if self._frames else None
            self._changed.notify_all()
            return frame


class Rate:
    """Count events a second over the last `RATE_OVER_S`."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._times: deque[float] = deque()
        self._lock = threading.Lock()
        self.last_s: float | None = None

    def count(self) -> None:
        """Count one event now."""
        with self._lock:
            self.last_s = self._clock()
            self._times.append(self.last_s)

    def per_s(self) -> float:
        """Return events a second."""
        with self._lock:
            since = self._clock() - RATE_OVER_S
            while self._times and self._times[0] < since:
                self._times.popleft()
            return len(self._times) / RATE_OVER_S


class Worker(threading.Thread):
    """A thread that works until it is stopped; it never keeps the process alive."""

    def __init__(self, name: str) -> None:
        super().__init__(name=name, daemon=True)
        self._stopped = threading.Event()

    def stop(self) -> None:
        """Ask it to end."""
        self._stopped.set()


class SourceWorker(Worker):
    """Grabs frames and hands each to the slots; opens a source that ended again."""

    def __init__(
        self, source: FrameSource, slots: tuple["Newest | Backlog", ...], rate: Rate
    ) -> None:
        super().__init__("source")
        self._source = source
        self._slots = slots
        self._rate = rate
        self._told = ""

    def run(self) -> None:
        """Grab until stopped."""
        wait_s = FIRST_WAIT_S
        while not self._stopped.is_set():
            if self._grab():
                wait_s = FIRST_WAIT_S
            if self._stopped.wait(wait_s):
                return
            wait_s = min(2 * wait_s, LONGEST_WAIT_S)

    def _grab(self) -> bool:
        """Grab until the source ends or fails; return whether any frame came."""
        came = False
        try:
            for frame in self._source.frames():
                if self._stopped.is_set():
                    break
                came = True
                self._told = ""
                self._rate.count()
                for slot in self._slots:
                    slot.put(frame)
        except SparehandError as error:
            if str(error) != self._told:  # once, however often it is tried again
                LOG.warning("the camera failed: %s", error)
            self._told = str(error)
        except Exception:  # a driver may raise anything: it is logged, and opened again
            LOG.exception("the camera failed")
        return came


class ReadingWorker(Worker):
    """Reads the newest frame again and again; a picture that did not change is not read twice."""

    def __init__(
        self,
        slot: "Newest | Backlog",
        reader: ReadsDials,
        collar_reader: ReadsCollars | None,
        deliver: Callable[[Seen], None],
        rate: Rate,
        target_reader: ReadsTargets | None = None,
    ) -> None:
        super().__init__("reader")
        self._target_reader = target_reader
        self.at_targets = False
        """Whether targets are looked at instead of a dial."""
        self._slot = slot
        self._reader = reader
        self._collar_reader = collar_reader
        self._deliver = deliver
        self._rate = rate
        self._last: Seen | None = None
        self._looks = 0

    def run(self) -> None:
        """Read until stopped."""
        while not self._stopped.is_set():
            frame = self._slot.take(WAIT_S)
            if frame is not None:
                at_targets = self.at_targets and self._target_reader is not None
                self._last = self._again(frame, at_targets) or self._read(frame, at_targets)
                self._rate.count()
                self._deliver(self._last)

    def _again(self, frame: Frame, at_targets: bool) -> Seen | None:
        """Return the last reading at the new frame's time where the picture is the same object.

        A refusal only after some looks: a reader seeks a lost dial a part of the search a picture.
        """
        last, self._looks = self._last, self._looks + 1
        stays = last is not None and frame.image is not None and frame.image is last.frame.image
        if last is None or not stays or at_targets != last.at_targets:
            self._looks = 1
            return None
        if not last.reading.ok and self._looks <= _MOST_LOOKS:
            return None
        collar = replace(last.collar, t_s=frame.t_s) if last.collar else None
        return replace(
            last, frame=frame, reading=replace(last.reading, t_s=frame.t_s), collar=collar
        )

    def _read(self, frame: Frame, at_targets: bool) -> Seen:
        try:
            if at_targets and self._target_reader is not None:
                return Seen(frame, *self._target_reader.read(frame), at_targets=True)
            reading = self._reader.read(frame)
            collar = self._collar_reader.read(frame) if self._collar_reader else None
        except Exception:  # one picture must not end the service: it is logged and refused
            LOG.exception("reading frame %d failed", frame.index)
            return Seen(frame, Reading("refused", frame.t_s, flags=("no dial",)), None)
        return Seen(frame, reading, collar)


class PreviewWorker(Worker):
    """Makes the previews: each picture is encoded once, whoever watches."""

    def __init__(
        self,
        slot: Newest,
        wanted: Callable[[], bool],
        deliver: Callable[[Preview, bytes], None],
        clock: Callable[[], float],
        busy: Callable[[], bool] = lambda: False,
    ) -> None:
        super().__init__("preview")
        self._slot = slot
        self._busy = busy
        self.left_out = 0
        self._wanted = wanted
        self._deliver = deliver
        self._clock = clock
        self._image: NDArray[np.uint8] | None = None
        self._jpeg: tuple[bytes, int, int] = (b"", 0, 0)

    def run(self) -> None:
        """Encode until stopped."""
        due_s = self._clock()
        while not self._stopped.is_set():
            frame = self._slot.take(WAIT_S)
            now_s = self._clock()
            every_s = 1.0 / PREVIEW_FPS if self._wanted() else UNWATCHED_PREVIEW_S
            if frame is None or frame.image is None or now_s < due_s:
                continue
            if self._busy():
                self.left_out += 1
                continue
            due_s = max(due_s, now_s - AHEAD * every_s) + every_s
            jpeg, width, height = self._encode(frame.image)
            full = frame.image.shape[1]
            self._deliver(Preview(frame.t_s, frame.index, width, height, full), jpeg)

    def _encode(self, image: NDArray[np.uint8]) -> tuple[bytes, int, int]:
        if image is not self._image:
            small = shrunk(image)
            self._jpeg = (to_jpeg(small, PREVIEW_QUALITY), small.shape[1], small.shape[0])
            self._image = image
        return self._jpeg


def shrunk(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the picture at most `PREVIEW_WIDTH_PX` wide, the same object where it is already."""
    height, width = image.shape[:2]
    if width <= PREVIEW_WIDTH_PX:
        return image
    size = (PREVIEW_WIDTH_PX, max(1, round(height * PREVIEW_WIDTH_PX / width)))
    how = cv2.INTER_AREA if width >= 2 * PREVIEW_WIDTH_PX else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(image, size, interpolation=how), dtype=np.uint8)
