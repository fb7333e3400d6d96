"""`demo` and `run`: the service as a child process, the dashboard in this one."""

import subprocess
import sys
import threading
import time
import webbrowser
from pathlib import Path

from ui.home import Home
from ui.output import tell

RESTART_PAUSE_S = 1.0
MOST_QUICK_ENDS = 3
"""A service that ends so often within `QUICK_S` of its start is not started again."""
QUICK_S = 5.0


class ServiceKeeper:
    """Keeps the service's process up; it dies with this one, since its stdin is our pipe."""

    def __init__(self, home: Home, arguments: list[str]) -> None:
        self._command = [
            sys.executable, "-m", "ui.cli", "--home", str(home.folder), "service", *arguments,
            "--parent-pipe",
        ]  # fmt: skip
        self._ending = threading.Event()
        self._child: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._keep, name="service-keeper", daemon=True)

    def start(self) -> None:
        """Start the service and watch over it."""
        self._thread.start()

    def stop(self) -> None:
        """End the service in order."""
        self._ending.set()
        child = self._child
        if child is not None and child.stdin is not None:
            child.stdin.close()
        self._thread.join(10.0)

    def _keep(self) -> None:
        quick_ends = 0
        while not self._ending.is_set():
            started_s = time.monotonic()
            self._child = subprocess.Popen(
                self._command, stdin=subprocess.PIPE, start_new_session=True
            )
            code = self._child.wait()
            if self._ending.is_set():
                return
            quick = time.monotonic() - started_s < QUICK_S
            quick_ends = quick_ends + 1 if quick else 0
            if code == 2 or quick_ends >= MOST_QUICK_ENDS:
                tell("The service does not stay up; it said why above.")
                return
            tell("The service ended; starting it again.")
            self._ending.wait(RESTART_PAUSE_S)


def _run(home: Home, port: int, arguments: list[str], *, open_browser: bool) -> int:
    from ui.dashboard_process import run_dashboard

    keeper = ServiceKeeper(home, arguments)

    def announce(sentence: str) -> None:
        tell(sentence)
        if open_browser:
            webbrowser.open(sentence.split()[-1])

    keeper.start()
    try:
        return run_dashboard(home.folder, port, announce=announce)
    finally:
        keeper.stop()


def run_demo(home: Home, port: int, open_browser: bool, seed: int | None) -> int:
    """Run the virtual bench with service and dashboard until INT or TERM."""
    chosen = [] if seed is None else ["--seed", str(seed)]
    return _run(home, port, ["--bench", *chosen], open_browser=open_browser)


def run_camera(
    home: Home, port: int, open_browser: bool, source: str, dial: str, camera: Path | None
) -> int:
    """Run the service and dashboard on a real camera until INT or TERM.

    What was typed is checked before anything is started.
    """
    from ui.service_process import camera_service

    camera_service(home, source, dial, camera)
    arguments = ["--source", source, "--dial", dial]
    if camera is not None:
        arguments += ["--camera", str(camera)]
    return _run(home, port, arguments, open_browser=open_browser)
