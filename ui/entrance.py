"""The entrance of a dashboard on a network: nothing without the passphrase.

Pure ASGI, before every http and websocket route, Streamlit's own among them. Who gave the
passphrase has a cookie that scripts cannot read and other sites do not send; the server keeps
only its hash, and forgets it after `STAYS_S`.
"""

import asyncio
import hashlib
import secrets
from collections import OrderedDict
from collections.abc import Callable
from math import ceil
from urllib.parse import parse_qs

from ui.middleware import AsgiApp, Receive, Scope, Send, header_values, refuse_websocket
from ui.passphrase import HoldOff, Passphrase

COOKIE = "sparehand"
STAYS_S = 12 * 3600.0
MOST_INSIDE = 200
LARGEST_FORM = 2048
MOST_WAITING = 3
LOGIN = "/login"


class Inside:
    """Who is inside: hashes of the cookies given out, and until when."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._until_s: OrderedDict[bytes, float] = OrderedDict()

    def admit(self) -> str:
        """Return a new cookie's value."""
        token = secrets.token_urlsafe(32)
        self._until_s[_hashed(token)] = self._clock() + STAYS_S
        while len(self._until_s) > MOST_INSIDE:
            self._until_s.popitem(last=False)
        return token

    def knows(self, token: str) -> bool:
        """Whether a cookie's value was given out and still holds."""
        until_s = self._until_s.get(_hashed(token))
        return until_s is not None and self._clock() < until_s


def _hashed(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).digest()


class Entrance:
    """Let nobody pass who has not given the passphrase.

    Parameters
    ----------
    app
        The ASGI application behind.
    encrypted
        Whether the dashboard has a certificate: the cookie is then sent over https alone.
    """

    def __init__(
        self, app: AsgiApp, passphrase: Passphrase, clock: Callable[[], float], *, encrypted: bool
    ) -> None:
        self._app = app
        self._passphrase = passphrase
        self._encrypted = encrypted
        self._hold_off = HoldOff(clock)
        self._inside = Inside(clock)
        self._turn = asyncio.Lock()
        self._waiting = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the scope on, ask for the passphrase, or refuse."""
        kind = scope["type"]
        if kind not in ("http", "websocket") or self._known(scope):
            await self._app(scope, receive, send)
        elif kind == "websocket":
            await refuse_websocket(receive, send, "passphrase wanted")
        elif scope["path"] == LOGIN and scope["method"] == "POST":
            await self._enter(scope, receive, send)
        else:
            await _page(send, 401, "")

    def _known(self, scope: Scope) -> bool:
        for line in header_values(scope, b"cookie"):
            for part in line.split(";"):
                name, _, value = part.strip().partition("=")
                if name == COOKIE and len(value) < 100 and self._inside.knows(value):
                    return True
        return False

    async def _enter(self, scope: Scope, receive: Receive, send: Send) -> None:
        address = scope["client"][0] if scope.get("client") else ""
        wait_s = self._hold_off.wait_s(address)
        if wait_s > 0 or self._waiting >= MOST_WAITING:
            said = f"Too many tries: wait {max(1, ceil(wait_s))} s and try again."
            await _page(send, 429, said, [(b"retry-after", b"%d" % max(1, ceil(wait_s)))])
            return
        given = _passphrase_in(await _body(receive))
        if given is None or not await self._fits(given):
            await _page(send, 403, "That is not the passphrase.")
            return
        self._hold_off.came_in(address)
        await self._let_in(send)

    async def _fits(self, given: str) -> bool:
        self._waiting += 1
        try:
            async with self._turn:
                return await asyncio.to_thread(self._passphrase.fits, given)
        finally:
            self._waiting -= 1

    async def _let_in(self, send: Send) -> None:
        secure = "; Secure" if self._encrypted else ""
        cookie = (
            f"{COOKIE}={self._inside.admit()}; Path=/; HttpOnly; SameSite=Strict; "
            f"Max-Age={STAYS_S:.0f}{secure}"
        )
        headers = [(b"location", b"/"), (b"set-cookie", cookie.encode())]
        await send({"type": "http.response.start", "status": 303, "headers": headers})
        await send({"type": "http.response.body", "body": b""})


async def _body(receive: Receive) -> bytes | None:
    """Return a request's body; None where it is larger than a passphrase can be."""
    content = b""
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return None
        content += bytes(message.get("body", b""))
        if len(content) > LARGEST_FORM:
            return None
        if not message.get("more_body", False):
            return content


def _passphrase_in(content: bytes | None) -> str | None:
    if content is None:
        return None
    try:
        fields = parse_qs(content.decode("ascii"), max_num_fields=4, strict_parsing=True)
    except (UnicodeDecodeError, ValueError):
        return None
    given = fields.get("passphrase", [])
    return given[0] if len(given) == 1 else None


_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Sparehand</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
body {{ font: 24px/1.5 sans-serif; margin: 12vh auto; max-width: 30em; padding: 0 1em;
  color: #1b1f23; background: #f6f5f1; }}
input, button {{ font: inherit; padding: .6em .8em; box-sizing: border-box; width: 100%;
  min-height: 72px; margin: .3em 0; border: 3px solid #1b1f23; border-radius: 8px; }}
button {{ background: #1b1f23; color: #fff; }}
p.said {{ min-height: 1.5em; font-weight: 700; }}
</style></head><body>
<h1>Sparehand</h1>
<form method="post" action="/login">
<label for="passphrase">Passphrase of this dashboard</label>
<input id="passphrase" name="passphrase" type="password" autocomplete="current-password"
  autofocus required maxlength="200">
<button type="submit">Open the dashboard</button>
</form>
<p class="said" role="status">{said}</p>
</body></html>
"""


async def _page(
    send: Send, status: int, said: str, more: list[tuple[bytes, bytes]] | None = None
) -> None:
    headers = [
        (b"content-type", b"text/html; charset=utf-8"),
        (b"cache-control", b"no-store"),
        (b"content-security-policy", b"default-src 'none'; style-src 'unsafe-inline'"),
        (b"x-frame-options", b"DENY"),
        *(more or []),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": _PAGE.format(said=said).encode()})
