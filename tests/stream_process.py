"""Start, watch and end a service of its own process."""

import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

from stream.card import read_card
from stream.client import Client

ROOT = Path(__file__).parents[1]
CHILD = Path(__file__).with_name("stream_child.py")
STARTS_WITHIN_S = 60.0


def start(home, *more, **how):
    """Start a service and wait until its card stands; return the process."""
    env = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]),
    }
    process = subprocess.Popen([sys.executable, str(CHILD), str(home), *more], env=env, **how)
    wait_until(lambda: carded(home, process), STARTS_WITHIN_S)
    return process


def carded(home, process):
    assert process.poll() is None, f"the service ended with {process.returncode}"
    path = Path(home) / "service.json"
    return path.exists() and read_card(Path(home)).pid == process.pid


def kill(process):
    """Kill -9."""
    process.send_signal(signal.SIGKILL)
    process.wait(10)


def end(process):
    """End in order; return the exit code."""
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
    return process.wait(15)


@contextmanager
def running(home, *more, **how):
    process = start(home, *more, **how)
    try:
        yield process
    finally:
        if process.poll() is None:
            kill(process)


def wait_until(holds, within_s=15.0, every_s=0.02):
    """Wait until `holds()` is true and return it."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        if found := holds():
            return found
        time.sleep(every_s)
    raise AssertionError(f"not within {within_s} s")


def walk_to_turns(home):
    """Act as the person at the mill until the setup waits for turns."""
    from stream_paper import BEGIN

    with Client(home) as client:

        def view():
            return client.command("view").body

        if view()["guide"] is None:
            assert client.command("begin", **BEGIN).ok
        until = time.monotonic() + 60.0
        while (now := view())["step"] != "turns":
            assert time.monotonic() < until, now["advice"]
            act(client, now)
            time.sleep(0.05)


def act(client, view):
    advice = view["advice"]
    if advice["wants"] == "key":
        client.command("next")
    elif advice["wants"] == "ticks":
        for line in view["lines"]:
            if not line["ticked"]:
                touched = {"checklist": view["checklist"], "line": line["key"], "who": "me"}
                client.command("touch", **touched)
    else:
        client.command("bench", do="point", direction=advice["stylus"])
        revision = view["revision"]
        until = time.monotonic() + 2.0
        while time.monotonic() < until:
            if client.command("view").body["revision"] != revision:
                return
            time.sleep(0.03)
