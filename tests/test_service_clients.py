"""Dashboards that come and go, two at once, and a client that does not listen."""

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
import zmq
from stream_paper import BEGIN
from stream_process import running, wait_until
from websockets.sync.client import connect

from stream.card import read_card
from stream.client import Client

CHILD = """
import sys
from pathlib import Path
from ui.dashboard_process import run_dashboard
sys.exit(run_dashboard(Path(sys.argv[1]), 0, parent_pipe=True))
"""


class Dashboard:
    """A dashboard process over the service of a home."""

    def __init__(self, home):
        self.child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(home)],
            stdin=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.port = 0

    def line(self):
        """A page's websocket."""
        if not self.port:
            self.port = int(self.child.stderr.readline().rstrip("/\n").rsplit(":", 1)[1])
        return wait_until(self._connected, 40.0)

    def _connected(self):
        try:
            return connect(f"ws://127.0.0.1:{self.port}/live", close_timeout=0.2)
        except OSError:
            return None

    def end(self):
        self.child.kill()
        self.child.wait(10)
        for pipe in (self.child.stdin, self.child.stderr):
            pipe.close()


def state_where(line, holds, within_s=10.0):
    """The first state that a page gets for which `holds`."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        said = line.recv(timeout=within_s)
        if isinstance(said, str):
            message = json.loads(said)
            if message["topic"] == "state" and holds(message["body"]):
                return message["body"]
    raise AssertionError("no such state came")


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    home = tmp_path_factory.mktemp("clients")
    with running(home), Client(home) as client:
        assert client.command("begin", **BEGIN).ok
        yield home


def test_two_dashboards_see_the_same_and_one_that_went_away_sees_it_again(home):
    boards = [Dashboard(home), Dashboard(home)]
    try:
        lines = [board.line() for board in boards]
        first = [state_where(line, lambda body: body["guide"]) for line in lines]
        assert first[0] == first[1]
        lines[0].send(json.dumps({"name": "next", "args": {}, "id": 1}))
        after = [state_where(line, lambda b: b["step"] != first[0]["step"]) for line in lines]
        assert after[0] == after[1]
        boards[0].end()  # killed; the setup, the service and the other go on
        lines[1].send(json.dumps({"name": "abandon", "args": {}, "id": 2}))
        gone = state_where(lines[1], lambda body: body["guide"] is None)
        boards[0] = Dashboard(home)
        with boards[0].line() as line:
            assert state_where(line, lambda body: True) == gone
        lines[1].close()
    finally:
        for board in boards:
            board.end()


def resident_mb(pid):
    status = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1000 for line in status if line.startswith("VmRSS"))


def test_a_client_that_does_not_listen_holds_nobody_up(home):
    context = zmq.Context()
    deaf = context.socket(zmq.SUB)
    deaf.setsockopt(zmq.RCVHWM, 1)
    deaf.setsockopt(zmq.RCVBUF, 4096)
    deaf.setsockopt(zmq.SUBSCRIBE, b"")
    card = read_card(home)
    deaf.connect(card.publications)
    try:
        with Client(home) as client:
            watch = client.subscribe("reading")
            wait_until(lambda: watch.poll(0.1))
            before, numbers, began_s = resident_mb(card.pid), [], time.monotonic()
            while time.monotonic() - began_s < 4.0:
                one = watch.poll(1.0)
                numbers.append(one.body["index"])
            assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
            assert len(numbers) > 120
            assert resident_mb(card.pid) - before < 20.0
    finally:
        context.destroy(0)
