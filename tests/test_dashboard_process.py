"""The dashboard as it runs: its own process, real sockets, a stand-in for the service."""

import json
import signal
import socket
import subprocess
import sys
import time

import httpx
import pytest
from dashboard_stand_in import JPEG, StandIn
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from readings import BadInputError
from stream.messages import SessionView
from ui.live.outbox import MOST_PICTURES_UNDER_WAY
from ui.server import bind

CHILD = """
import sys
from pathlib import Path
from ui.dashboard_process import run_dashboard
sys.exit(run_dashboard(Path(sys.argv[1]), 0, parent_pipe=True))
"""
START_S = 40.0
SOON_S = 10.0


class Process:
    def __init__(self, home):
        self.child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(home)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.address = self.child.stderr.readline().split()[-1]
        self.port = int(self.address.rsplit(":", 1)[1].strip("/"))

    def get(self, path, **headers):
        return httpx.get(self.address.rstrip("/") + path, headers=headers, timeout=SOON_S)

    def wait_until_up(self):
        until = time.monotonic() + START_S
        while time.monotonic() < until:
            try:
                return self.get("/ready")
            except httpx.TransportError:
                time.sleep(0.1)
        raise AssertionError(self.child.stderr.read())

    def line(self, **headers):
        return connect(
            f"ws://127.0.0.1:{self.port}/live",
            additional_headers=headers,
            open_timeout=SOON_S,
            close_timeout=1,
        )

    def end(self):
        self.child.stdin.close()
        code = self.child.wait(SOON_S)
        self.child.stdout.close()
        self.child.stderr.close()
        return code


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    return tmp_path_factory.mktemp("dashboard")


@pytest.fixture(scope="module")
def up(home):
    process = Process(home)
    try:
        first = process.wait_until_up()
        assert (first.status_code, first.text) == (503, "Not yet: the service is away.\n")
        yield process
    finally:
        process.end()


@pytest.fixture(scope="module")
def service(up, home):
    with StandIn(home) as running:
        yield running


def wait_for(true, what, most_s=SOON_S):
    until = time.monotonic() + most_s
    while time.monotonic() < until:
        if true():
            return
        time.sleep(0.05)
    raise AssertionError(f"not in {most_s} s: {what}")


def hear(line, topic):
    """Return the next message of a topic, JPEGs being of topic picture."""
    until = time.monotonic() + SOON_S
    while time.monotonic() < until:
        said = line.recv(timeout=SOON_S)
        if isinstance(said, bytes):
            if topic == "picture":
                return said
            continue
        message = json.loads(said)
        if message["topic"] == topic:
            return message
    raise AssertionError(f"nothing of {topic}")


def test_ready_only_while_readings_arrive(up, service):
    wait_for(lambda: up.get("/ready").status_code == 200, "ready")
    service.talking = False
    wait_for(lambda: up.get("/ready").status_code == 503, "not ready any more")
    assert "last reading arrived" in up.get("/ready").text
    service.talking = True
    wait_for(lambda: up.get("/ready").status_code == 200, "ready again")


def test_a_page_gets_state_readings_and_pictures_and_commands_go_through(up, service):
    service.view = SessionView(3, title="Centre")
    with up.line() as line:
        wait_for(lambda: hear(line, "state")["body"]["title"] == "Centre", "the state")
        reading = hear(line, "reading")
        assert reading["shown"]["value"] == "+0.100"
        assert hear(line, "preview")["body"]["picture_width"] == 16
        assert hear(line, "picture") == JPEG
        line.send(json.dumps({"name": "touch", "args": {"line": "neutral"}, "id": 7}))
        assert hear(line, "answer")["body"] == {"id": 7, "ok": True, "said": "did touch"}
        assert [(c.name, c.args) for c in service.commands] == [("touch", {"line": "neutral"})]


def test_pictures_are_never_queued_for_a_page_that_does_not_draw_them(up, service):
    with up.line() as line:
        shown = [hear(line, "preview")["body"]["index"] for _ in range(MOST_PICTURES_UNDER_WAY)]
        time.sleep(0.5)
        line.send(json.dumps({"seen": shown[0]}))
        assert hear(line, "preview")["body"]["index"] > shown[-1] + 10


@pytest.mark.parametrize(
    "said", ["", "{", "[1]", '"next"', '{"name": 3}', '{"name": "next", "args": 3}', "x" * 70_000]
)
def test_nonsense_from_a_page_is_answered_with_a_sentence(up, service, said):
    before = list(service.commands)
    with up.line() as line:
        line.send(said)
        answer = hear(line, "answer")["body"]
        assert not answer["ok"]
        assert "A command is a text like" in answer["said"]
    assert service.commands == before


def test_a_service_started_again_elsewhere_is_found(up, service, home):
    with up.line() as line:
        assert hear(line, "link")["body"]["service"]
        service.close()
        wait_for(lambda: not hear(line, "link")["body"]["service"], "the service away")
        with StandIn(home, SessionView(1, title="second")):
            wait_for(lambda: hear(line, "state")["body"]["title"] == "second", "the second")


FOREIGN = [{"Host": "evil.example"}, {"Origin": "http://evil.example"}]


@pytest.mark.parametrize("path", ["/", "/ready", "/_stcore/health", "/photo/" + "0" * 64])
@pytest.mark.parametrize("headers", FOREIGN)
def test_foreign_pages_get_nothing(up, path, headers):
    assert up.get(path, **headers).status_code == 403


@pytest.mark.parametrize("path", ["/live", "/_stcore/stream"])
def test_foreign_pages_get_no_websocket(up, path):
    with pytest.raises(InvalidStatus) as refused:
        connect(f"ws://127.0.0.1:{up.port}{path}", origin="http://evil.example")
    assert refused.value.response.status_code == 403


def test_only_photos_of_the_book_are_served(up, home):
    sha256 = "ab" * 32
    (home / "photos").mkdir(exist_ok=True)
    (home / "photos" / f"{sha256}.jpg").write_bytes(JPEG)
    (home / "secret.jpg").write_bytes(b"no one's")
    good = up.get(f"/photo/{sha256}")
    assert (good.status_code, good.content) == (200, JPEG)
    assert good.headers["content-type"] == "image/jpeg"
    for name in ("..%2Fsecret", "%2e%2e%2fsecret.jpg", sha256.upper(), "ab" * 31, "cd" * 32):
        assert up.get(f"/photo/{name}").status_code in (400, 404)


@pytest.mark.parametrize("how", [signal.SIGTERM, None])
def test_it_ends_orderly_when_told_and_with_its_parent(tmp_path, how):
    process = Process(tmp_path)
    process.wait_until_up()
    with process.line():
        if how is not None:
            process.child.send_signal(how)
            code = process.child.wait(SOON_S)
            process.end()
        else:
            code = process.end()
    assert code == 0


def test_a_taken_port_is_told_in_a_sentence():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(BadInputError, match=f"port {port} cannot be used"):
            bind(port)
    with pytest.raises(BadInputError, match="port 70000 cannot be used"):
        bind(70000)
