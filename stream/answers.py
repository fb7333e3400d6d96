"""What the service answered to commands, so that one sent again is not done again.

A command that changes something is noted in the book before it is done and once more with
its answer, so that this holds over a restart of the service too, however it ended.
"""

from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import msgspec

from readings import BookError
from stream.messages import Answer

REMEMBERED = 512
KEPT = 32
"""The newest answers that outlive the service."""

CUT_SHORT = (
    "The service ended while it did this, and it is not known whether it was done: look at what "
    "stands now, and do it again if it was not."
)

Key = tuple[str, int]
"""Who sent a command, and the sender's number of it."""


@dataclass(frozen=True, slots=True)
class KeptAnswer:
    """One command as it stands in the book; `answer` is None while it is being done."""

    client: str
    seq: int
    answer: Answer | None


class Answers:
    """Remembers the newest answers, and keeps those of commands that change something.

    Parameters
    ----------
    keep
        Commits a few kilobytes; may raise BookError.
    content
        What an earlier service kept.
    """

    def __init__(self, keep: Callable[[bytes], None], content: bytes | None) -> None:
        self._keep = keep
        self._known: OrderedDict[Key, Answer] = OrderedDict()
        self._durable: OrderedDict[Key, Answer | None] = OrderedDict()
        for one in _decoded(content):
            answer = one.answer or Answer(False, CUT_SHORT, seq=one.seq)
            self._known[one.client, one.seq] = answer
            self._durable[one.client, one.seq] = answer

    def known(self, key: Key) -> Answer | None:
        """Return what was answered to this command, None where it is new."""
        return self._known.get(key)

    def begin(self, key: Key) -> Answer | None:
        """Note that a command is about to be done; return an answer where it must not be."""
        self._durable[key] = None
        try:
            self._write()
        except BookError as error:
            del self._durable[key]
            return Answer(False, str(error), seq=key[1])
        return None

    def end(self, key: Key, answer: Answer, *, durable: bool) -> None:
        """Note the answer."""
        self._known[key] = answer
        while len(self._known) > REMEMBERED:
            self._known.popitem(last=False)
        if durable:
            self._durable[key] = answer
            try:
                self._write()
            except BookError:
                return  # a restart then says that it does not know, which is true

    def _write(self) -> None:
        while len(self._durable) > KEPT:
            self._durable.popitem(last=False)
        kept = [KeptAnswer(client, seq, said) for (client, seq), said in self._durable.items()]
        self._keep(msgspec.msgpack.encode(kept))


def _decoded(content: bytes | None) -> Iterable[KeptAnswer]:
    if not content:
        return ()
    try:
        return msgspec.msgpack.decode(content, type=list[KeptAnswer])
    except msgspec.MsgspecError:
        return ()
