"""The running service: workers, sockets, the session and the book, in one main loop."""

import os
import signal
import socket
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol, runtime_checkable

import cv2
import zmq

from readings import FrameSource, SparehandError
from records import Book
from stream.card import Card, put_card, take_card_away
from stream.keeping import plain
from stream.messages import Answer, Command, Health, Preview
from stream.session import LOST_AFTER_S, Seen, Session, Tools
from stream.sockets import CommandDoor, Outlet
from stream.workers import (
    Newest,
    PreviewWorker,
    Rate,
    ReadingWorker,
    ReadsCollars,
    ReadsDials,
    SourceWorker,
    Worker,
)

POLL_MS = 50
TICK_S = 0.1
HEALTH_S = 1.0
BENCH_S = 1.0 / 30.0
JOIN_S = 2.0


@runtime_checkable
class BenchLike(Protocol):
    """A virtual machine: hands can be sent to it."""

    def command(self, do: str, /, **args: object) -> str:
        """Do what hands do; return the sentence that answers."""

    def state(self) -> object:
        """Return what a person at the machine sees: a dataclass with `t_s`."""


@dataclass(frozen=True, slots=True, eq=False)
class Eyes:
    """What the service sees with."""

    source: FrameSource
    reader: ReadsDials
    collar_reader: ReadsCollars | None = None


def bench_of(source: FrameSource) -> BenchLike | None:
    """Return the virtual machine that a source shows: itself or its `bench`; None without one."""
    for thing in (source, getattr(source, "bench", None)):
        if isinstance(thing, BenchLike):
            return thing
    return None


class Inbox:
    """What the workers hand to the main loop, with a wire that wakes it."""

    def __init__(self) -> None:
        self.wire, self._ringer = socket.socketpair()
        self.wire.setblocking(False)
        self._ringer.setblocking(False)
        self._seen: deque[Seen] = deque()
        self._preview: tuple[Preview, bytes] | None = None

    def put_seen(self, seen: Seen) -> None:
        """Hand in a read picture; none is ever dropped."""
        self._seen.append(seen)
        self.ring()

    def put_preview(self, preview: Preview, jpeg: bytes) -> None:
        """Hand in a preview, over one that was not sent yet."""
        self._preview = (preview, jpeg)
        self.ring()

    def ring(self) -> None:
        """Wake the main loop; a full wire wakes it as well."""
        try:
            self._ringer.send(b"!")
        except OSError:
            return

    def empty(self) -> tuple[list[Seen], tuple[Preview, bytes] | None]:
        """Take out everything that waits."""
        try:
            while self.wire.recv(4096):
                pass
        except OSError:
            pass
        preview, self._preview = self._preview, None
        seen = [self._seen.popleft() for _ in range(len(self._seen))]
        return seen, preview

    def close(self) -> None:
        """Close the wire."""
        self.wire.close()
        self._ringer.close()


def _utc_now() -> datetime:
    return datetime.now(UTC)


