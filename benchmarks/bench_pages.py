"""The dashboard in a real Chromium: how soon a page can be used, how live it is, what it keeps.

Run as ``python benchmarks/bench_pages.py [--quick]``. The demo's service and dashboard run as
processes of their own; beside them an empty Streamlit page (one line of text) is served in the
same way and opened in turn with ours, each in a fresh browser context: 5 pairs (quick 3). "Usable"
is a reading and a picture on the page and a button that can be pressed; for the empty page it is
its line of text. Numbers and pictures are counted on the page itself (pictures as drawn on the
canvas) for 20 s (quick 8 s) while the virtual spindle turns. Memory is that of browser, service
and dashboard, sampled once a second for 15 minutes (quick 15 s): how much it grew after the first
3 minutes (a fifth), by the slope of a straight line; quick runs are too short to tell slow growth.
Ends with a line a goal: measure, value, goal; exits 1 where one is missed.
"""

import argparse
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

import httpx
from playwright.sync_api import sync_playwright

GOAL_USABLE_S, GOAL_RATIO = 3.0, 6.0
GOAL_NUMBERS, GOAL_PICTURES = 5.0, 20.0
GOAL_GROWN_MB = 10.0
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
HERE = Path(__file__).resolve().parent
SERVICE = """
import sys
from pathlib import Path
import ui.service_process as service
from ui.home import Home
home = Home(Path(sys.argv[1])).ensure()
sys.exit(service.run_service(lambda: service.bench_service(home, None), parent_pipe=True))
"""
DASHBOARD = """
import sys
from pathlib import Path
from ui.dashboard_process import run_dashboard
sys.exit(run_dashboard(Path(sys.argv[1]), 0, parent_pipe=True))
"""
EMPTY = """
import sys
from pathlib import Path
from streamlit.starlette import App
from streamlit import config
import uvicorn
config.set_option("browser.gatherUsageStats", False)
config.set_option("server.fileWatcherType", "none")
config.set_option("server.headless", True)
server = uvicorn.Server(uvicorn.Config(App(sys.argv[1]), port=int(sys.argv[2]), log_level="error"))
server.run()
"""
USABLE = """() => {
  const seen = window.__sparehand;
  return Boolean(seen && seen.frames > 0 && seen.readings > 0);
}"""


def free_port():
    """A port that nobody listens at."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def running(script, *arguments, **pipes):
    command = [sys.executable, "-c", script, *map(str, arguments)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, text=True, cwd=HERE.parent, **pipes)
    try:
        yield process
    finally:
        process.terminate()
        process.wait(20)


def wait_for(address, most_s=90.0):
    until = time.monotonic() + most_s
    while time.monotonic() < until:
        try:
            if httpx.get(address, timeout=2).status_code == 200:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.1)
    raise SystemExit(f"{address} did not answer within {most_s:.0f} s")


def opened_s(browser, address, is_there):
    """Seconds from asking for a page to its being there, in a fresh context."""
    context = browser.new_context(viewport={"width": 1920, "height": 1080})
    page = context.new_page()
    began_s = time.perf_counter()
    page.goto(address, wait_until="commit")
    is_there(page)
    took_s = time.perf_counter() - began_s
    context.close()
    return took_s


def usable(page):
    page.wait_for_function(USABLE, timeout=60_000, polling=20)
    page.get_by_role("button", name="Start this setup").wait_for(timeout=60_000)


def said(page):
    page.get_by_text("An empty page.").wait_for(timeout=60_000)


def first_pages(browser, ours, empty, pairs):
    """Median seconds to a usable page and to an empty one, opened in turn."""
    times = [
        (opened_s(browser, ours, usable), opened_s(browser, empty, said)) for _ in range(pairs)
    ]
    return tuple(statistics.median(column) for column in zip(*times, strict=True))


def tree(pid):
    """A process and all its children, by number."""
    children = Path(f"/proc/{pid}/task").glob("*/children")
    below = [int(n) for one in children for n in one.read_text().split()]
    return [pid, *[n for child in below for n in tree(child)]]


OWN = ("Pss_Anon:", "Pss_Shmem:")
"""Memory of a process' own, shared pages counted once; files' pages that another Chromium on the
same machine may share as well come and go with that one."""


def memory_mb(pid):
    """Memory that a process and its children hold for themselves."""
    total = 0.0
    for one in tree(pid):
        try:
            lines = Path(f"/proc/{one}/smaps_rollup").read_text().splitlines()
        except OSError:
            continue
        total += sum(int(n.split()[1]) / 1000 for n in lines if n.startswith(OWN))
    return total


def rates(page, seconds):
    """Numbers and pictures a second, counted on the page while the spindle turns."""
    count = "() => [__sparehand.readings, __sparehand.frames, performance.now() / 1000]"
    before = page.evaluate(count)
    page.wait_for_timeout(1000 * seconds)
    after = page.evaluate(count)
    span_s = after[2] - before[2]
    return (after[0] - before[0]) / span_s, (after[1] - before[1]) / span_s


def keep_turning(page):
    """Turn the virtual spindle on and on, as the demo's buttons do."""
    page.evaluate(
        """() => {
          const link = new WebSocket(`ws://${location.host}/live`);
          const turn = () => link.send(JSON.stringify({
            name: 'bench', args: { do: 'turn_spindle', by_rad: 6.3 }, id: 1 }));
          link.onopen = () => { turn(); setInterval(turn, 20000); };
        }"""
    )


