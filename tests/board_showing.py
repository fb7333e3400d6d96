"""A person who shows a camera the board as told: held still, then moved on, again and again.

`python board_showing.py HOME PICTURES` runs a real service whose camera sees just that;
PICTURES is a .npy of (n, height, width) grey pictures.
"""

import sys
import time
from pathlib import Path

import cv2
import numpy as np
from board_making import artwork_of, drawn, walk
from stream_kit import DIAL, WHEELS

from calibration.boards import OUR_BOARD
from readings import Frame, Reading
from simulator.bench import Bench
from simulator.spec import BenchSpec
from stream.service import Eyes, Service, run_until_signalled
from stream.session import Tools

HELD_S, MOVED_S = 0.65, 0.15
FPS = 15.0


def board_pictures(camera, seed=2):
    """Grey pictures (n, height, width) of our board, one a pose."""
    rng = np.random.default_rng(seed)
    artwork = artwork_of(OUR_BOARD)
    margin = OUR_BOARD.square_mm + 10
    return np.array(
        [
            drawn(OUR_BOARD, artwork, 6, margin, *pose, rng, camera, 0.6)
            for pose in walk(OUR_BOARD, camera)
        ]
    )


def at(pictures, t_s):
    """The picture (BGR) at a time: each is held still, then smeared into the next."""
    k, inside = divmod(t_s, HELD_S + MOVED_S)
    one, other = pictures[int(k) % len(pictures)], pictures[int(k + 1) % len(pictures)]
    gray = one if inside < HELD_S else cv2.addWeighted(one, 0.5, other, 0.5, 0)
    return np.repeat(gray[:, :, None], 3, axis=2)


class ShowsBoard:
    """A camera that is shown the board; commands to the bench hold it or take it away."""

    name = "shelf camera"

    def __init__(self, pictures):
        self._pictures = pictures
        self._machine = Bench(BenchSpec(), np.random.default_rng(1))
        self._open, self._held_s, self._away = True, None, False

    def frames(self):
        """Yield a frame a fifteenth of a second."""
        began, index = time.monotonic(), 0
        nothing = np.full_like(at(self._pictures, 0.0), 90)
        while self._open:
            time.sleep(1.0 / FPS)
            now = time.monotonic()
            t_s = now - began if self._held_s is None else self._held_s
            image = nothing.copy() if self._away else at(self._pictures, t_s)
            image.flags.writeable = False
            yield Frame(image, now, index, self.name)
            index += 1

    def close(self):
        """End the frames."""
        self._open = False

    def command(self, do, **args):
        """Hold the board as it is shown at `at_s`, take it `away`, or `show` on."""
        self._held_s = args["at_s"] if do == "hold" else None
        self._away = do == "away"
        return f"{do}: done."

    def state(self):
        """What stands on the machine meanwhile: nobody touches it."""
        return self._machine.state()


class NoDial:
    """What a reader says of a board."""

    def read(self, frame):
        """Refuse."""
        return Reading("refused", frame.t_s, flags=("no dial",))


def main(home, pictures):
    """Run the service until its parent's pipe ends."""
    source = ShowsBoard(np.load(pictures))
    tools = Tools(DIAL, WHEELS, source=source.name)
    eyes = Eyes(source, NoDial(), name=source.name)
    service = Service(Path(home), eyes, tools, program_version="test")
    run_until_signalled(service, parent_pipe=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
