"""A camera node: a camera on another computer, whose pictures or readings go to the service.

What is to become a sample is kept here until the service has given a receipt for it, so a
network that is away for a while delays samples and loses none. A live picture is sent besides,
a few a second, and never kept.
"""

import threading
import time
import uuid
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import sqrt

import msgspec
import zmq

from readings import Frame, FrameSource
from stream.given import Seen
from stream.messages import Preview
from stream.node_messages import NODE_VERSION, Parcel, Receipt, encode_parcel
from stream.photos import to_jpeg
from stream.reach import Reach
from stream.workers import (
    Backlog,
    Newest,
    PreviewWorker,
    Rate,
    ReadingWorker,
    ReadsCollars,
    ReadsDials,
    SourceWorker,
    Worker,
)

MOST_KEPT_BYTES = 256 * 1024 * 1024
MOST_UNDER_WAY = 60
AGAIN_S = 1.5
"""Without a receipt for so long, what is under way is sent again."""

ALIVE_S = 0.5
POLL_MS = 20
PREVIEW_EVERY_S = 0.2
PICTURE_QUALITY = 92
TRIPS_S = 60.0
JOIN_S = 2.0


@dataclass(frozen=True, slots=True)
class Numbered:
    """One parcel that is kept: its number, its size, the parcel and its picture."""

    parcel: Parcel
    jpeg: bytes

    @property
    def size(self) -> int:
        """Its bytes, roughly."""
        return len(self.jpeg) + 4096


class Shelf:
    """Parcels kept in order until receipts come; where there is no room the oldest go.

    Safe to use from several threads.
    """

    def __init__(self, most_bytes: int = MOST_KEPT_BYTES) -> None:
        self._lock = threading.Lock()
        self._kept: deque[Numbered] = deque()
        self._most, self._bytes, self._next = most_bytes, 0, 1
        self.lost = 0

    @property
    def first(self) -> int:
        """The oldest number that is kept, or the next one to come."""
        with self._lock:
            return self._kept[0].parcel.seq if self._kept else self._next

    def __len__(self) -> int:
        return len(self._kept)

    def put(self, parcel: Parcel, jpeg: bytes = b"") -> None:
        """Keep a parcel under the next number."""
        with self._lock:
            one = Numbered(replace(parcel, seq=self._next), jpeg)
            self._next += 1
            self._kept.append(one)
            self._bytes += one.size
            while self._bytes > self._most and len(self._kept) > 1:
                self._bytes -= self._kept.popleft().size
                self.lost += 1

    def taken(self, seq: int) -> None:
        """Let go of all up to a number."""
        with self._lock:
            while self._kept and self._kept[0].parcel.seq <= seq:
                self._bytes -= self._kept.popleft().size

    def after(self, seq: int, most: int) -> list[Numbered]:
        """Return the oldest parcels beyond a number."""
        with self._lock:
            if not self._kept:
                return []
            skip = max(0, seq + 1 - self._kept[0].parcel.seq)
            return [self._kept[i] for i in range(skip, min(skip + most, len(self._kept)))]


class NodeClock:
    """The service's clock against this one, from round trips: the quickest tells best."""

    def __init__(self) -> None:
        self._trips: deque[tuple[float, float, float]] = deque(maxlen=1000)

    def note(self, echo_s: float, at_s: float, now_s: float) -> None:
        """Note a receipt: sent here at `echo_s`, given there at `at_s`, come back at `now_s`."""
        trip_s = now_s - echo_s
        if trip_s >= 0:
            self._trips.append((now_s, trip_s, at_s - (echo_s + now_s) / 2))

    def offset(self, now_s: float) -> tuple[float | None, float | None]:
        """Return the service's clock minus ours and its sigma; None before any receipt.

        The true offset lies within half the round trip of the middle: a flat distribution.
        """
        recent = [(trip, apart) for at, trip, apart in self._trips if now_s - at <= TRIPS_S]
        if not recent:
            return None, None
        trip_s, apart_s = min(recent)
        return apart_s, trip_s / (2 * sqrt(3.0))


