"""Start, watch and end a service of its own process.

Processes are forked from one that has everything imported already (multiprocessing's fork
server), so that a test may start and kill many.
"""

import atexit
import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from multiprocessing import forkserver
from pathlib import Path

from stream.card import read_card
from stream.client import Client

ROOT = Path(__file__).parents[1]
CHILD = Path(__file__).with_name("stream_child.py")
STARTS_WITHIN_S = 60.0

FORKS = multiprocessing.get_context("forkserver")
FORKS.set_forkserver_preload(["stream_child"])


def _ensure_server():
    """Start the fork server with our own import path: it is not told of it otherwise."""
    before = os.environ.get("PYTHONPATH")
    os.environ["PYTHONPATH"] = os.pathsep.join([str(CHILD.parent), *filter(None, sys.path)])
    try:
        forkserver.ensure_running()
    finally:
        del os.environ["PYTHONPATH"]
        if before is not None:
            os.environ["PYTHONPATH"] = before


class Forked:
    """A process of the fork server, with what the tests need of a Popen."""

    def __init__(self, target, *arguments):
        _ensure_server()
        self._process = FORKS.Process(target=target, args=arguments)
        self._process.start()
        self.pid = self._process.pid

    @property
    def returncode(self):
        return self._process.exitcode

    def poll(self):
        return self._process.exitcode

    def wait(self, within_s=None):
        self._process.join(within_s)
        assert self._process.exitcode is not None, "the process did not end in time"
        return self._process.exitcode

    def send_signal(self, number):
        os.kill(self.pid, number)


def start(home, *more, **how):
    """Start a service and wait until its card stands; return the process."""
    if how:
        process = started_anew(home, *more, **how)
    else:
        import stream_child

        process = Forked(stream_child.run, [str(home), *more])
    wait_until(lambda: carded(home, process), STARTS_WITHIN_S)
    return process


def started_anew(home, *more, **how):
    """Start a service from nothing, as a person does."""
    env = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]),
    }
    return subprocess.Popen([sys.executable, str(CHILD), str(home), *more], env=env, **how)


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


_WALKED = []


def prepare_turns(home):
    """Put a setup that waits for turns into a home: walked once a test process, then copied."""
    if not _WALKED:
        folder = Path(tempfile.mkdtemp(prefix="walked_"))
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
        process = start(folder)
        walk_to_turns(folder)
        assert end(process) == 0
        _WALKED.append(folder)
    shutil.copytree(_WALKED[0], home, dirs_exist_ok=True)


def _at_the_bench(client, do, **args):
    client.command("bench", do=do, **args)


def walk_to_turns(home, hands=_at_the_bench):
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
            act(client, now, hands)
            time.sleep(0.05)


def act(client, view, hands):
    advice = view["advice"]
    if advice["wants"] == "key":
        client.command("next")
    elif advice["wants"] == "ticks":
        for line in view["lines"]:
            if not line["ticked"]:
                touched = {"checklist": view["checklist"], "line": line["key"], "who": "me"}
                client.command("touch", **touched)
    else:
        hands(client, "point", direction=advice["stylus"])
        revision = view["revision"]
        until = time.monotonic() + 2.0
        while time.monotonic() < until:
            if client.command("view").body["revision"] != revision:
                return
            time.sleep(0.03)
