"""What waits to be sent to one page: the newest of each kind, never a queue of pictures."""

import asyncio
from dataclasses import dataclass

MOST_PICTURES_UNDER_WAY = 3
"""A page says which pictures it has decoded; no more than this many are sent unseen."""


@dataclass(frozen=True, slots=True)
class Parcel:
    """One thing to send: a text, and the picture that belongs to it where there is one."""

    text: str
    picture: bytes | None = None


class Outbox:
    """Newest wins, topic by topic; answers to commands are kept in order.

    Lives on one event loop; not for use from other threads.
    """

    def __init__(self) -> None:
        self._newest: dict[str, Parcel] = {}
        self._answers: list[Parcel] = []
        self._pictures_under_way = 0
        self._something = asyncio.Event()

    def put(self, topic: str, parcel: Parcel) -> None:
        """Put the newest parcel of a topic; an older one that still waits is dropped."""
        self._newest[topic] = parcel
        self._something.set()

    def put_answer(self, parcel: Parcel) -> None:
        """Put an answer, which is never dropped."""
        self._answers.append(parcel)
        self._something.set()

    def picture_seen(self) -> None:
        """Note that the page has decoded a picture: another one may be sent."""
        self._pictures_under_way = max(0, self._pictures_under_way - 1)
        self._something.set()

    async def take(self) -> Parcel:
        """Wait for something that may be sent, and return it."""
        while True:
            parcel = self._pick()
            if parcel is not None:
                return parcel
            self._something.clear()
            await self._something.wait()

    def _pick(self) -> Parcel | None:
        if self._answers:
            return self._answers.pop(0)
        for topic, parcel in self._newest.items():
            if parcel.picture is None:
                return self._newest.pop(topic)
        if self._newest and self._pictures_under_way < MOST_PICTURES_UNDER_WAY:
            self._pictures_under_way += 1
            return self._newest.pop(next(iter(self._newest)))
        return None
