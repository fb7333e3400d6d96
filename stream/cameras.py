"""The cameras of a service: each with workers of its own, one of them in use by the session."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from readings import BadInputError, Frame, FrameSource
from stream.faults import LOST_AFTER_S
from stream.given import Seen, Tools
from stream.inbox import Inbox
from stream.messages import CameraHealth, Preview, camera_topic
from stream.workers import (
    BUSY,
    FEW,
    Backlog,
    Newest,
    PreviewWorker,
    Rate,
    ReadingWorker,
    ReadsCollars,
    ReadsDials,
    ReadsTargets,
    SourceWorker,
    Worker,
)

JOIN_S = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Eyes:
    """One camera: its source and readers.

    `name` tells it from others; `tools` where its setups are made with other ones than the
    service's. With `every_picture` none is skipped: the source waits for the reader.
    `from_node`: its pictures or readings come from a camera node of this name.
    """

    source: FrameSource
    reader: ReadsDials
    collar_reader: ReadsCollars | None = None
    name: str = ""
    tools: Tools | None = None
    every_picture: bool = False
    from_node: bool = False
    target_reader: ReadsTargets | None = None


@runtime_checkable
class Relaxes(Protocol):
    """A source that can be told that nobody looks."""

    def relax(self, on: bool) -> None:
        """Deliver a picture a second, with as little work as may be."""


class Tap(Newest):
    """The newest picture for whoever asks for it now and then; shut, nothing is kept."""

    opened = False

    def put(self, frame: Frame) -> None:
        """Put a frame in while it is open."""
        if self.opened:
            super().put(frame)


class Camera:
    """One camera at work."""

    def __init__(
        self,
        eyes: Eyes,
        name: str,
        inbox: Inbox,
        watched: Callable[[str], bool],
        clock: Callable[[], float],
    ) -> None:
        self.eyes, self.name = eyes, name
        self.in_use = False
        self._clock = clock
        self._anybody = watched
        self._frames, self._readings = Rate(clock), Rate(clock)
        self._inbox = inbox
        self._waiting, for_preview = Backlog(wait=eyes.every_picture), Newest(FEW)
        self.tap = Tap()
        self._preview = PreviewWorker(
            for_preview,
            self._watched,
            lambda preview, jpeg: inbox.put_preview(name, preview, jpeg),
            clock,
            lambda: len(self._waiting) >= BUSY,
        )
        self._reading = ReadingWorker(
            self._waiting,
            eyes.reader,
            eyes.collar_reader,
            lambda seen: inbox.put_seen(name, seen),
            self._readings,
            eyes.target_reader,
        )
        self._workers: list[Worker] = [
            SourceWorker(eyes.source, (self._waiting, for_preview, self.tap), self._frames),
            self._reading,
            self._preview,
        ]

    def look_at_targets(self, on: bool) -> None:
        """Read targets instead of a dial while it is in use by a guide that wants them."""
        self._reading.at_targets = on and self.in_use

    def relax(self, running: bool) -> None:
        """Let the source rest while no setup runs and nobody watches its pictures."""
        source = self.eyes.source
        if isinstance(source, Relaxes):
            source.relax(not (running and self.in_use) and not self._watched())

    def take_read(self, seen: Seen) -> None:
        """Take a picture that was read elsewhere."""
        self._frames.count()
        self._readings.count()
        self._inbox.put_seen(self.name, seen)

    def take_preview(self, preview: Preview, jpeg: bytes) -> None:
        """Take a preview that was made elsewhere."""
        self._inbox.put_preview(self.name, preview, jpeg)

    def _watched(self) -> bool:
        return self._anybody("preview" if self.in_use else camera_topic(self.name, "preview"))

    def start(self) -> None:
        """Start its workers."""
        for worker in self._workers:
            worker.start()

    def stop(self) -> None:
        """Ask its workers to end."""
        for worker in self._workers:
            worker.stop()

    def join(self) -> None:
        """Wait for its workers, and let the source go."""
        for worker in self._workers:
            if worker.ident is not None:
                worker.join(JOIN_S)
        self.eyes.source.close()

    def health(self) -> CameraHealth:
        """Return how it is."""
        now_s = self._clock()
        frame_s, reading_s = self._frames.last_s, self._readings.last_s
        live = frame_s is not None and now_s - frame_s <= LOST_AFTER_S
        return CameraHealth(
            name=self.name,
            state="live" if live else "lost",
            frames_per_s=self._frames.per_s(),
            readings_per_s=self._readings.per_s(),
            last_reading_age_s=None if reading_s is None else now_s - reading_s,
            skipped=self._waiting.skipped,
            previews_left_out=self._preview.left_out,
            in_use=self.in_use,
        )


class Cameras:
    """All cameras of a service, the first in use at first."""

    def __init__(
        self,
        eyes: tuple[Eyes, ...],
        inbox: Inbox,
        watched: Callable[[str], bool],
        clock: Callable[[], float],
    ) -> None:
        names = _names(eyes)
        self._all = {
            name: Camera(one, name, inbox, watched, clock)
            for name, one in zip(names, eyes, strict=True)
        }
        self.in_use = self._all[names[0]]
        self.in_use.in_use = True

    def use(self, name: object) -> Camera:
        """Take another camera in use.

        Raises
        ------
        BadInputError
            If there is none of that name.
        """
        camera = self._all.get(name) if isinstance(name, str) else None
        if camera is None:
            msg = f"There is no camera {str(name)[:60]!r}; there are {', '.join(self._all)}."
            raise BadInputError(msg)
        self.in_use.in_use = False
        self.in_use, camera.in_use = camera, True
        return camera

    def relax(self, running: bool) -> None:
        """Let those rest at which nobody looks."""
        for camera in self._all.values():
            camera.relax(running)

    def look_at_targets(self, on: bool) -> None:
        """Let the one in use read targets instead of a dial, or a dial again."""
        for camera in self._all.values():
            camera.look_at_targets(on)

    def of_nodes(self) -> dict[str, Camera]:
        """Return the cameras whose pictures come from nodes, by the node's name."""
        return {name: one for name, one in self._all.items() if one.eyes.from_node}

    def start(self) -> None:
        """Start all."""
        for camera in self._all.values():
            camera.start()

    def end(self) -> None:
        """End all in order."""
        for camera in self._all.values():
            camera.stop()
        for camera in self._all.values():
            camera.join()

    def health(self) -> tuple[CameraHealth, ...]:
        """Return how each is."""
        return tuple(camera.health() for camera in self._all.values())


def _names(eyes: tuple[Eyes, ...]) -> list[str]:
    """Return one name for each, made different where two are the same."""
    names: list[str] = []
    for one in eyes:
        plain = one.name or one.source.name
        name, number = plain, 2
        while name in names:
            name, number = f"{plain} ({number})", number + 1
        names.append(name)
    return names
