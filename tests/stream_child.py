"""A real service in a process of its own, over a mill on paper that runs faster than time.

`python stream_child.py HOME [--seed N] [--parent-pipe]`. The picture of a frame is grey;
its truth is kept beside it, and the readers of this service know it.
"""

import argparse
import sys
import threading
import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from math import pi
from pathlib import Path

import numpy as np
from paper_picture import CollarOfPaper, ReadsPaper
from stream_kit import DIAL, WHEELS, collar, reading
from stream_paper import mill_for

from readings import DIRECTION_DEG, BadInputError, DialSight, Frame
from stream.guard import listening_at
from stream.node_door import NodeSource
from stream.service import Eyes, Service, run_until_signalled
from stream.session import Tools

FPS = 60.0
PACE = 4.0
"""Seconds of the mill for one of ours."""


@dataclass(frozen=True)
class MillState:
    """What a person at the mill sees."""

    t_s: float
    theta_deg: float
    moving: bool


class PaperSource:
    """Frames of a mill on paper; hands turn it by commands from any thread."""

    def __init__(self, mill, name="paper", pace=PACE):
        self.mill, self._pace = mill, pace
        self.name = name
        self.truth = {}
        self._left_rad, self._rate = 0.0, 0.0
        self._dark_until = 0.0
        self._pivot_px, self._jump_s, self.wall_s = 100.0, 0.0, 0.0
        self._lock = threading.Lock()
        self._open = True

    def frames(self):
        """Yield a frame a sixtieth of a second."""
        started, index = time.monotonic(), 0
        while self._open:
            time.sleep(1.0 / FPS)
            now = time.monotonic()
            if now < self._dark_until:
                continue
            with self._lock:
                self._turn(self._pace / FPS)
                t_s = self._pace * (now - started) + self._jump_s
                self.truth[index] = (t_s, self.mill.reading_mm(), self.mill.collar_rad())
                self.truth.pop(index - 100, None)
            image = np.full((180, 320, 3), 60 + index % 100, dtype=np.uint8)
            yield Frame(image, t_s, index, self.name)
            index += 1

    def _turn(self, dt_s):
        step = np.clip(self._left_rad, -self._rate * dt_s, self._rate * dt_s)
        self._left_rad -= step
        self.mill.turn_to(self.mill.theta_rad + step, places=1)

    def command(self, do, **args):
        """Do what hands do at this mill."""
        with self._lock:
            if do == "turn":
                self._left_rad = args["degrees"] * pi / 180.0
                self._rate = abs(self._left_rad) / args["seconds"]
            elif do == "point":
                to = self.mill.nearest(DIRECTION_DEG[args["direction"]])
                self._left_rad, self._rate = to - self.mill.theta_rad, 2.0
            elif do == "dark":
                self._dark_until = time.monotonic() + args["seconds"]
            elif do == "dial":
                self._pivot_px = args["at_px"]
            elif do == "jump":
                self._jump_s = args["seconds"]
            elif do == "clock":
                self.wall_s = args["seconds"]
            else:
                raise BadInputError(f"The mill knows no {do!r}.")
        return f"{do}: done."

    def state(self):
        """What is seen."""
        return MillState(0.0, self.mill.theta_rad * 180 / pi, self._left_rad != 0.0)

    def close(self):
        """End the frames."""
        self._open = False

    # the readers, who know the truth

    def read(self, frame):
        """Read the dial."""
        t_s, value, _ = self.truth[frame.index]
        return replace(reading(t_s, value), sight=sight_at(self._pivot_px))

    def collar_reader(self):
        """Return what reads the collar."""
        return _CollarOf(self)


def sight_at(pivot_px):
    """A dial of 60 px, seen at a place."""
    line = np.array([[pivot_px, 90.0], [pivot_px + 50.0, 90.0]])
    return DialSight(line[0], line, line[1], line, 60.0, 80, 0.03)


class _CollarOf:
    def __init__(self, source):
        self._source = source

    def read(self, frame):
        """Read the collar."""
        t_s, _, angle = self._source.truth[frame.index]
        return collar(t_s, angle)


def service_of(given):
    """Return the service that is asked for."""
    mills = [mill_for(given.seed + i, x_mm=0.02, y_mm=-0.015) for i in range(given.cameras)]
    names = ["paper", *(f"paper {i}" for i in range(1, given.cameras))]
    sources = [PaperSource(*one, given.pace) for one in zip(mills, names, strict=True)]
    eyes = [Eyes(source, source, source.collar_reader()) for source in sources]
    if given.node:
        source = NodeSource(given.node)
        eyes = [Eyes(source, ReadsPaper(), CollarOfPaper(), given.node, None, True, True)]
    return Service(
        given.home,
        eyes,
        Tools(DIAL, WHEELS, source="paper"),
        program_version="test",
        listening=listening_at(given.home, given.network),
        now=lambda: datetime.now(UTC) + timedelta(seconds=sources[0].wall_s),
    )


def run(arguments):
    """Run a service until it is told to end."""
    parser = argparse.ArgumentParser()
    parser.add_argument("home", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cameras", type=int, default=1)
    parser.add_argument("--pace", type=float, default=PACE)
    parser.add_argument("--network")
    parser.add_argument("--node")
    parser.add_argument("--parent-pipe", action="store_true")
    given = parser.parse_args(arguments)
    run_until_signalled(service_of(given), parent_pipe=given.parent_pipe)
    sys.exit(0)


if __name__ == "__main__":
    run(sys.argv[1:])
