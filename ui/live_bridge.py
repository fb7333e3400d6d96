"""The bridge between the service and the pages: one subscription, a websocket for each page.

Follows the service by itself when it goes away and comes back, at new addresses too.
Pages get JSON texts ``{"topic", "body", "shown"?}``; a picture is a text of topic
``preview`` and then its JPEG as one binary message. A page sends
``{"name", "args", "id"}`` for a command (answered by topic ``answer``) and
``{"seen": index}`` for each picture it has decoded.
"""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from typing import Any, Protocol, TypeVar

import msgspec
from starlette.websockets import WebSocket, WebSocketDisconnect

from readings import ServiceError
from stream.messages import COMMANDS, Answer, Live, SessionView
from ui.live.outbox import Outbox, Parcel
from ui.live.wording import show_live, show_state

TOPICS = ("reading", "state", "saved", "signal", "bench", "health", "calibration")
"""Pictures are asked for only while a page is open: nobody looks, and none are made."""
SILENCE_S = 2.5
"""The service says how it is once a second: after this long without a word it is away."""
RETRY_S = 0.4
FRESH_S = 2.0
"""A reading older than this no longer counts as arriving."""
LONGEST_TEXT = 64_000
LEAST_COMMAND_S = 8.0

_log = logging.getLogger("sparehand.dashboard")
T = TypeVar("T")


class ServiceLink(Protocol):
    """What the bridge needs of a client of the service."""

    def subscribe(self, *topics: str) -> AsyncIterator[tuple[str, Any, bytes | None]]:
        """Yield (topic, body, payload) for ever."""

    async def command(self, name: str, **args: Any) -> Answer:  # noqa: ANN401 - JSON is any
        """Send a command and return its answer."""

    def close(self) -> None:
        """Let go of the sockets."""


