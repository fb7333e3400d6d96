"""`demo` and `run`: the service as a child process, the dashboard in this one."""

import subprocess
import sys
import threading
import time
import webbrowser
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Doors:
    """Where the dashboard and the service can be reached."""

    port: int
    open_browser: bool
    network: str | None = None
    certificate: Path | None = None
    private_key: Path | None = None


def _run(home: Home, doors: Doors, arguments: list[str]) -> int:
    from ui.access import access_of
    from ui.dashboard_process import run_dashboard

    access = access_of(home.folder, doors.network, doors.certificate, doors.private_key)
    network = [] if doors.network is None else ["--network", doors.network]
    keeper = ServiceKeeper(home, [*arguments, *network])

    def announce(sentence: str) -> None:
        tell(sentence)
        if doors.open_browser:
            webbrowser.open(sentence.split()[-1])

    keeper.start()
    try:
        return run_dashboard(home.folder, doors.port, access=access, announce=announce)
    finally:
        keeper.stop()


def run_demo(home: Home, doors: Doors, seed: int | None) -> int:
    """Run the virtual bench with service and dashboard until INT or TERM."""
    from stream.guard import listening_at

    listening_at(home.folder, doors.network)
    chosen = [] if seed is None else ["--seed", str(seed)]
    return _run(home, doors, ["--bench", *chosen])


def run_camera(
    home: Home, doors: Doors, sources: list[str], dials: list[str], cameras: list[Path]
) -> int:
    """Run the service and dashboard on real cameras until INT or TERM.

    What was typed is checked before anything is started.
    """
    from ui.service_process import cameras_service

    cameras_service(home, sources, dials, cameras, doors.network)
    arguments = [f"--source={source}" for source in sources]
    arguments += [f"--dial={dial}" for dial in dials]
    arguments += [f"--camera={camera}" for camera in cameras]
    return _run(home, doors, arguments)
