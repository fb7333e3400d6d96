"""One pure ASGI middleware: only pages that this dashboard served may talk to it.

A loopback address alone is no protection: any web page open in the same browser can
send requests to it, and a name of its own can be made to point at it. So the Host
header must name this machine and the dashboard's port, and an Origin, which browsers
send with every websocket, must be the dashboard's own. Streamlit's own routes and
websocket pass through here like ours. On a network the address that a connection was
made to is such a name as well (a foreign name that points here is not), and the passphrase
is asked for behind (`ui.entrance`). Bodies larger than anything we ask for are cut off.
"""

from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
AsgiApp = Callable[[Scope, Receive, Send], Awaitable[None]]

LOOPBACK_NAMES = ("127.0.0.1", "localhost", "[::1]")
LARGEST_BODY = 64 * 1024 * 1024
"""A photo or an archive that a page takes in; everything else is far smaller."""

_REFUSED = (
    "This dashboard answers only to its own page on this machine: open the address it "
    "printed when it started.\n"
)


class OwnPagesOnly:
    """Refuse every http and websocket scope with a foreign Host or Origin.

    Parameters
    ----------
    app
        The ASGI application behind.
    port
        The port the dashboard listens on.
    names
        Host names under which it may be addressed.
    by_address
        Whether the address that a connection was made to is a name as well.
    scheme
        "http" or "https".
    """

    def __init__(
        self,
        app: AsgiApp,
        port: int,
        names: Iterable[str] = LOOPBACK_NAMES,
        *,
        by_address: bool = False,
        scheme: str = "http",
    ) -> None:
        self._app = app
        self._port, self._scheme, self._by_address = port, scheme, by_address
        self._hosts = frozenset(f"{name.lower()}:{port}" for name in names)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the scope on, or refuse it."""
        kind = scope["type"]
        if kind not in ("http", "websocket"):
            await self._app(scope, receive, send)
        elif kind == "websocket":
            if self._own(scope):
                await self._app(scope, receive, send)
            else:
                await refuse_websocket(receive, send, "foreign page")
        elif not self._own(scope):
            await _refuse_http(send)
        else:
            await self._app(scope, _bounded(receive), send)

    def _own(self, scope: Scope) -> bool:
        own = self._hosts | self._address(scope)
        hosts, origins = header_values(scope, b"host"), header_values(scope, b"origin")
        if len(hosts) != 1 or hosts[0].lower() not in own:
            return False
        pages = {f"{self._scheme}://{host}" for host in own}
        return all(origin.lower() in pages for origin in origins)

    def _address(self, scope: Scope) -> frozenset[str]:
        """Return the address of our end of the connection, as a browser names it."""
        server = scope.get("server") if self._by_address else None
        if not server:
            return frozenset()
        address = str(server[0]).removeprefix("::ffff:")
        return frozenset(
            {f"[{address}]:{self._port}" if ":" in address else f"{address}:{self._port}"}
        )


def header_values(scope: Scope, name: bytes) -> list[str]:
    """Return every value of a header."""
    return [value.decode("latin-1") for key, value in scope["headers"] if key.lower() == name]


def _bounded(receive: Receive) -> Receive:
    """Return a `receive` that ends a request whose body is too large."""
    taken = 0

    async def bounded() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        return {"type": "http.disconnect"} if taken > LARGEST_BODY else message

    return bounded


async def _refuse_http(send: Send) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8")]
    await send({"type": "http.response.start", "status": 403, "headers": headers})
    await send({"type": "http.response.body", "body": _REFUSED.encode()})


async def refuse_websocket(receive: Receive, send: Send, reason: str) -> None:
    """Close a websocket before it is opened."""
    await receive()
    await send({"type": "websocket.close", "code": 1008, "reason": reason})
