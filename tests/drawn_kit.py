"""Random drawn dials, taught and read: shared by tests and by runs over many frames."""

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from readings import BadInputError, Frame, Reading
from simulator.dial_design import DialDesign, random_design
from simulator.dial_draw import DrawnTruth, draw_view
from simulator.dial_folder import write_drawn_dial
from simulator.dial_view import CATEGORIES, FAULTS, random_camera, random_view
from vision.dial_reader import DialReader
from vision.teach import teach_dial

WRONG = 0.5
"""Divisions: an accepted reading farther out than this is wrong, whatever the light."""
EVERYTHING = (*CATEGORIES, *FAULTS)


@dataclass(frozen=True)
class Case:
    """One drawn frame and what was read."""

    seed: int
    frame: int
    truth: DrawnTruth
    reading: Reading
    error: float | None
    """Divisions; None where refused, infinite where there was nothing to read."""

    @property
    def wrong(self):
        """A number read off a hidden needle, no dial or hopeless blur, or far from the truth."""
        unreadable = self.truth.category == "refuse"
        return self.error is not None and (unreadable or abs(self.error) > WRONG)

    def __str__(self):
        what = f"dial {self.seed} frame {self.frame} {self.truth.category} {self.truth.cover or ''}"
        if self.error is None:
            return f"{what}: {', '.join(self.reading.flags)}"
        return f"{what}: error {self.error:+.4f}, sigma {self.reading.sigma_divisions:.4f}"


class DrawnDial:
    """A random dial of one seed, taught from its own folder; frames are drawn one by one."""

    def __init__(self, seed, size=None, photos=None):
        self.seed = seed
        rng = np.random.default_rng(seed)
        self.design: DialDesign = random_design(rng)
        self.camera = random_camera(rng, size)
        with tempfile.TemporaryDirectory() as room:
            write_drawn_dial(Path(room), self.design, rng, [], self.camera)
            self.dial = teach_dial(Path(room), name=f"drawn {seed}", photos=photos)

    def draw(self, frame, category):
        """Return a frame's picture and truth: the same for the same seed, number and category."""
        rng = np.random.default_rng((self.seed, frame))
        view = random_view(self.design, self.camera, category, rng)
        return draw_view(self.design, view, rng)

    def read(self, frame, category):
        """Draw one frame and read it from cold."""
        image, truth = self.draw(frame, category)
        reader = DialReader(self.dial, self.camera)
        reading = reader.read(Frame(image, 0.0, frame, "drawn"))
        return Case(self.seed, frame, truth, reading, self._error(reading, truth))

    def _error(self, reading, truth):
        if not reading.ok:
            return None
        known = truth.divisions if truth.divisions is not None else truth.would_be
        if known is None:
            return np.inf
        marks = self.design.marks_per_turn
        return (reading.divisions - known + marks / 2) % marks - marks / 2


def read_everything(seed, frames, categories=EVERYTHING, size=None):
    """Read `frames` frames of one random dial, going round the categories.

    A dial that cannot be taught gives no case: refusing to learn is no wrong reading.
    """
    try:
        dial = DrawnDial(seed, size)
    except BadInputError as error:
        return [], str(error)
    kinds = len(categories)
    return [dial.read(i, categories[(i + seed) % kinds]) for i in range(frames)], None


def honest_share(cases):
    """Return the share of accepted readings within two sigma, and how many there are."""
    taken = [c for c in cases if c.error is not None]
    within = [abs(c.error) < 2 * c.reading.sigma_divisions for c in taken]
    return float(np.mean(within)), len(within)


def _run(first, last, frames, bad):
    """Read dials first … last, print a line for each, keep pictures of what went wrong."""
    cv2.setNumThreads(1)
    bad.mkdir(parents=True, exist_ok=True)
    for seed in range(first, last + 1):
        cases, refused = read_everything(seed, frames)
        taken = [c for c in cases if c.error is not None]
        errors = np.abs([c.error for c in taken if np.isfinite(c.error)])
        wrong = [c for c in cases if c.wrong]
        middle = np.median(errors) if len(errors) else np.nan
        print(
            f"{seed} {len(taken)}/{len(cases)} {middle:.4f} wrong {len(wrong)} {refused or ''}",
            flush=True,
        )
        for case in wrong:
            print(f"WRONG {case}", flush=True)
            image, _ = DrawnDial(seed).draw(case.frame, case.truth.category)
            cv2.imwrite(str(bad / f"{seed}_{case.frame}_{case.truth.category}.png"), image)


if __name__ == "__main__":
    _run(int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4]))
