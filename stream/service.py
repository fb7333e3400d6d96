"""The running service: workers, sockets, the session and the book, in one main loop."""

import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import cv2
import zmq

from calibration.camera_store import CAMERAS, CameraStore
from readings import FrameSource
from stream.calibrating import Calibrating
from stream.cameras import Cameras, Eyes
from stream.card import Card, put_card, take_card_away
from stream.faults import flag_trouble
from stream.given import Tools
from stream.guard import Guard, Listening
from stream.inbox import Inbox
from stream.keeping import plain
from stream.messages import Health, Trouble, camera_topic
from stream.node_door import NodeDoor
from stream.office import Office
from stream.sockets import CommandDoor, Outlet
from stream.switchboard import BenchLike, Switchboard
from stream.views import plain_line

__all__ = ["BenchLike", "Eyes", "Service", "bench_of", "run_until_signalled", "watch_parent"]

POLL_MS = 50
SWITCH_S = 0.0005
"""How long one thread may keep the others waiting (Python lets it 5 ms)."""

TICK_S = 0.1
HEALTH_S = 1.0
BENCH_S = 1.0 / 30.0


def bench_of(source: FrameSource) -> BenchLike | None:
    """Return the virtual machine that a source shows: itself or its `bench`; None without one."""
    for thing in (source, getattr(source, "bench", None)):
        if isinstance(thing, BenchLike):
            return thing
    return None


def _utc_now() -> datetime:
    return datetime.now(UTC)


