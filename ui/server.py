"""The dashboard's web server: Streamlit's pages and our own routes in one uvicorn."""

import asyncio
import os
import re
import socket
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

import uvicorn
from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from streamlit import config as streamlit_config
from streamlit.runtime.pages_manager import PagesManager
from streamlit.starlette import App

from readings import BadInputError
from records.photos import photo_path
from stream.guard import LOOPBACK
from ui.access import ON_LOOPBACK, Access
from ui.entrance import Entrance
from ui.live_bridge import FRESH_S, LiveBridge
from ui.middleware import LOOPBACK_NAMES, AsgiApp, OwnPagesOnly
from ui.theme import THEME_OPTIONS

SCRIPT = Path(__file__).parent / "app.py"
GRACEFUL_S = 1
CANCEL_AGAIN_S = 0.3
MOST_CONNECTIONS = 200
LARGEST_MESSAGE = 4 * 1024 * 1024

_SHA256 = re.compile(r"[0-9a-f]{64}")

STREAMLIT_OPTIONS: dict[str, Any] = {
    "browser.gatherUsageStats": False,
    "client.allowedOrigins": [],
    "client.showErrorDetails": "none",
    "client.toolbarMode": "minimal",
    "global.developmentMode": False,
    "logger.level": "error",
    "runner.magicEnabled": False,
    "server.address": LOOPBACK,
    "server.enableAgentApi": False,
    "server.fileWatcherType": "none",
    "server.headless": True,
    "server.runOnSave": False,
    "server.showEmailPrompt": False,
    **THEME_OPTIONS,
}


@dataclass(frozen=True, slots=True)
class Dashboard:
    """What the pages' scripts need: where the book is, and the bridge to the service."""

    home: Path
    bridge: LiveBridge


_RUNNING: list[Dashboard] = []


def dashboard() -> Dashboard:
    """Return the dashboard of this process, for the pages' scripts that Streamlit runs."""
    if not _RUNNING:
        msg = "the pages are served by the dashboard; start it with: sparehand demo"
        raise BadInputError(msg)
    return _RUNNING[-1]


def routes(it: Dashboard) -> list[Route | WebSocketRoute]:
    """Return our own routes."""

    async def ready(request: Request) -> Response:
        age_s = it.bridge.reading_age_s()
        if age_s is not None and age_s <= FRESH_S:
            return PlainTextResponse(f"A reading arrived {age_s:.1f} s ago.\n")
        return PlainTextResponse(_no_reading(it.bridge, age_s), status_code=503)

    async def photo(request: Request) -> Response:
        sha256 = request.path_params["sha256"]
        if not _SHA256.fullmatch(sha256):
            return PlainTextResponse("A photo is named by 64 hex digits.\n", status_code=404)
        path = photo_path(it.home, sha256)
        if not path.is_file():
            return PlainTextResponse("The book holds no such photo.\n", status_code=404)
        return FileResponse(path, media_type="image/jpeg", headers=_KEEP)

    return [
        Route("/ready", ready),
        Route("/photo/{sha256}", photo),
        WebSocketRoute("/live", it.bridge.serve),
    ]


_KEEP = {"cache-control": "private, max-age=31536000, immutable"}


def _no_reading(bridge: LiveBridge, age_s: float | None) -> str:
    if not bridge.linked:
        return "Not yet: the service is away.\n"
    if age_s is None:
        return "Not yet: no reading has arrived so far.\n"
    return f"Not now: the last reading arrived {age_s:.1f} s ago.\n"


async def _ended(task: asyncio.Task[None]) -> None:
    """Cancel a task until it has ended.

    A cancellation that comes just as something awaited is done can be taken for its result
    (`asyncio.wait_for` until Python 3.12): once is not enough.
    """
    while not task.done():
        task.cancel()
        await asyncio.wait([task], timeout=CANCEL_AGAIN_S)


def web_app(
    it: Dashboard,
    port: int,
    access: Access = ON_LOOPBACK,
    clock: Callable[[], float] = time.monotonic,
) -> AsgiApp:
    """Return the whole ASGI application, guarded; the bridge runs as long as it does."""

    @asynccontextmanager
    async def follow(_app: App) -> AsyncIterator[None]:
        _RUNNING.append(it)
        running = asyncio.create_task(it.bridge.run())
        try:
            yield
        finally:
            await _ended(running)
            _RUNNING.remove(it)

    for name, value in {**STREAMLIT_OPTIONS, "server.port": port}.items():
        streamlit_config.set_option(name, value)
    # the folder `pages` is ours, not Streamlit's: without a word it takes the first visit to a
    # page of `st.navigation` for one to a page that it does not know
    PagesManager.uses_pages_directory = False
    app: AsgiApp = App(SCRIPT, routes=routes(it), lifespan=follow)
    if access.passphrase is None:
        return OwnPagesOnly(app, port, scheme=access.scheme)
    inner = Entrance(app, access.passphrase, clock, encrypted=access.scheme == "https")
    name = socket.gethostname()
    names = (*LOOPBACK_NAMES, name, f"{name}.local")
    return OwnPagesOnly(inner, port, names, by_address=True, scheme=access.scheme)


class Server(uvicorn.Server):
    """Uvicorn's server, ending with exit 0 on INT and TERM."""

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Ask for an orderly end; a second time, do not wait for the pages."""
        self.force_exit = self.should_exit
        self.end()

    def end(self) -> None:
        """Ask for an orderly end, from any thread."""
        self.should_exit = True


def bind(port: int, host: str = LOOPBACK) -> socket.socket:
    """Return a listening socket; port 0 lets the system choose.

    Raises
    ------
    BadInputError
        If the port cannot be had, or the address is not this computer's.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # named TCP: asyncio then sends small messages at once, not with the next acknowledgement
    sock = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "posix":  # elsewhere it would take a port that another program holds
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind((host, port))
        sock.listen(128)
    except (OSError, OverflowError) as error:
        sock.close()
        where = "" if host == LOOPBACK else f"{host}, "
        msg = (
            f"{where}port {port} cannot be used ({getattr(error, 'strerror', None) or error}); "
            "name another with --port, or --port 0 to let the system choose"
        )
        raise BadInputError(msg) from error
    return sock


def make_server(
    home: Path,
    port: int,
    connect: Callable[[], Any],
    clock: Callable[[], float] = time.monotonic,
    access: Access = ON_LOOPBACK,
) -> Server:
    """Return the server for `port`, ready to `run(sockets=[...])`."""
    it = Dashboard(home, LiveBridge(connect, clock))
    config = uvicorn.Config(
        web_app(it, port, access, clock),
        host=access.host,
        ssl_certfile=access.certificate,
        ssl_keyfile=access.private_key,
        port=port,
        ws="websockets-sansio",
        ws_max_size=LARGEST_MESSAGE,
        ws_per_message_deflate=False,
        lifespan="on",
        limit_concurrency=MOST_CONNECTIONS,
        access_log=False,
        log_config=None,
        log_level="critical",
        timeout_graceful_shutdown=GRACEFUL_S,
    )
    return Server(config)
