"""Frames with known truth, read from cold and again: what `bench_reading.py` counts."""

import json
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from calibration.camera import load_camera
from readings import Frame, Reading
from simulator.dial_design import random_design
from simulator.dial_folder import write_drawn_dial
from simulator.dial_view import CATEGORIES
from vision.dial_reader import DialReader
from vision.teach import teach_dial

WRONG = 0.5
"""Divisions: an accepted error above this is wrong, whatever the light."""


@dataclass(frozen=True, slots=True)
class Row:
    """One frame: what is true, what was read, what it took."""

    dial: str
    file: str
    category: str
    cover: str | None
    readable: bool
    known: float | None
    """The reading that is, or would be, true."""
    error: float | None
    """Divisions; infinite where a number was read off nothing."""
    reading: Reading
    cold_over_decode: float
    large: bool
    """1280 x 720."""

    @property
    def wrong(self):
        return self.error is not None and (abs(self.error) > WRONG or not self.readable)


def circular(divisions, truth, marks):
    return (divisions - truth + marks / 2) % marks - marks / 2


def dial_folders(places):
    out = []
    for place in places:
        inside = sorted(p.parent for p in place.glob("*/dial.json"))
        out += [place] if (place / "dial.json").exists() else inside
    return out


def write_drawn(place, count, frames, first_seed=1000):
    """Write folders of `count` random drawn dials with about `frames` frames each."""
    categories = (CATEGORIES * (frames // len(CATEGORIES) + 1))[:frames]
    for seed in range(first_seed, first_seed + count):
        rng = np.random.default_rng(seed)
        write_drawn_dial(place / f"drawn{seed}", random_design(rng), rng, categories)
    return dial_folders([place])


def chosen(entries, most):
    """Return up to `most` entries, spread over the categories."""
    if most is None or len(entries) <= most:
        return entries
    kinds = {}
    for entry in entries:
        kinds.setdefault(entry["category"], []).append(entry)
    picked, turn = [], 0
    while len(picked) < most:
        picked += [group[turn] for group in kinds.values() if turn < len(group)]
        turn += 1
    return picked[:most]


def measure(folder, *, photos=None, use_camera=True, most=None):
    """Return a row for each frame of a dial's folder."""
    dial = teach_dial(folder, name=folder.name, photos=photos, use_camera=use_camera)
    camera = load_camera(folder / "camera.json") if use_camera else None
    entries = chosen(json.loads((folder / "truth.json").read_text()), most)
    return [_row(folder, dial, camera, i, entry) for i, entry in enumerate(entries)]


def _row(folder, dial, camera, index, entry):
    data = np.frombuffer((folder / entry["file"]).read_bytes(), np.uint8)
    reader = DialReader(dial, camera)
    start = time.process_time()
    image = cv2.imdecode(data, cv2.IMREAD_COLOR)
    decoded = time.process_time()
    reading = reader.read(Frame(image, 0.0, index, folder.name, entry["file"]))
    done = time.process_time()
    known = entry["divisions"] if entry["divisions"] is not None else entry.get("would_be")
    error = None
    if reading.ok:
        error = np.inf if known is None else circular(reading.divisions, known, dial.marks_per_turn)
    return Row(
        dial=folder.name,
        file=entry["file"],
        category=entry["category"],
        cover=entry["cover"],
        readable=entry["divisions"] is not None,
        known=known,
        error=error,
        reading=reading,
        cold_over_decode=(done - decoded) / max(decoded - start, 1e-6),
        large=image.shape[:2] == (720, 1280),
    )
