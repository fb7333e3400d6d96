"""The service's door for camera nodes: takes their parcels in order, each once."""

import threading
from collections import deque
from collections.abc import Callable, Iterator

import cv2
import msgspec
import numpy as np
import zmq

from readings import Frame
from stream.cameras import Camera, Eyes
from stream.given import Seen
from stream.guard import Guard, bind
from stream.messages import NodeHealth, Preview, Trouble
from stream.node_messages import LARGEST_PARCEL, Parcel, Receipt, decode_parcel
from stream.sockets import sender_of
from stream.workers import ReadsCollars, ReadsDials

WAITING_PARCELS = 60
MOST_AT_ONCE = 200
MOST_UNREAD = 60
"""Pictures of a node that wait here to be read; the node keeps the rest."""

HERE_S = 3.0
LOST_TOLD_S = 20.0
WAIT_S = 0.2


class NodeSource:
    """Pictures of a node as a source of frames (a `readings.FrameSource`)."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._changed = threading.Condition()
        self._waiting: deque[tuple[bytes, float, int]] = deque()
        self._open = True

    @property
    def name(self) -> str:
        """The node's name."""
        return self._name

    @property
    def room(self) -> int:
        """How many more pictures can wait."""
        return MOST_UNREAD - len(self._waiting)

    def put(self, jpeg: bytes, t_s: float, index: int) -> None:
        """Take a picture in."""
        with self._changed:
            self._waiting.append((jpeg, t_s, index))
            self._changed.notify()

    def frames(self) -> Iterator[Frame]:
        """Yield the node's pictures in order until closed."""
        while self._open:
            with self._changed:
                self._changed.wait_for(lambda: self._waiting, WAIT_S)
                one = self._waiting.popleft() if self._waiting else None
            if one is not None:
                yield _frame(*one, source=self._name)

    def close(self) -> None:
        """End `frames`."""
        self._open = False


def _frame(jpeg: bytes, t_s: float, index: int, *, source: str) -> Frame:
    data = np.frombuffer(jpeg, np.uint8)
    image = cv2.imdecode(data, cv2.IMREAD_COLOR) if len(data) else None
    if image is None:
        return Frame(None, t_s, index, source, flags=("unreadable file",))
    image.flags.writeable = False
    return Frame(np.asarray(image, dtype=np.uint8), t_s, index, source)


def node_eyes(name: str, reader: ReadsDials, collar_reader: ReadsCollars | None) -> Eyes:
    """Return the camera of a node, with what reads its pictures where it does not read itself."""
    return Eyes(
        NodeSource(name), reader, collar_reader, name=name, every_picture=True, from_node=True
    )


class _Line:
    """One node as the service knows it."""

    def __init__(self, camera: Camera) -> None:
        self.camera = camera
        self.run = ""
        self.taken = 0
        self.all_taken = 0
        self.lost = 0
        self.lost_s: float | None = None
        self.heard_s: float | None = None
        self.offset_s: float | None = None
        self.sigma_offset_s: float | None = None


