"""Clients of the service, for a program that waits and for one that runs asyncio.

>>> client = Client(home)                                      # doctest: +SKIP
>>> client.command("begin", job="Lock paddle winding gear", part="Gear-case end 1",
...                operation="Bore 52 mm seat", tolerance_mm=0.005, diameter_mm=52.0)
...                                                            # doctest: +SKIP
>>> for topic, body, payload in client.subscribe("reading"):   # doctest: +SKIP
...     show(body["value_mm"])
"""

import asyncio
import time
import uuid
from collections.abc import AsyncIterator, Iterator
from itertools import count
from types import TracebackType
from typing import Any, NamedTuple, Self

import msgspec
import zmq
import zmq.asyncio

from readings import ServiceError
from stream.messages import VERSION, Answer, Command, Topic
from stream.reach import Reach, Where, reach_of

CONNECT_S = 2.0
ANSWER_S = 5.0
SENT_TWICE = 2
"""A command whose answer does not come is sent again under the same number."""

STALE_S = 3.0
"""Health comes every second: after so long without anything the service is gone."""

LARGEST_PUBLICATION = 8 * 1024 * 1024
WAITING_PREVIEWS = 2
WAITING_MESSAGES = 1000


class Published(NamedTuple):
    """One publication: its topic, its body as plain data, its payload where it has one."""

    topic: str
    body: Any
    payload: bytes | None


class Intake:
    """Opens messages of the publishing socket; a value that came before is left out."""

    def __init__(self) -> None:
        self._seen: dict[str, int] = {}
        self._run = ""

    def open(self, parts: list[bytes]) -> Published | None:
        """Return what a message says; None where it is old or none of ours."""
        if not 2 <= len(parts) <= 3:
            return None
        try:
            header = msgspec.json.decode(parts[1], type=dict[str, Any])
            topic, seq, body = parts[0].decode(), int(header["seq"]), header["body"]
        except (msgspec.MsgspecError, UnicodeDecodeError, KeyError, TypeError, ValueError):
            return None
        if header.get("run", "") != self._run:  # another run of the service counts from 1
            self._run = header.get("run", "")
            self._seen.clear()
        if header.get("v") != VERSION or seq <= self._seen.get(topic, 0):
            return None
        self._seen[topic] = seq
        return Published(topic, body, parts[2] if len(parts) == 3 else None)


def _subscribe(socket: "zmq.Socket[Any]", reach: Reach, topics: tuple[str, ...]) -> None:
    previews = topics == ("preview",)
    reach.ready(socket)
    socket.setsockopt(zmq.RCVHWM, WAITING_PREVIEWS if previews else WAITING_MESSAGES)
    socket.setsockopt(zmq.MAXMSGSIZE, LARGEST_PUBLICATION)
    for topic in topics:
        socket.setsockopt(zmq.SUBSCRIBE, topic.encode())
    socket.connect(reach.publications)