def growth(parts, seconds, page):
    """Each part's memory at the end, and by how much it grew (MB) once the first fifth was over.

    Growth is the slope of a straight line through the samples times the time that it covers:
    what is collected now and then comes and goes, what is kept for good climbs.
    """
    samples = {name: [] for name in parts}
    began_s = time.monotonic()
    while time.monotonic() < began_s + seconds:
        for name, pid in parts.items():
            samples[name].append((time.monotonic() - began_s, memory_mb(pid)))
        page.wait_for_timeout(1000)
    return {name: grown_mb(seen, seconds / 5) for name, seen in samples.items()}


def grown_mb(samples, settled_s):
    """(MB at the end, MB grown from `settled_s` on) of samples (s, MB)."""
    late = [one for one in samples if one[0] >= settled_s]
    slope = statistics.linear_regression(*zip(*late, strict=True)).slope
    end_mb = statistics.median(mb for _, mb in late[-30:])
    return end_mb, slope * (late[-1][0] - late[0][0])


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true")
    quick = parser.parse_args().quick
    goals = []  # measure, value, goal, whether more is better
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        script, port = Path(place) / "empty.py", free_port()
        script.write_text('import streamlit as st\nst.write("An empty page.")\n')
        with (
            running(SERVICE, place) as service,
            running(DASHBOARD, place, stderr=subprocess.PIPE) as dashboard,
            running(EMPTY, script, port),
        ):
            ours = dashboard.stderr.readline().split()[-1]
            wait_for(f"{ours}ready")
            wait_for(f"http://127.0.0.1:{port}/")
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            usable_s, empty_s = first_pages(
                browser, ours, f"http://127.0.0.1:{port}/", 3 if quick else 5
            )
            goals.append(("first page usable (s)", usable_s, GOAL_USABLE_S, False))
            goals.append(("first page over an empty one", usable_s / empty_s, GOAL_RATIO, False))
            print(f"{'first page':<26}{usable_s:8.2f} s, an empty one {empty_s:.2f} s")
            page = browser.new_page(viewport={"width": 1920, "height": 1080})
            page.goto(ours)
            usable(page)
            keep_turning(page)
            page.wait_for_timeout(1500)
            numbers, pictures = rates(page, 8.0 if quick else 20.0)
            goals.append(("numbers a second", numbers, GOAL_NUMBERS, True))
            goals.append(("pictures a second on the canvas", pictures, GOAL_PICTURES, True))
            parts = {
                "browser": browser_pid(),
                "service": service.pid,
                "dashboard": dashboard.pid,
            }
            grown = growth(parts, 15.0 if quick else 900.0, page)
            for name, (size_mb, more_mb) in grown.items():
                print(f"{name:<26}{size_mb:8.0f} MB, grown by {more_mb:+.1f} MB")
                goals.append((f"growth of the {name} (MB)", more_mb, GOAL_GROWN_MB, False))
            browser.close()
    return judged(goals)


def browser_pid():
    """The Chromium that this process' driver started."""
    found = [pid for pid in tree(os.getpid()) if "chromium" in name_of(pid)]
    return found[0]


def name_of(pid):
    try:
        return Path(f"/proc/{pid}/cmdline").read_text().split("\0")[0]
    except OSError:
        return ""


def judged(goals):
    print()
    missed = 0
    for measure, value, goal, more in goals:
        good = value >= goal if more else value <= goal
        missed += not good
        print(f"{measure:<48}{value:10.4f}{goal:10.4f}{'' if good else '  MISSED'}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
