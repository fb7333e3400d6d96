"""The two sockets of the service: publications out, commands in. Loopback only."""

from collections import Counter, OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, replace

import msgspec
import zmq

from stream.keeping import from_numpy
from stream.messages import VERSION, Answer, Command, Topic

LOOPBACK = "tcp://127.0.0.1:*"
LARGEST_COMMAND = 64 * 1024
LARGEST_SUBSCRIPTION = 1024
WAITING_MESSAGES = 200
"""Publications that wait for one slow client before it misses some."""

REMEMBERED_ANSWERS = 512
MOST_AT_ONCE = 50


class Outlet:
    """The publishing socket; it keeps the last value of each topic for those who come late."""

    def __init__(self, context: "zmq.Context[zmq.Socket[bytes]]") -> None:
        self.socket = context.socket(zmq.XPUB)
        self.socket.setsockopt(zmq.XPUB_VERBOSER, 1)
        self.socket.setsockopt(zmq.LINGER, 0)
        self.socket.setsockopt(zmq.SNDHWM, WAITING_MESSAGES)
        self.socket.setsockopt(zmq.MAXMSGSIZE, LARGEST_SUBSCRIPTION)
        self.socket.bind(LOOPBACK)
        self.address = self.socket.getsockopt_string(zmq.LAST_ENDPOINT)
        self._seq: Counter[str] = Counter()
        self._last: dict[str, list[bytes]] = {}
        self._watchers: Counter[bytes] = Counter()

    def publish(self, topic: Topic, body: object, payload: bytes | None = None) -> None:
        """Send one publication; never waits."""
        self._seq[topic] += 1
        header = {"v": VERSION, "seq": self._seq[topic], "body": body}
        parts = [topic.encode(), msgspec.json.encode(header, enc_hook=from_numpy)]
        if payload is not None:
            parts.append(payload)
        self._last[topic] = parts
        self.socket.send_multipart(parts, copy=False)

    def send_again(self, topic: Topic) -> None:
        """Send the last value of a topic once more, under its old number."""
        if topic in self._last:
            self.socket.send_multipart(self._last[topic], copy=False)

    def watched(self, topic: Topic) -> bool:
        """Whether anybody subscribes to a topic."""
        return any(n > 0 and topic.encode().startswith(t) for t, n in self._watchers.items())

    def serve(self) -> None:
        """Answer new subscriptions with the last values they ask for."""
        while self.socket.poll(0):
            message = self.socket.recv()
            if message[:1] == b"\x01":
                self._welcome(message[1:])
            elif message[:1] == b"\x00":
                self._watchers[message[1:]] -= 1

    def _welcome(self, prefix: bytes) -> None:
        self._watchers[prefix] += 1
        for parts in self._last.values():
            if parts[0].startswith(prefix):
                self.socket.send_multipart(parts, copy=False)

    def close(self) -> None:
        """Close the socket."""
        self.socket.close(0)


@dataclass(frozen=True, slots=True)
class Letter:
    """A command as it came: who sent it, and what is between the sender's name and the text."""

    envelope: list[bytes]
    text: bytes


class CommandDoor:
    """The command socket: bounded, never waits, answers every message it can."""

    def __init__(
        self, context: "zmq.Context[zmq.Socket[bytes]]", do: Callable[[Command], Answer]
    ) -> None:
        self.socket = context.socket(zmq.ROUTER)
        self.socket.setsockopt(zmq.LINGER, 0)
        self.socket.setsockopt(zmq.SNDHWM, WAITING_MESSAGES)
        self.socket.setsockopt(zmq.RCVHWM, WAITING_MESSAGES)
        self.socket.setsockopt(zmq.MAXMSGSIZE, LARGEST_COMMAND)
        self.socket.bind(LOOPBACK)
        self.address = self.socket.getsockopt_string(zmq.LAST_ENDPOINT)
        self._do = do
        self._answers: OrderedDict[tuple[str, int], Answer] = OrderedDict()

    def serve(self) -> None:
        """Do what waits, a bounded number at once."""
        for _ in range(MOST_AT_ONCE):
            if not self.socket.poll(0):
                return
            letter = _letter(self.socket.recv_multipart())
            if letter is not None:
                answer = msgspec.json.encode(self._answer(letter.text), enc_hook=from_numpy)
                self._send([*letter.envelope, answer])

    def close(self) -> None:
        """Close the socket."""
        self.socket.close(0)

    def _send(self, parts: list[bytes]) -> None:
        try:
            self.socket.send_multipart(parts, zmq.DONTWAIT)
        except zmq.ZMQError:
            return  # the sender is gone or does not listen: its command was done all the same

    def _answer(self, text: bytes) -> Answer:
        try:
            command = msgspec.json.decode(text, type=Command)
        except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
            return Answer(False, f"That is no command ({error}): see stream/messages.py.")
        if command.v != VERSION:
            said = f"Messages of version {command.v} came; this service speaks {VERSION}."
            return Answer(False, said, seq=command.seq)
        return self._once(command)

    def _once(self, command: Command) -> Answer:
        """Do a command, or answer again where it was done before."""
        key = (command.client, command.seq)
        if command.client and key in self._answers:
            return self._answers[key]
        answer = replace(self._do(command), seq=command.seq)
        if command.client:
            self._answers[key] = answer
            while len(self._answers) > REMEMBERED_ANSWERS:
                self._answers.popitem(last=False)
        return answer


def _letter(parts: list[bytes]) -> Letter | None:
    """Return the sender and the text; None where there is nobody to answer to."""
    if len(parts) == 3 and parts[1] == b"":
        return Letter(parts[:2], parts[2])
    if len(parts) >= 2:
        return Letter(parts[:1], parts[1] if len(parts) == 2 else b"")
    return None