class LiveBridge:
    """One for a dashboard; everything but `command_now` belongs to the event loop.

    Parameters
    ----------
    connect
        Makes a link to the service; raises ServiceError where none runs.
    clock
        Monotonic seconds.
    """

    def __init__(self, connect: Callable[[], ServiceLink], clock: Callable[[], float]) -> None:
        self._connect = connect
        self._clock = clock
        self._link: ServiceLink | None = None
        self._here = False
        self._looking: asyncio.Task[None] | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._pages: set[Outbox] = set()
        self._kept: dict[str, Parcel] = {}
        self._view = SessionView(revision=0)
        self._seen: tuple[float, int] | None = None
        self._reading_at_s: float | None = None

    @property
    def view(self) -> SessionView:
        """The newest state of the session; may be read from any thread."""
        return self._view

    @property
    def linked(self) -> bool:
        """Whether the service is heard."""
        return self._here

    def reading_age_s(self) -> float | None:
        """Return how long ago the last reading arrived (s), None where none ever did."""
        return None if self._reading_at_s is None else self._clock() - self._reading_at_s

    # the service's side

    async def run(self) -> None:
        """Follow the service until cancelled."""
        self._loop = asyncio.get_running_loop()
        try:
            while True:
                with suppress(ServiceError, TimeoutError, StopAsyncIteration, OSError):
                    await self._follow(self._connect())
                await asyncio.sleep(RETRY_S)
        finally:
            self._stop_looking()

    async def _follow(self, link: ServiceLink) -> None:
        self._link, self._seen = link, None
        try:
            words = aiter(link.subscribe(*TOPICS))
            while True:
                topic, body, payload = await asyncio.wait_for(anext(words), SILENCE_S)
                self._hear(topic, body, payload)
                self._tell_linked(here=True)
        finally:
            self._link = None
            self._tell_linked(here=False)
            link.close()

    async def _look(self) -> None:
        """Follow the pictures until cancelled."""
        while True:
            with suppress(ServiceError, TimeoutError, StopAsyncIteration, OSError):
                link = self._connect()
                try:
                    async for topic, body, payload in link.subscribe("preview"):
                        self._hear(topic, body, payload)
                finally:
                    link.close()
            await asyncio.sleep(RETRY_S)

    def _look_while_open(self) -> None:
        """Ask for pictures while there is a page to show them."""
        if self._pages and self._looking is None:
            self._looking = asyncio.create_task(self._look())
        elif not self._pages:
            self._stop_looking()

    def _stop_looking(self) -> None:
        if self._looking is not None:
            self._looking.cancel()
            self._looking = None
            self._kept.pop("preview", None)

    def _tell_linked(self, *, here: bool) -> None:
        self._here = here
        parcel = Parcel(_text("link", {"service": here}))
        if self._kept.get("link") != parcel:
            self._spread("link", parcel)

    def _hear(self, topic: str, body: Any, payload: bytes | None) -> None:  # noqa: ANN401
        if topic == "reading":
            self._hear_reading(_as(Live, body))
        elif topic == "state":
            self._view = _as(SessionView, body)
            self._spread("state", Parcel(_text("state", self._view, show_state(self._view))))
        elif topic == "preview":
            self._spread("preview", Parcel(_text("preview", body), payload or b""))
        else:
            self._spread(topic, Parcel(_text(topic, body)))

    def _hear_reading(self, live: Live) -> None:
        """Pass a reading on, and note when it came: one that was kept and resent is not new."""
        came = (live.t_s, live.index)
        if self._seen is not None and came != self._seen:
            self._reading_at_s = self._clock()
        self._seen = came
        self._spread("reading", Parcel(_text("reading", live, show_live(live, self._view))))

    def _spread(self, topic: str, parcel: Parcel) -> None:
        self._kept[topic] = parcel
        for page in self._pages:
            page.put(topic, parcel)

    # commands

    async def command(self, name: str, args: dict[str, Any]) -> Answer:
        """Send a command on to the service; what goes wrong comes back as an answer too."""
        if name not in COMMANDS:
            known = ", ".join(COMMANDS)
            return Answer(ok=False, said=f"There is no command {name!r}; there are {known}.")
        if self._link is None or not self._here:
            return Answer(ok=False, said="The service is away: nothing was done.")
        try:
            return await self._link.command(name, **args)
        except (ServiceError, TimeoutError) as error:
            return Answer(ok=False, said=str(error) or "The service did not answer in time.")

    def command_now(self, name: str, **args: Any) -> Answer:  # noqa: ANN401 - JSON is any
        """Send a command from another thread and wait for its answer."""
        if self._loop is None:
            return Answer(ok=False, said="The dashboard is still starting: try again.")
        waiting = asyncio.run_coroutine_threadsafe(self.command(name, args), self._loop)
        try:
            return waiting.result(LEAST_COMMAND_S)
        except TimeoutError:
            waiting.cancel()
            return Answer(ok=False, said="The service did not answer in time: look before again.")

    # the pages' side

    async def serve(self, websocket: WebSocket) -> None:
        """Serve one page until it leaves."""
        await websocket.accept()
        page = Outbox()
        self._pages.add(page)
        self._look_while_open()
        self._send_kept(page)
        tasks = [
            asyncio.create_task(self._listen(websocket, page)),
            asyncio.create_task(_send(websocket, page)),
        ]
        try:
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            self._pages.discard(page)
            self._look_while_open()
            await _stop(tasks)

    def _send_kept(self, page: Outbox) -> None:
        age_s = self.reading_age_s()
        fresh = self.linked and age_s is not None and age_s < FRESH_S
        for topic, parcel in self._kept.items():
            if topic != "signal" and (fresh or topic not in ("reading", "preview")):
                page.put(topic, parcel)

    async def _listen(self, websocket: WebSocket, page: Outbox) -> None:
        running: set[asyncio.Task[None]] = set()
        while True:
            message = await websocket.receive()
            if message["type"] == "websocket.disconnect":
                return
            said = _parse(message.get("text"))
            if said is None:
                page.put_answer(Parcel(_text("answer", Answer(ok=False, said=_NOT_A_COMMAND))))
            elif "seen" in said:
                page.picture_seen()
            else:
                task = asyncio.create_task(self._answer(said, page))
                running.add(task)
                task.add_done_callback(running.discard)

    async def _answer(self, said: dict[str, Any], page: Outbox) -> None:
        answer = await self.command(said["name"], said["args"])
        body = {"id": said.get("id"), "ok": answer.ok, "said": answer.said}
        page.put_answer(Parcel(_text("answer", body)))


_NOT_A_COMMAND = 'A command is a text like {"name": "next", "args": {}}; this was none.'


def _parse(text: str | None) -> dict[str, Any] | None:
    """Return what a page said, None where it is no command and no note of a picture seen."""
    if not text or len(text) > LONGEST_TEXT:
        return None
    try:
        said = msgspec.json.decode(text)
    except (msgspec.DecodeError, UnicodeError, RecursionError):
        return None
    if not isinstance(said, dict):
        return None
    if "seen" in said:
        return said
    good = isinstance(said.get("name"), str) and isinstance(said.get("args", {}), dict)
    return {"args": {}, **said} if good else None


def _as(kind: type[T], body: Any) -> T:  # noqa: ANN401 - JSON is any
    return body if isinstance(body, kind) else msgspec.convert(body, kind)


def _text(topic: str, body: Any, shown: Any = None) -> str:  # noqa: ANN401 - JSON is any
    message = {"topic": topic, "body": body}
    if shown is not None:
        message["shown"] = shown
    return msgspec.json.encode(message).decode()


async def _send(websocket: WebSocket, page: Outbox) -> None:
    with suppress(WebSocketDisconnect, RuntimeError, OSError):
        while True:
            parcel = await page.take()
            await websocket.send_text(parcel.text)
            if parcel.picture is not None:
                await websocket.send_bytes(parcel.picture)


async def _stop(tasks: list[asyncio.Task[None]]) -> None:
    for task in tasks:
        task.cancel()
    for result in await asyncio.gather(*tasks, return_exceptions=True):
        if isinstance(result, Exception):
            _log.warning("a page was dropped: %s", result)
