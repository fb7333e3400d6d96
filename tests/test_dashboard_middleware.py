"""Only the dashboard's own pages get through, for http and websocket, whatever lies behind."""

import asyncio

import pytest

from ui.middleware import OwnPagesOnly

PORT = 8620


def ask(kind, *headers):
    """Send one scope through the guard; return what came back and whether the app was reached."""
    reached, sent = [], []

    async def app(scope, receive, send):
        reached.append(scope["type"])

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    raw = [(name.encode(), value.encode()) for name, value in headers]
    asyncio.run(OwnPagesOnly(app, PORT)({"type": kind, "headers": raw}, receive, send))
    return sent, bool(reached)


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize("host", ["127.0.0.1:8620", "localhost:8620", "LOCALHOST:8620"])
def test_own_host_passes(kind, host):
    assert ask(kind, ("host", host))[1]
    assert ask(kind, ("host", host), ("origin", "http://localhost:8620"))[1]


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize(
    "headers",
    [
        [],
        [("host", "evil.example:8620")],
        [("host", "127.0.0.1")],
        [("host", "127.0.0.1:8621")],
        [("host", "127.0.0.1:8620.evil.example")],
        [("host", "127.0.0.1:8620"), ("host", "evil.example")],
        [("host", "127.0.0.1:8620"), ("origin", "http://evil.example")],
        [("host", "127.0.0.1:8620"), ("origin", "http://127.0.0.1:8621")],
        [("host", "127.0.0.1:8620"), ("origin", "https://127.0.0.1:8620")],
        [("host", "127.0.0.1:8620"), ("origin", "null")],
        [("host", "127.0.0.1:8620"), ("origin", "http://localhost:8620"), ("origin", "null")],
    ],
)
def test_foreign_pages_are_refused(kind, headers):
    sent, reached = ask(kind, *headers)
    assert not reached
    if kind == "http":
        assert sent[0]["status"] == 403
        assert b"its own page" in sent[1]["body"]
    else:
        assert [m["type"] for m in sent] == ["websocket.close"]


def test_the_lifespan_passes():
    assert ask("lifespan")[1]