class Service:
    """One service in one home folder.

    Parameters
    ----------
    home
        The folder of the book and of ``service.json``.
    eyes
        Its cameras, the first in use at first; one whose source has a `BenchLike` machine
        takes "bench" commands.
    tools
        The dial, the handwheels and what is put on record about them.
    listening
        Where clients find it: loopback if not told.
    clock, now
        Monotonic seconds and the wall's clock in UTC.
    """

    def __init__(
        self,
        home: Path,
        eyes: Eyes | Sequence[Eyes],
        tools: Tools,
        *,
        program_version: str,
        listening: Listening | None = None,
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = _utc_now,
    ) -> None:
        self._home = home
        self._eyes = (eyes,) if isinstance(eyes, Eyes) else tuple(eyes)
        benches = [bench_of(one.source) for one in self._eyes]
        self._bench = next((bench for bench in benches if bench is not None), None)
        self._tools = tools
        self._version = program_version
        self._listening = listening or Listening()
        self._clock = clock
        self._now = now
        self._stopped = threading.Event()
        self._inbox = Inbox()
        self._due: dict[str, float] = {}
        self._bench_shown: Mapping[str, Any] = {}
        self._told: tuple[Trouble, ...] = ()

    def stop(self) -> None:
        """Ask the main loop to end; from any thread or signal handler."""
        self._stopped.set()
        self._inbox.ring()

    def run(self, ready: Callable[[Card], None] | None = None) -> None:
        """Run until `stop`; `ready` is called with the card once the sockets listen.

        Raises
        ------
        BookError
            If another process writes the book of this home, or the book is of a newer format.
        BadInputError
            If the address to listen at cannot be had.
        """
        cv2.setNumThreads(1)
        sys.setswitchinterval(SWITCH_S)
        context = zmq.Context()
        guard = Guard(context, self._listening.keys)
        try:
            self._run_with(context, guard, ready)
        finally:
            guard.close()
            context.destroy(0)
            self._inbox.close()

    def _run_with(
        self,
        context: "zmq.Context[zmq.Socket[bytes]]",
        guard: Guard,
        ready: Callable[[Card], None] | None,
    ) -> None:
        with ExitStack() as ends:
            outlet = Outlet(context, guard, self._listening.endpoint(0))
            ends.callback(outlet.close)
            cameras = Cameras(self._eyes, self._inbox, outlet.watched, self._clock)
            ends.callback(cameras.end)
            office = Office(
                self._home,
                cameras.in_use.eyes.tools or self._tools,
                outlet.publish,
                program_version=self._version,
                clock=self._clock,
                now=self._now,
            )
            ends.callback(office.close)
            office.open()
            store = CameraStore(self._home / CAMERAS)
            calibrating = Calibrating(store, self._inbox.ring, self._now)
            ends.callback(calibrating.close)
            desk = Switchboard(office, cameras, self._tools, self._bench, calibrating)
            door = CommandDoor(
                context, guard, self._listening.endpoint(1), desk.do, office.answers()
            )
            ends.callback(door.close)
            nodes = NodeDoor(
                context, guard, self._listening.endpoint(2), cameras.of_nodes(), self._clock
            )
            ends.callback(nodes.close)
            parts = _Parts(outlet, door, nodes, office, cameras, calibrating)
            self._serve(parts, guard, ready)

    def _serve(self, parts: "_Parts", guard: Guard, ready: Callable[[Card], None] | None) -> None:
        card = Card(
            parts.outlet.address,
            parts.door.address,
            os.getpid(),
            self._version,
            self._now().isoformat(),
            node=parts.nodes.address,
            service_public=guard.public,
        )
        parts.cameras.start()
        put_card(self._home, card)
        try:
            if ready is not None:
                ready(card)
            self._loop(parts)
        finally:
            take_card_away(self._home, card)

    def _loop(self, parts: "_Parts") -> None:
        poller = zmq.Poller()
        for waited in (parts.outlet.socket, parts.door.socket, parts.nodes.socket):
            poller.register(waited, zmq.POLLIN)
        poller.register(self._inbox.wire, zmq.POLLIN)
        started_s = self._clock()
        while not self._stopped.is_set():
            poller.poll(POLL_MS)
            parts.outlet.serve()
            parts.door.serve()
            parts.nodes.serve()
            self._empty_inbox(parts)
            if (view := parts.calibrating.news()) is not None:
                parts.outlet.publish("calibration", view)
            if self._is_due("tick", TICK_S):
                away = parts.nodes.away(parts.cameras.in_use.name)
                parts.office.tick(parts.nodes.troubles(), away=away)
                parts.cameras.relax(parts.office.running or parts.calibrating.active)
                parts.cameras.look_at_targets(parts.office.at_targets)
            if self._is_due("bench", BENCH_S):
                self._show_bench(parts.outlet)
            self._tell_health(parts, started_s)

    def _tell_health(self, parts: "_Parts", started_s: float) -> None:
        """Tell how it is once a second, and at once where a trouble came or went."""
        troubles = parts.office.troubles()
        if self._is_due("health", HEALTH_S) or troubles != self._told:
            self._told = troubles
            parts.outlet.publish("health", self._health(parts, troubles, started_s))
            parts.outlet.send_again("state")

    def _empty_inbox(self, parts: "_Parts") -> None:
        seen, previews = self._inbox.empty()
        in_use = parts.cameras.in_use.name
        for name, (preview, jpeg) in previews:
            topic = "preview" if name == in_use else camera_topic(name, "preview")
            parts.outlet.publish(topic, preview, jpeg)
        for name, one in seen:
            if name == in_use:
                parts.office.observe(one)
            else:
                live = plain_line(one.frame, one.reading, one.collar)
                parts.outlet.publish(camera_topic(name, "reading"), live)

    def _is_due(self, what: str, every_s: float) -> bool:
        now_s = self._clock()
        if now_s < self._due.get(what, now_s):
            return False
        self._due[what] = now_s + every_s
        return True

    def _show_bench(self, outlet: Outlet) -> None:
        if self._bench is None:
            return
        shown = plain(self._bench.state())
        if {**shown, "t_s": 0} != self._bench_shown:
            self._bench_shown = {**shown, "t_s": 0}
            outlet.publish("bench", shown)

    def _health(self, parts: "_Parts", troubles: tuple[Trouble, ...], started_s: float) -> Health:
        camera = parts.cameras.in_use.health()
        return Health(
            uptime_s=self._clock() - started_s,
            camera=camera.state,
            frames_per_s=camera.frames_per_s,
            readings_per_s=camera.readings_per_s,
            last_reading_age_s=camera.last_reading_age_s,
            source=camera.name,
            troubles=_with_the_camera(
                troubles, lost=camera.state == "lost" and camera.last_reading_age_s is not None
            ),
            cameras=parts.cameras.health(),
            nodes=parts.nodes.health(),
        )


def _with_the_camera(troubles: tuple[Trouble, ...], *, lost: bool) -> tuple[Trouble, ...]:
    """Name a lost camera at once: the session, which asks by its own beat, may be a beat late."""
    if not lost or any(trouble.name == "camera gone" for trouble in troubles):
        return troubles
    return (*troubles, flag_trouble("camera gone"))


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """What a running service is made of."""

    outlet: Outlet
    door: CommandDoor
    nodes: NodeDoor
    office: Office
    cameras: Cameras
    calibrating: Calibrating


def run_until_signalled(
    service: Service, *, parent_pipe: bool = False, ready: Callable[[Card], None] | None = None
) -> None:
    """Run a service in the main thread until INT or TERM; then it has ended in order.

    Parameters
    ----------
    parent_pipe
        Whether to end also when standard input ends: a parent that holds the other end
        takes this process with it, however it dies.
    """
    for name in ("SIGINT", "SIGTERM", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda number, frame: service.stop())
    if parent_pipe:
        watch_parent(service.stop)
    service.run(ready)


def watch_parent(stop: Callable[[], None]) -> None:
    """Call `stop` when standard input ends."""
    handle = sys.stdin.fileno()

    def wait() -> None:
        while _something(handle):
            pass
        stop()

    threading.Thread(target=wait, name="parent", daemon=True).start()


def _something(handle: int) -> bool:
    try:
        return bool(os.read(handle, 4096))
    except OSError:
        return False
