"""The two sockets of the service: publications out, commands in."""

import logging
import uuid
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import msgspec
import zmq

from stream.answers import Answers
from stream.guard import Guard, bind
from stream.keeping import from_numpy
from stream.messages import CHANGING, VERSION, Answer, Command, Topic

LARGEST_COMMAND = 64 * 1024
LARGEST_SUBSCRIPTION = 64
LARGEST_HANDSHAKE = 1024
"""What CURVE sends before the first subscription is larger than one."""

MOST_PREFIXES = 256
"""Of what may be subscribed to at once, all clients together, as far as it is counted."""

WAITING_MESSAGES = 200
"""Publications that wait for one slow client before it misses some."""

MOST_AT_ONCE = 50
LONGEST_CLIENT = 64
LARGEST_NUMBER = 2**53 - 1
"""What every JSON reader keeps exactly."""

BROKE = "Something broke in the service itself over this command; its log says what."

LOG = logging.getLogger("sparehand.stream")


class Outlet:
    """The publishing socket; it keeps the last value of each topic for those who come late."""

    def __init__(
        self, context: "zmq.Context[zmq.Socket[bytes]]", guard: Guard, endpoint: str
    ) -> None:
        self.socket = context.socket(zmq.XPUB)
        self.socket.setsockopt(zmq.XPUB_VERBOSER, 1)
        self.socket.setsockopt(zmq.LINGER, 0)
        self.socket.setsockopt(zmq.SNDHWM, WAITING_MESSAGES)
        largest = LARGEST_HANDSHAKE if guard.public else LARGEST_SUBSCRIPTION
        self.socket.setsockopt(zmq.MAXMSGSIZE, largest)
        guard.cover(self.socket)
        self.address = bind(self.socket, endpoint)
        self._run = uuid.uuid4().hex
        self._seq: Counter[str] = Counter()
        self._last: dict[str, list[bytes]] = {}
        self._watchers: Counter[bytes] = Counter()

    def publish(self, topic: str, body: object, payload: bytes | None = None) -> None:
        """Send one publication; never waits."""
        self._seq[topic] += 1
        header = {"v": VERSION, "run": self._run, "seq": self._seq[topic], "body": body}
        parts = [topic.encode(), msgspec.json.encode(header, enc_hook=from_numpy)]
        if payload is not None:
            parts.append(payload)
        self._last[topic] = parts
        self.socket.send_multipart(parts, copy=False)

    def send_again(self, topic: Topic) -> None:
        """Send the last value of a topic once more, under its old number."""
        if topic in self._last:
            self.socket.send_multipart(self._last[topic], copy=False)

    def watched(self, topic: str) -> bool:
        """Whether anybody subscribes to a topic."""
        return any(n > 0 and topic.encode().startswith(t) for t, n in self._watchers.items())

    def serve(self) -> None:
        """Answer new subscriptions with the last values they ask for, each once a round."""
        asked: set[bytes] = set()
        for _ in range(MOST_AT_ONCE):
            if not self.socket.poll(0):
                break
            message = self.socket.recv()
            if message[:1] in (b"\x00", b"\x01"):
                self._note(message[1:], 1 if message[:1] == b"\x01" else -1)
                asked.update([message[1:]] if message[:1] == b"\x01" else [])
        for parts in list(self._last.values()) if asked else []:
            if parts[0].startswith(tuple(asked)):
                self.socket.send_multipart(parts, copy=False)

    def _note(self, prefix: bytes, change: int) -> None:
        known = prefix in self._watchers
        if not known and (change < 0 or len(self._watchers) >= MOST_PREFIXES):
            return
        self._watchers[prefix] += change
        if self._watchers[prefix] <= 0:
            del self._watchers[prefix]

    def close(self) -> None:
        """Close the socket."""
        self.socket.close(0)


@dataclass(frozen=True, slots=True)
class Letter:
    """A command as it came: who sent it, and what is between the sender's name and the text."""

    envelope: list[bytes]
    text: bytes


class CommandDoor:
    """The command socket: bounded, never waits, answers every message it can.

    Parameters
    ----------
    do
        Does a command.
    answers
        What was answered before.
    """

    def __init__(
        self,
        context: "zmq.Context[zmq.Socket[bytes]]",
        guard: Guard,
        endpoint: str,
        do: Callable[[Command], Answer],
        answers: Answers,
    ) -> None:
        self.socket = context.socket(zmq.ROUTER)
        self.socket.setsockopt(zmq.LINGER, 0)
        self.socket.setsockopt(zmq.SNDHWM, WAITING_MESSAGES)
        self.socket.setsockopt(zmq.RCVHWM, WAITING_MESSAGES)
        self.socket.setsockopt(zmq.MAXMSGSIZE, LARGEST_COMMAND)
        guard.cover(self.socket)
        self.address = bind(self.socket, endpoint)
        self._do = do
        self._answers = answers

    def serve(self) -> None:
        """Do what waits, a bounded number at once."""
        for _ in range(MOST_AT_ONCE):
            if not self.socket.poll(0):
                return
            parts = self.socket.recv_multipart(copy=False)
            letter = _letter([part.bytes for part in parts])
            if letter is not None:
                said = self._answer(letter.text, sender_of(parts[-1]))
                self._send([*letter.envelope, msgspec.json.encode(said, enc_hook=from_numpy)])

    def close(self) -> None:
        """Close the socket."""
        self.socket.close(0)

    def _send(self, parts: list[bytes]) -> None:
        try:
            self.socket.send_multipart(parts, zmq.DONTWAIT)
        except zmq.ZMQError:
            return  # the sender is gone or does not listen: its command was done all the same

    def _answer(self, text: bytes, sender: str) -> Answer:
        try:
            command = msgspec.json.decode(text, type=Command)
        except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
            return Answer(False, f"That is no command ({error}): see stream/messages.py.")
        if command.v != VERSION:
            said = f"Messages of version {command.v} came; this service speaks {VERSION}."
            return Answer(False, said, seq=command.seq)
        if len(command.client) > LONGEST_CLIENT or not 0 <= command.seq <= LARGEST_NUMBER:
            said = (
                f"A client's name has at most {LONGEST_CLIENT} characters, and its numbers go "
                f"from 0 to {LARGEST_NUMBER}."
            )
            return Answer(False, said)
        try:
            return self._once(command, (f"{sender}/{command.client}", command.seq))
        except Exception:  # one command must not end the service and the sweep in hand
            LOG.exception("the command %s failed", command.name[:40])
            return Answer(False, BROKE, seq=command.seq)

    def _once(self, command: Command, key: tuple[str, int]) -> Answer:
        """Do a command, or answer again where it was done before."""
        if not command.client:
            return replace(self._do(command), seq=command.seq)
        before = self._answers.known(key)
        if before is not None:
            return before
        durable = command.name in CHANGING
        refused = self._answers.begin(key) if durable else None
        if refused is not None:
            return refused
        answer = replace(self._do(command), seq=command.seq)
        self._answers.end(key, answer, durable=durable)
        return answer


def sender_of(frame: zmq.Frame) -> str:
    """Return the name under which the sender of a frame was admitted; empty on loopback."""
    try:
        return str(frame.get("User-Id"))
    except (zmq.ZMQError, KeyError):
        return ""


def _letter(parts: list[bytes]) -> Letter | None:
    """Return the sender and the text; None where there is nobody to answer to."""
    if len(parts) == 3 and parts[1] == b"":
        return Letter(parts[:2], parts[2])
    if len(parts) >= 2:
        return Letter(parts[:1], parts[1] if len(parts) == 2 else b"")
    return None
