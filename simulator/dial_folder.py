"""Write a drawn dial as a folder: what an owner hands in, and pictures with their truth.

The folder holds `dial.json`, `camera.json`, `teach/`, `frames/` and `truth.json`, so whatever
eats the folders of `sample_images/faces` eats it too:

    rng = np.random.default_rng(7)
    write_drawn_dial(Path("drawn/7"), random_design(rng), rng, CATEGORIES * 5)
"""

import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from calibration.camera import CameraModel
from simulator.dial_design import DialDesign
from simulator.dial_draw import draw_jpeg
from simulator.dial_view import (
    Category,
    DialView,
    Fault,
    random_camera,
    random_view,
    teaching_view,
)
from simulator.optics import Float, project

_CLICK_SIGMA_PX = 0.8
"""Of x and of y: a click is good to about 1.5 px."""
_CLICK_MOST_PX = 1.5
_CLICKED = ("zero", "quarter", "half", "three_quarters", "pivot")
_TAUGHT_TURNS = (0.0, 0.31, 0.72)


def write_drawn_dial(
    folder: Path,
    design: DialDesign,
    rng: np.random.Generator,
    categories: Sequence[Category | Fault],
    camera: CameraModel | None = None,
) -> None:
    """Write a dial's folder with one frame for each entry of `categories`.

    Without a `camera` one is drawn at random; all pictures of the folder are taken with it.
    """
    camera = camera or random_camera(rng)
    (folder / "teach").mkdir(parents=True, exist_ok=True)
    (folder / "frames").mkdir(exist_ok=True)
    taught = [_teach(folder, design, camera, rng, number) for number in range(3)]
    _write(folder / "dial.json", {**design.facts(), "teach": taught})
    _write(folder / "camera.json", {**asdict(camera), "model": "OpenCV plumb bob"})
    frames = [
        _frame(folder, design, random_view(design, camera, category, rng), rng, number)
        for number, category in enumerate(categories)
    ]
    _write(folder / "truth.json", frames)


def _frame(
    folder: Path, design: DialDesign, view: DialView, rng: np.random.Generator, number: int
) -> dict[str, Any]:
    name = f"frames/{number:03d}.jpg"
    packed, truth = draw_jpeg(design, view, rng)
    (folder / name).write_bytes(packed)
    return truth.entry(name)


def _teach(
    folder: Path, design: DialDesign, camera: CameraModel, rng: np.random.Generator, number: int
) -> dict[str, Any]:
    """Take a teaching photo: read by eye to 0.1 division, clicked a little beside."""
    divisions = _TAUGHT_TURNS[number] * design.marks_per_turn + float(rng.uniform(-0.04, 0.04))
    view = teaching_view(design, camera, divisions, rng)
    packed, _ = draw_jpeg(design, view, rng)
    name = f"teach/{number}.jpg"
    (folder / name).write_bytes(packed)
    missed = np.clip(rng.normal(0.0, _CLICK_SIGMA_PX, (5, 2)), -_CLICK_MOST_PX, _CLICK_MOST_PX)
    clicks = np.round(clicked_px(design, view) + missed, 1).tolist()
    return {
        "file": name,
        "reading_divisions": abs(round(divisions, 1)),
        "clicks_px": dict(zip(_CLICKED, clicks, strict=True)),
    }


def clicked_px(design: DialDesign, view: DialView) -> Float:
    """Return where an owner would click (5, 2): four marks' outer ends in rising order, pivot."""
    at = design.rising * 2 * math.pi * np.rint(design.marks_per_turn * np.arange(4) / 4)
    at = at / design.marks_per_turn
    ends = np.column_stack([np.sin(at), np.cos(at), np.zeros(4)]) * design.radius_mm
    points = np.vstack([ends, [0.0, 0.0, design.needle_height_mm]])
    return project(view.camera, view.place(design).to_camera(points))


def _write(path: Path, content: Any) -> None:  # noqa: ANN401 - JSON
    path.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