class NodeDoor:
    """The socket of the nodes.

    Parameters
    ----------
    cameras
        The camera of each node that may come, by the node's name.
    """

    def __init__(
        self,
        context: "zmq.Context[zmq.Socket[bytes]]",
        guard: Guard,
        endpoint: str,
        cameras: dict[str, Camera],
        clock: Callable[[], float],
    ) -> None:
        self.socket = context.socket(zmq.ROUTER)
        self.socket.setsockopt(zmq.LINGER, 0)
        self.socket.setsockopt(zmq.RCVHWM, WAITING_PARCELS)
        self.socket.setsockopt(zmq.SNDHWM, WAITING_PARCELS)
        self.socket.setsockopt(zmq.MAXMSGSIZE, LARGEST_PARCEL)
        guard.cover(self.socket)
        self.address = bind(self.socket, endpoint)
        self._keyed = bool(guard.public)
        self._clock = clock
        self._lines = {name: _Line(camera) for name, camera in cameras.items()}

    def serve(self) -> None:
        """Take what waits, a bounded number at once, and give receipts."""
        receipts: dict[bytes, Receipt] = {}
        for _ in range(MOST_AT_ONCE):
            if not self.socket.poll(0):
                break
            parts = self.socket.recv_multipart(copy=False)
            receipt = self._take(parts[1:], sender_of(parts[-1]))
            if receipt is not None:
                receipts[parts[0].bytes] = receipt
        for who, receipt in receipts.items():
            self._answer(who, receipt)

    def health(self) -> tuple[NodeHealth, ...]:
        """Return how each node is."""
        now_s = self._clock()
        return tuple(_health(name, line, now_s) for name, line in self._lines.items())

    def away(self, name: str) -> bool:
        """Return whether a camera is that of a node which came and is not heard of any more."""
        line = self._lines.get(name)
        return line is not None and _is_away(line, self._clock())

    def troubles(self) -> tuple[Trouble, ...]:
        """Return what is wrong with the nodes right now."""
        now_s, told = self._clock(), []
        for name, line in self._lines.items():
            if _is_away(line, now_s):
                said = f"The camera node {name} is away: it keeps what it sees and sends it later."
                told.append(Trouble("node away", said))
            if line.lost_s is not None and now_s - line.lost_s < LOST_TOLD_S:
                said = (
                    f"The camera node {name} had to give up {line.lost} pictures: turn once more."
                )
                told.append(Trouble("node lost pictures", said))
        return tuple(told)

    def close(self) -> None:
        """Close the socket."""
        self.socket.close(0)

    def _take(self, parts: list[zmq.Frame], sender: str) -> Receipt | None:
        if not 1 <= len(parts) <= 2:
            return None
        parcel = decode_parcel(parts[0].bytes)
        if parcel is None:
            return None
        line = self._lines.get(sender if self._keyed else parcel.node)
        if line is None:
            return None
        now_s = self._clock()
        line.heard_s = now_s
        line.offset_s, line.sigma_offset_s = parcel.offset_s, parcel.sigma_offset_s
        self._settle(line, parcel, now_s)
        if parcel.seq == 0 or parcel.seq == line.taken + 1:
            self._deliver(line, parcel, parts[1].bytes if len(parts) == 2 else b"")
        source = line.camera.eyes.source
        room = source.room if isinstance(source, NodeSource) else MOST_UNREAD
        return Receipt(parcel.run, line.taken, parcel.sent_s, now_s, room)

    def _settle(self, line: _Line, parcel: Parcel, now_s: float) -> None:
        """See to a node that was started anew, and to what it had to give up."""
        if parcel.run != line.run:
            line.run, line.taken = parcel.run, parcel.first - 1
        missing = parcel.first - 1 - line.taken
        if missing > 0:
            line.lost += missing
            line.lost_s, line.taken = now_s, parcel.first - 1

    def _deliver(self, line: _Line, parcel: Parcel, jpeg: bytes) -> None:
        camera = line.camera
        if parcel.kind == "picture":
            source = camera.eyes.source
            if not isinstance(source, NodeSource) or source.room <= 0:
                return  # not taken: it is sent again
            source.put(jpeg, parcel.t_s, parcel.index)
        elif parcel.kind == "reading" and parcel.reading is not None:
            frame = Frame(None, parcel.t_s, parcel.index, camera.name)
            camera.take_read(Seen(frame, parcel.reading, parcel.collar))
        elif parcel.kind == "preview" and jpeg:
            size = (parcel.width, parcel.height, parcel.picture_width)
            camera.take_preview(Preview(parcel.t_s, parcel.index, *size), jpeg)
        if parcel.seq:
            line.taken = parcel.seq
            line.all_taken += 1

    def _answer(self, who: bytes, receipt: Receipt) -> None:
        try:
            self.socket.send_multipart([who, msgspec.json.encode(receipt)], zmq.DONTWAIT)
        except zmq.ZMQError:
            return  # it is gone; what it has no receipt for it sends again


def _is_away(line: _Line, now_s: float) -> bool:
    return line.heard_s is not None and now_s - line.heard_s > HERE_S / 2


def _health(name: str, line: _Line, now_s: float) -> NodeHealth:
    here = line.heard_s is not None and now_s - line.heard_s <= HERE_S
    clock = (line.offset_s, line.sigma_offset_s)
    return NodeHealth(name, here, line.all_taken, line.lost, *clock)