class Node:
    """One camera node.

    Parameters
    ----------
    reach
        How the service is reached, with this node's key on a network.
    name
        The node's name, as the service knows it.
    reader, collar_reader
        What reads the pictures here; None where the service reads them.
    """

    def __init__(
        self,
        reach: Reach,
        name: str,
        source: FrameSource,
        reader: ReadsDials | None = None,
        collar_reader: ReadsCollars | None = None,
        *,
        clock: Callable[[], float] = time.monotonic,
        shelf: Shelf | None = None,
    ) -> None:
        self._reach, self._name, self._source = reach, name, source
        self._clock = clock
        self._run = uuid.uuid4().hex
        self._stopped = threading.Event()
        self._shelf = shelf or Shelf()
        self._times = NodeClock()
        self._preview: tuple[Preview, bytes] | None = None
        self._sent, self._receipt_s = 0, clock()
        self._room = MOST_UNDER_WAY
        self._alive_s = self._preview_s = clock()
        waiting, for_preview, rate = Backlog(wait=True), Newest(), Rate(clock)
        self._workers: list[Worker] = [
            SourceWorker(source, (waiting, for_preview), rate),
            PreviewWorker(for_preview, lambda: True, self._put_preview, clock),
            ReadingWorker(waiting, reader, collar_reader, self._put_read, Rate(clock))
            if reader is not None
            else _PackingWorker(waiting, self._put_picture),
        ]

    def stop(self) -> None:
        """Ask `run` to end; from any thread or signal handler."""
        self._stopped.set()

    def run(self) -> None:
        """Send until stopped; the network may come and go."""
        context = zmq.Context()
        socket = context.socket(zmq.DEALER)
        self._reach.ready(socket)
        socket.setsockopt(zmq.IMMEDIATE, 1)
        socket.setsockopt(zmq.SNDHWM, MOST_UNDER_WAY)
        socket.setsockopt(zmq.MAXMSGSIZE, 4096)
        socket.connect(self._reach.node)
        for worker in self._workers:
            worker.start()
        try:
            while not self._stopped.is_set():
                socket.poll(POLL_MS)
                self._hear(socket)
                self._send_kept(socket)
                self._send_besides(socket)
        finally:
            self._end(context)

    def _end(self, context: "zmq.Context[zmq.Socket[bytes]]") -> None:
        for worker in self._workers:
            worker.stop()
        self._source.close()
        for worker in self._workers:
            worker.join(JOIN_S)
        context.destroy(0)

    # from the workers

    def _put_read(self, seen: Seen) -> None:
        frame = seen.frame
        self._shelf.put(self._parcel("reading", frame.t_s, frame.index, seen=seen))

    def _put_picture(self, frame: Frame) -> None:
        jpeg = b"" if frame.image is None else to_jpeg(frame.image, PICTURE_QUALITY)
        self._shelf.put(self._parcel("picture", frame.t_s, frame.index), jpeg)

    def _put_preview(self, preview: Preview, jpeg: bytes) -> None:
        self._preview = (preview, jpeg)

    def _parcel(
        self, kind: str, t_s: float = 0.0, index: int = 0, *, seen: Seen | None = None
    ) -> Parcel:
        return Parcel(
            node=self._name,
            run=self._run,
            seq=0,
            first=1,
            kind=kind,  # type: ignore[arg-type]
            sent_s=0.0,
            t_s=t_s,
            index=index,
            reading=seen.reading if seen else None,
            collar=seen.collar if seen else None,
        )

    # to and from the service

    def _hear(self, socket: "zmq.Socket[bytes]") -> None:
        while socket.poll(0):
            try:
                receipt = msgspec.json.decode(socket.recv(), type=Receipt)
            except (msgspec.MsgspecError, UnicodeDecodeError):
                continue
            if receipt.v != NODE_VERSION or receipt.run != self._run:
                continue
            now_s = self._clock()
            self._times.note(receipt.echo_s, receipt.at_s, now_s)
            self._room = receipt.room
            if receipt.taken >= self._shelf.first:
                self._receipt_s = now_s
            self._shelf.taken(receipt.taken)

    def _send_kept(self, socket: "zmq.Socket[bytes]") -> None:
        now_s = self._clock()
        under_way = self._sent - self._shelf.first + 1
        if under_way <= 0:
            self._receipt_s = now_s
        elif now_s - self._receipt_s > AGAIN_S:
            self._sent, self._receipt_s, under_way = self._shelf.first - 1, now_s, 0
        room = min(MOST_UNDER_WAY, self._room) - max(0, under_way)
        for one in self._shelf.after(self._sent, room) if room > 0 else []:
            if not self._post(socket, one.parcel, one.jpeg):
                return
            self._sent = one.parcel.seq

    def _send_besides(self, socket: "zmq.Socket[bytes]") -> None:
        """Send a preview, or at least a word of life."""
        now_s = self._clock()
        if self._preview is not None and now_s - self._preview_s >= PREVIEW_EVERY_S:
            (preview, jpeg), self._preview, self._preview_s = self._preview, None, now_s
            parcel = replace(
                self._parcel("preview", preview.t_s, preview.index),
                width=preview.width,
                height=preview.height,
                picture_width=preview.picture_width,
            )
            self._post(socket, parcel, jpeg)
        if now_s - self._alive_s >= ALIVE_S:
            self._alive_s = now_s
            self._post(socket, self._parcel("alive"), b"")

    def _post(self, socket: "zmq.Socket[bytes]", parcel: Parcel, jpeg: bytes) -> bool:
        now_s = self._clock()
        offset_s, sigma_s = self._times.offset(now_s)
        header = replace(
            parcel,
            first=self._shelf.first,
            sent_s=now_s,
            offset_s=offset_s,
            sigma_offset_s=sigma_s,
        )
        try:
            socket.send_multipart([encode_parcel(header), *([jpeg] if jpeg else [])], zmq.DONTWAIT)
        except zmq.Again:
            return False
        return True


class _PackingWorker(Worker):
    """Packs every picture for the service to read."""

    def __init__(self, slot: Backlog, put: Callable[[Frame], None]) -> None:
        super().__init__("packer")
        self._slot, self._put = slot, put

    def run(self) -> None:
        """Pack until stopped."""
        while not self._stopped.is_set():
            frame = self._slot.take(0.2)
            if frame is not None:
                self._put(frame)
