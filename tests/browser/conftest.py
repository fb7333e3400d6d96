"""The real service on a quick bench, the real dashboard, a real Chromium."""

import os
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
QUICK_SERVICE = """
import sys
from dataclasses import replace
from pathlib import Path
import ui.service_process as service
from ui.home import Home

demo_spec = service.bench_spec
service.bench_spec = lambda seed: replace(demo_spec(seed), turn_s=7.0, wheel_mm_s=3.0)
home = Home(Path(sys.argv[1])).ensure()
sys.exit(service.run_service(lambda: service.bench_service(home, None), parent_pipe=True))
"""
DASHBOARD = """
import sys
from pathlib import Path
from ui.dashboard_process import run_dashboard
sys.exit(run_dashboard(Path(sys.argv[1]), 0, parent_pipe=True))
"""


FAST_SERVICE = """
import sys, time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from types import SimpleNamespace
import ui.service_process as service
from ui.home import Home

TIMES = 3.0
demo_spec = service.bench_spec
fast = lambda: TIMES * time.monotonic()
service.time = SimpleNamespace(monotonic=fast, sleep=lambda s: time.sleep(s / TIMES))
service.bench_spec = lambda seed: replace(demo_spec(None), turn_s=9.0, wheel_mm_s=3.0)
service.BenchSource = partial(service.BenchSource, fps=7.0)
began, began_s = datetime.now(UTC), fast()
now = lambda: began + timedelta(seconds=fast() - began_s)
service.Service = partial(service.Service, clock=fast, now=now)
home = Home(Path(sys.argv[1])).ensure()
sys.exit(service.run_service(lambda: service.bench_service(home, 52), parent_pipe=True))
"""
"""Bench and service three times faster than the wall's clock, seven pictures a bench second."""


class Demo:
    """Service and dashboard as two processes; the service can be killed and started again."""

    def __init__(self, home, script=QUICK_SERVICE):
        self.home, self.script = home, script
        self.service = self.start_service()
        self.dashboard = self._start(DASHBOARD, stderr=subprocess.PIPE)
        self.address = self.dashboard.stderr.readline().split()[-1]

    def _start(self, script, **pipes):
        command = [sys.executable, "-c", script, str(self.home)]
        return subprocess.Popen(command, stdin=subprocess.PIPE, text=True, **pipes)

    def start_service(self):
        self.service = self._start(self.script)
        return self.service

    def kill_service(self):
        self.service.kill()
        self.service.wait(10)
        self.service.stdin.close()

    def wait_until_ready(self, most_s=90.0):
        until = time.monotonic() + most_s
        while time.monotonic() < until:
            try:
                if httpx.get(f"{self.address}ready", timeout=2).status_code == 200:
                    return
            except httpx.TransportError:
                pass
            time.sleep(0.2)
        raise AssertionError("the demo did not get ready")

    def end(self):
        for child in (self.dashboard, self.service):
            child.stdin.close()
        codes = [child.wait(20) for child in (self.dashboard, self.service)]
        self.dashboard.stderr.close()
        return codes


@contextmanager
def running_demo(home, script=QUICK_SERVICE):
    """A demo until the block ends; both processes must end in order."""
    running = Demo(home, script)
    try:
        running.wait_until_ready()
        yield running
    finally:
        codes = running.end()
    assert codes == [0, 0]


@pytest.fixture
def demo(tmp_path):
    with running_demo(tmp_path) as running:
        yield running


@pytest.fixture(scope="module")
def fast_demo(tmp_path_factory):
    """One demo for all tests of a module, quicker than life."""
    with running_demo(tmp_path_factory.mktemp("demo"), FAST_SERVICE) as running:
        yield running


@pytest.fixture(scope="module")
def chromium():
    if not CHROMIUM.exists():
        if os.environ.get("CI") == "true":
            pytest.fail(f"{CHROMIUM} is missing, and CI=true demands it")
        pytest.skip(f"{CHROMIUM} is missing")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def pictures(request):
    """Where screenshots go, for people to look at."""
    folder = request.config.rootpath / "test-output"
    folder.mkdir(exist_ok=True)
    return folder
