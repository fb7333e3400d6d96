"""One pure ASGI middleware: only pages that this dashboard served may talk to it.

A loopback address alone is no protection: any web page open in the same browser can
send requests to it, and a name of its own can be made to point at it. So the Host
header must name this machine and the dashboard's port, and an Origin, which browsers
send with every websocket, must be the dashboard's own. Streamlit's own routes and
websocket pass through here like ours.
"""

from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
AsgiApp = Callable[[Scope, Receive, Send], Awaitable[None]]

LOOPBACK_NAMES = ("127.0.0.1", "localhost", "[::1]")

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
    """

    def __init__(self, app: AsgiApp, port: int, names: Iterable[str] = LOOPBACK_NAMES) -> None:
        self._app = app
        self._hosts = frozenset(f"{name}:{port}" for name in names)
        self._origins = frozenset(f"http://{host}" for host in self._hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the scope on, or refuse it."""
        kind = scope["type"]
        if kind not in ("http", "websocket") or self._own(scope):
            await self._app(scope, receive, send)
        elif kind == "http":
            await _refuse_http(send)
        else:
            await _refuse_websocket(receive, send)

    def _own(self, scope: Scope) -> bool:
        hosts = _values(scope, b"host")
        origins = _values(scope, b"origin")
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return False
        return all(origin.lower() in self._origins for origin in origins)


def _values(scope: Scope, name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in scope["headers"] if key.lower() == name]


async def _refuse_http(send: Send) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8")]
    await send({"type": "http.response.start", "status": 403, "headers": headers})
    await send({"type": "http.response.body", "body": _REFUSED.encode()})


async def _refuse_websocket(receive: Receive, send: Send) -> None:
    await receive()
    await send({"type": "websocket.close", "code": 1008, "reason": "foreign page"})
