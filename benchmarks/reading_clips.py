"""Clips: is the needle followed over whole turns, a hand refused, a knocked camera re-found?"""

import json
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from reading_cases import WRONG, circular

from calibration.camera import load_camera
from readings import Frame
from simulator.dial_clip import random_clip
from simulator.dial_design import random_design
from simulator.dial_draw import draw_jpeg
from simulator.dial_folder import write_drawn_dial
from simulator.dial_view import random_camera
from vision.dial_reader import DialReader
from vision.teach import teach_dial

FOUND_WITHIN_S = 0.5


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture of a clip, its place in time, and what is true."""

    data: bytes
    t_s: float
    total: float
    covered: bool
    knocked: bool
    shift: np.ndarray | None = None
    """(2, 3): how a knock moves the picture, where it was not drawn so."""


@dataclass(slots=True)
class Clip:
    """What came of one clip."""

    name: str
    large: bool = True
    readable: int = 0
    accepted: int = 0
    errors: list = field(default_factory=list)
    wrong: int = 0
    turns_wrong: int = 0
    turn_doubts: int = 0
    hands: int = 0
    hands_right: int = 0
    knocks: int = 0
    knocks_found: int = 0
    over_decode: list = field(default_factory=list)


def given_clips(place, most):
    """Return the clips beside the dials' folders: (name, dial's folder, pictures)."""
    out = []
    for folder in sorted(p.parent for p in (place / "clips").glob("*/truth.json")):
        truth = json.loads((folder / "truth.json").read_text())
        found = [(f, folder / "frames" / f"{f['frame']:04d}.jpg") for f in truth["frames"]]
        pictures = [
            Picture(path.read_bytes(), f["time_s"], f["divisions"], f["covered"], False)
            for f, path in found
            if path.exists()
        ][:most]
        dial = place / truth["dial"]
        if pictures and (dial / "dial.json").exists():
            camera = load_camera(folder / "camera.json")
            out.append((folder.name, dial, camera, pictures))
            out.append((f"{folder.name} knocked", dial, camera, knocked(pictures)))
    return out


def knocked(pictures):
    """Return the second half of a clip pushed aside: two degrees, 30 px, a little nearer."""
    half = len(pictures) // 2
    push = cv2.getRotationMatrix2D((640, 360), 2.0, 1.01)
    push[:, 2] += (26.0, -15.0)
    return [
        Picture(p.data, p.t_s, p.total, p.covered, i == half, push if i >= half else None)
        for i, p in enumerate(pictures)
    ]


def drawn_clip(place, seed, pictures):
    """Draw a clip and its dial's folder."""
    rng = np.random.default_rng(seed)
    design, camera = random_design(rng), random_camera(rng, (1280, 720))
    folder = place / f"clip{seed}"
    write_drawn_dial(folder, design, rng, [], camera)
    taken = [
        Picture(
            draw_jpeg(design, p.view, rng)[0],
            p.t_s,
            p.view.total_divisions,
            p.event == "hand",
            p.event == "knock",
        )
        for p in random_clip(design, camera, rng, pictures)
    ]
    return f"drawn {seed}", folder, camera, taken


def follow(name, folder, camera, pictures):
    """Read a clip in order."""
    dial = teach_dial(folder, name=folder.name)
    reader, clip = DialReader(dial, camera), Clip(name)
    anchor, waits = None, {}
    for number, picture in enumerate(pictures):
        reading = _timed(reader, clip, picture, number)
        if picture.knocked:
            waits["knock"] = picture.t_s
            clip.knocks += 1
        if picture.covered:
            if waits.get("hand") is None:
                clip.hands += 1
                clip.hands_right += 1
            waits["hand"] = picture.t_s
            if reading.ok:
                clip.wrong += 1
            continue
        clip.readable += 1
        error = None
        if reading.ok:
            clip.accepted += 1
            error = circular(reading.divisions, picture.total, dial.marks_per_turn)
            clip.errors.append(abs(error))
            clip.wrong += abs(error) > WRONG
            anchor = _count_turns(clip, reading, picture, dial.marks_per_turn, anchor)
        _settle(clip, waits, picture.t_s, error)
    _settle(clip, waits, np.inf, None)
    return clip


def _timed(reader, clip, picture, number):
    data = np.frombuffer(picture.data, np.uint8)
    start = time.process_time()
    image = cv2.imdecode(data, cv2.IMREAD_COLOR)
    decoded = time.process_time()
    if picture.shift is not None:
        size = image.shape[1::-1]
        image = cv2.warpAffine(image, picture.shift, size, borderMode=cv2.BORDER_REFLECT)
    frame = Frame(image, picture.t_s, number, clip.name)
    ready = time.process_time()
    reading = reader.read(frame)
    clip.large = image.shape[:2] == (720, 1280)
    if number > 2 and not picture.knocked:
        clip.over_decode.append((time.process_time() - ready) / max(decoded - start, 1e-6))
    return reading


def _count_turns(clip, reading, picture, marks, anchor):
    """Compare the turns gone since the count began; return where it began."""
    if reading.turns is not None:
        clip.turns_wrong += abs(reading.turns * marks + reading.divisions - picture.total) > WRONG
    if reading.turns_followed is None:
        return anchor
    gone = reading.turns_followed * marks + reading.divisions
    if anchor is None or "ambiguous turn" in reading.flags:
        clip.turn_doubts += anchor is not None
        return gone - picture.total
    clip.turns_wrong += abs(gone - picture.total - anchor) > WRONG
    return anchor


def _settle(clip, waits, t_s, error):
    """Close what was waited for: read again in time, or not."""
    for what, since in list(waits.items()):
        if error is not None and abs(error) < WRONG:
            clip.knocks_found += what == "knock"
            del waits[what]
        elif t_s - since > FOUND_WITHIN_S + 1e-6:
            clip.hands_right -= what == "hand"
            del waits[what]


def all_clips(place, *, drawn, pictures, most):
    """Follow the clips beside the dials and `drawn` drawn ones."""
    out = [follow(*clip) for clip in given_clips(place, most)]
    with tempfile.TemporaryDirectory() as room:
        out += [follow(*drawn_clip(Path(room), 500 + i, pictures)) for i in range(drawn)]
    return out