def _apart(topics: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Return the topics as they share sockets: previews have one of their own, newest wins."""
    rest = tuple(topic for topic in topics if topic != "preview")
    previews: list[tuple[str, ...]] = [("preview",)] if "preview" in topics else []
    return previews + ([rest] if rest else [])


def _dealer(socket: "zmq.Socket[Any]", reach: Reach) -> None:
    reach.ready(socket)
    socket.setsockopt(zmq.IMMEDIATE, 1)  # writable only once connected
    socket.setsockopt(zmq.MAXMSGSIZE, LARGEST_PUBLICATION)
    socket.connect(reach.commands)


def _unreachable(reach: Reach) -> ServiceError:
    key = " and whether it admits this key" if reach.pair else ""
    return ServiceError(
        f"{reach.who} does not answer: "
        f"look whether it still runs{key}, and start `sparehand run` again."
    )


def _answer(content: bytes) -> Answer:
    try:
        return msgspec.json.decode(content, type=Answer)
    except msgspec.MsgspecError as error:
        msg = f"The service answered something else than an answer ({error}): update one of both."
        raise ServiceError(msg) from error


class _Commands:
    """Numbers and encodes the commands of one client."""

    def __init__(self) -> None:
        self._client = uuid.uuid4().hex
        self._seq = count(1)

    def next(self, name: str, args: dict[str, Any]) -> tuple[int, bytes]:
        seq = next(self._seq)
        return seq, msgspec.json.encode(Command(name, args, self._client, seq))


class Client:
    """A client that waits; one thread at a time.

    Parameters
    ----------
    where
        The home folder of the service, its card, or a client's key file for a service
        on another computer.
    """

    def __init__(
        self, where: Where, *, connect_s: float = CONNECT_S, answer_s: float = ANSWER_S
    ) -> None:
        self._where = where
        self._reach = reach_of(where)
        self._connect_s, self._answer_s = connect_s, answer_s
        self._context = zmq.Context()
        self._commands = _Commands()
        self._subscriptions: list[Subscription] = []
        self._socket = self._dealt()

    def command(self, name: str, /, **args: Any) -> Answer:  # noqa: ANN401 - JSON
        """Send a command and return its answer; it is done once, however often it is sent.

        Raises
        ------
        ServiceError
            If the service cannot be reached or does not answer in time.
        """
        seq, content = self._commands.next(name, args)
        for _ in range(SENT_TWICE):
            socket = self._connected()
            if not socket.poll(round(self._connect_s * 1000), zmq.POLLOUT):
                raise _unreachable(self._reach)
            socket.send(content)
            answer = self._answered(socket, seq)
            if answer is not None:
                return answer
        raise _unreachable(self._reach)

    def _answered(self, socket: "zmq.Socket[bytes]", seq: int) -> Answer | None:
        until_s = time.monotonic() + self._answer_s
        while (left_s := until_s - time.monotonic()) > 0:
            if socket.poll(max(1, round(left_s * 1000))):
                answer = _answer(socket.recv())
                if answer.seq == seq:
                    return answer
        return None

    def _connected(self) -> "zmq.Socket[bytes]":
        """Return the command socket, a new one where the service was started again elsewhere."""
        reach = reach_of(self._where)
        if reach != self._reach:
            self._socket.close(0)
            self._reach = reach
            self._socket = self._dealt()
        return self._socket

    def _dealt(self) -> "zmq.Socket[bytes]":
        socket = self._context.socket(zmq.DEALER)
        _dealer(socket, self._reach)
        return socket

    def subscribe(self, *topics: Topic) -> "Subscription":
        """Return what is published under `topics` from now on, the last values first."""
        subscription = Subscription(self._context, reach_of(self._where), topics)
        self._subscriptions.append(subscription)
        return subscription

    def close(self) -> None:
        """Close the command socket and every subscription."""
        for subscription in self._subscriptions:
            subscription.close()
        self._socket.close(0)
        self._context.term()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


class Subscription:
    """Publications one after the other, for a loop or by `poll`."""

    def __init__(
        self, context: "zmq.Context[zmq.Socket[bytes]]", reach: Reach, topics: tuple[Topic, ...]
    ) -> None:
        self._intake = Intake()
        self._ready: list[Published] = []
        self._poller = zmq.Poller()
        self._sockets = [context.socket(zmq.SUB) for _ in _apart(topics)]
        for socket, shared in zip(self._sockets, _apart(topics), strict=True):
            _subscribe(socket, reach, shared)
            self._poller.register(socket, zmq.POLLIN)

    def poll(self, timeout_s: float = STALE_S) -> Published | None:
        """Return the next publication, None where none came in time."""
        until_s = time.monotonic() + timeout_s
        while not self._ready:
            left_s = until_s - time.monotonic()
            if left_s < 0:
                return None
            for socket, _ in self._poller.poll(max(1, round(left_s * 1000))):
                self._ready.extend(self._drain(socket))
        return self._ready.pop(0)

    def close(self) -> None:
        """Close; may be called twice."""
        for socket in self._sockets:
            socket.close(0)

    def _drain(self, socket: "zmq.Socket[bytes]") -> list[Published]:
        opened = []
        while socket.poll(0):
            one = self._intake.open(socket.recv_multipart())
            if one is not None:
                opened.append(one)
        return opened[-1:] if opened and opened[-1].topic == "preview" else opened

    def __iter__(self) -> Iterator[Published]:
        """Yield publications until the service is silent for `STALE_S`."""
        while (one := self.poll()) is not None:
            yield one


class AsyncClient:
    """The same for asyncio; it finds a service that was started again by itself.

    Needs a loop that can watch sockets (on Windows the selector loop).
    """

    def __init__(
        self, where: Where, *, connect_s: float = CONNECT_S, answer_s: float = ANSWER_S
    ) -> None:
        self._where = where
        self._connect_s, self._answer_s = connect_s, answer_s
        self._context = zmq.asyncio.Context()
        self._commands = _Commands()
        self._socket: tuple[Reach, zmq.asyncio.Socket] | None = None
        self._turn = asyncio.Lock()

    async def command(self, name: str, /, **args: Any) -> Answer:  # noqa: ANN401 - JSON
        """Send a command and return its answer; commands of one client go one by one.

        Raises
        ------
        ServiceError
            If no service runs, or it cannot be reached or does not answer in time.
        """
        seq, content = self._commands.next(name, args)
        async with self._turn:
            for _ in range(SENT_TWICE):
                reach, socket = self._connected()
                if not await socket.poll(round(self._connect_s * 1000), zmq.POLLOUT):  # type: ignore[call-arg]
                    raise _unreachable(reach)
                await socket.send(content)
                while await socket.poll(round(self._answer_s * 1000)):
                    answer = _answer(await socket.recv())
                    if answer.seq == seq:
                        return answer
            raise _unreachable(reach)

    def _connected(self) -> "tuple[Reach, zmq.asyncio.Socket]":
        reach = reach_of(self._where)
        if self._socket is None or self._socket[0] != reach:
            if self._socket is not None:
                self._socket[1].close(0)
            socket = self._context.socket(zmq.DEALER)
            _dealer(socket, reach)
            self._socket = (reach, socket)
        return self._socket

    async def subscribe(self, *topics: Topic) -> AsyncIterator[Published]:
        """Yield what is published under `topics`, the last values first, for ever.

        Where the service falls silent it is looked for until it is back; the consumer
        notices by the clock. Of previews only the newest is yielded.
        """
        while True:
            try:
                reach = reach_of(self._where)
            except ServiceError:
                await asyncio.sleep(0.5)
                continue
            async for one in self._listen(reach, topics):
                yield one

    async def _listen(self, reach: Reach, topics: tuple[Topic, ...]) -> AsyncIterator[Published]:
        intake = Intake()
        poller = zmq.asyncio.Poller()
        sockets = [self._context.socket(zmq.SUB) for _ in _apart(topics)]
        try:
            for socket, shared in zip(sockets, _apart(topics), strict=True):
                _subscribe(socket, reach, shared)
                poller.register(socket, zmq.POLLIN)
            while ready := await poller.poll(round(STALE_S * 1000)):
                for socket, _ in ready:
                    for one in await _drained(socket, intake):
                        yield one
        finally:
            for socket in sockets:
                socket.close(0)

    def close(self) -> None:
        """Close the command socket; a subscription closes its own when it is left."""
        if self._socket is not None:
            self._socket[1].close(0)
        self._context.destroy(0)

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


async def _drained(socket: "zmq.asyncio.Socket", intake: Intake) -> list[Published]:
    opened = []
    while await socket.poll(0):
        one = intake.open(await socket.recv_multipart())
        if one is not None:
            opened.append(one)
    return opened[-1:] if opened and opened[-1].topic == "preview" else opened