class Service:
    """One service in one home folder.

    Parameters
    ----------
    home
        The folder of the book and of ``service.json``.
    eyes
        Source and readers; a source with a `BenchLike` machine takes "bench" commands.
    tools
        The dial, the handwheels and what is put on record about them.
    clock, now
        Monotonic seconds and the wall's clock in UTC.
    """

    def __init__(
        self,
        home: Path,
        eyes: Eyes,
        tools: Tools,
        *,
        program_version: str,
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = _utc_now,
    ) -> None:
        self._home = home
        self._eyes = eyes
        self._bench = bench_of(eyes.source)
        self._tools = tools
        self._version = program_version
        self._clock = clock
        self._now = now
        self._stopped = threading.Event()
        self._inbox = Inbox()
        self._frames = Rate(clock)
        self._readings = Rate(clock)
        self._due: dict[str, float] = {}
        self._bench_shown: Mapping[str, Any] = {}

    def stop(self) -> None:
        """Ask the main loop to end; from any thread or signal handler."""
        self._stopped.set()
        self._inbox.ring()

    def run(self, ready: Callable[[Card], None] | None = None) -> None:
        """Run until `stop`; `ready` is called with the card once the sockets listen.

        Raises
        ------
        BookError
            If the book cannot be opened: another service runs in this home, say.
        """
        cv2.setNumThreads(1)
        book = Book.open(self._home, program_version=self._version, now=self._now)
        try:
            self._run_with(book, ready)
        finally:
            book.close()
            self._eyes.source.close()
            self._inbox.close()

    def _run_with(self, book: Book, ready: Callable[[Card], None] | None) -> None:
        context = zmq.Context()
        try:
            outlet = Outlet(context)
            session = Session(book, self._tools, outlet.publish, clock=self._clock, now=self._now)
            door = CommandDoor(context, lambda command: self._do(session, command))
            try:
                self._serve(session, outlet, door, ready)
            finally:
                session.close()
                outlet.close()
                door.close()
        finally:
            context.destroy(0)

    def _serve(
        self,
        session: Session,
        outlet: Outlet,
        door: CommandDoor,
        ready: Callable[[Card], None] | None,
    ) -> None:
        since = self._now()
        card = Card(outlet.address, door.address, os.getpid(), self._version, since.isoformat())
        workers = self._start(outlet)
        put_card(self._home, card)
        try:
            if ready is not None:
                ready(card)
            self._loop(session, outlet, door)
        finally:
            take_card_away(self._home, card)
            _end(workers)

    def _start(self, outlet: Outlet) -> list[Worker]:
        for_reader, for_preview = Newest(), Newest()
        eyes, inbox = self._eyes, self._inbox
        workers: list[Worker] = [
            SourceWorker(eyes.source, (for_reader, for_preview), self._frames),
            ReadingWorker(
                for_reader, eyes.reader, eyes.collar_reader, inbox.put_seen, self._readings
            ),
            PreviewWorker(
                for_preview, lambda: outlet.watched("preview"), inbox.put_preview, self._clock
            ),
        ]
        for worker in workers:
            worker.start()
        return workers

    def _loop(self, session: Session, outlet: Outlet, door: CommandDoor) -> None:
        poller = zmq.Poller()
        for waited in (outlet.socket, door.socket, self._inbox.wire):
            poller.register(waited, zmq.POLLIN)
        started_s = self._clock()
        while not self._stopped.is_set():
            poller.poll(POLL_MS)
            outlet.serve()
            door.serve()
            self._empty_inbox(session, outlet)
            if self._is_due("tick", TICK_S):
                session.tick()
            if self._is_due("bench", BENCH_S):
                self._show_bench(outlet)
            if self._is_due("health", HEALTH_S):
                outlet.publish("health", self._health(started_s))
                outlet.send_again("state")

    def _empty_inbox(self, session: Session, outlet: Outlet) -> None:
        seen, preview = self._inbox.empty()
        if preview is not None:
            outlet.publish("preview", preview[0], preview[1])
        for one in seen:
            session.observe(one.frame, one.reading, one.collar)

    def _is_due(self, what: str, every_s: float) -> bool:
        now_s = self._clock()
        if now_s < self._due.get(what, now_s):
            return False
        self._due[what] = now_s + every_s
        return True

    def _do(self, session: Session, command: Command) -> Answer:
        if command.name != "bench":
            return session.command(command)
        bench = self._bench
        if bench is None:
            return Answer(False, "There is no virtual machine here: that is the demo's only.")
        args = dict(command.args)
        do = args.pop("do", None)
        if not isinstance(do, str) or "self" in args:
            return Answer(False, "A bench command needs `do`, the name of what hands do.")
        try:
            return Answer(True, bench.command(do, **args))
        except SparehandError as error:
            return Answer(False, str(error))

    def _show_bench(self, outlet: Outlet) -> None:
        if self._bench is None:
            return
        shown = plain(self._bench.state())
        if {**shown, "t_s": 0} != self._bench_shown:
            self._bench_shown = {**shown, "t_s": 0}
            outlet.publish("bench", shown)

    def _health(self, started_s: float) -> Health:
        now_s = self._clock()
        frame_s, reading_s = self._frames.last_s, self._readings.last_s
        live = frame_s is not None and now_s - frame_s <= LOST_AFTER_S
        return Health(
            uptime_s=now_s - started_s,
            camera="live" if live else "lost",
            frames_per_s=self._frames.per_s(),
            readings_per_s=self._readings.per_s(),
            last_reading_age_s=None if reading_s is None else now_s - reading_s,
            source=self._eyes.source.name,
        )


def _end(workers: list[Worker]) -> None:
    for worker in workers:
        worker.stop()
    for worker in workers:
        worker.join(JOIN_S)


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
