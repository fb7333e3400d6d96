"""What an owner would hand in to teach the bench's own dial: photos, clicks, sizes."""

import json
import math
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from simulator.optics import Float, camera_model, project
from simulator.painter import Painter, Scene
from simulator.scenery import dial_place
from simulator.spec import (
    GRADUATION_MM,
    MARKS_PER_TURN,
    NEEDLE_HEIGHT_MM,
    SCALE_OUTER_DIAMETER_MM,
    BenchSpec,
)

_CLICK_SIGMA_PX = 0.7
"""Of x and of y: a click misses by about 1 px."""
_JPEG_QUALITY = 95
_CLICKED = ("zero", "quarter", "half", "three_quarters")


def write_teaching_folder(
    folder: Path, spec: BenchSpec, rng: np.random.Generator, photos: int = 3
) -> None:
    """Write `dial.json`, `camera.json` and `teach/*.jpg` for the dial of a bench.

    The first photo is taken with the needle at zero, the others on either side; between
    photos the bezel and the camera are moved a little. Readings are as by eye (to 0.1
    division) and clicks miss by about a pixel, as an owner's would.
    """
    (folder / "teach").mkdir(parents=True, exist_ok=True)
    entries = [_teach_photo(folder, spec, rng, number) for number in range(photos)]
    _write_json(folder / "dial.json", {**dial_facts(spec), "teach": entries})
    camera = {**asdict(camera_model(spec)), "model": "OpenCV plumb bob"}
    _write_json(folder / "camera.json", camera)


def dial_facts(spec: BenchSpec) -> dict[str, Any]:
    """Return what an owner knows of the bench's dial, in the keys of `dial.json`."""
    return {
        "unit": "mm",
        "graduation": GRADUATION_MM,
        "marks_per_turn": MARKS_PER_TURN,
        "numbering": "balanced",
        "clockwise": True,
        "has_turns_counter": False,
        "scale_outer_diameter_mm": SCALE_OUTER_DIAMETER_MM,
        "needle_height_mm": NEEDLE_HEIGHT_MM,
        "travel_mm": list(spec.travel_mm),
    }


def _teach_photo(
    folder: Path, spec: BenchSpec, rng: np.random.Generator, number: int
) -> dict[str, Any]:
    view = replace(
        spec,
        tilt_deg=float(rng.uniform(1.0, 6.0)),
        tilt_towards_deg=float(rng.uniform(0.0, 360.0)),
        bezel_deg=spec.bezel_deg + float(rng.uniform(-12.0, 12.0)),
    )
    reading_mm = _posed_reading_mm(spec, rng, number)
    image = Painter(view, rng).paint(Scene(reading_mm, 0.0))
    name = f"teach/{number}.jpg"
    _write_jpeg(folder / name, image)
    missed = rng.normal(0.0, _CLICK_SIGMA_PX, (5, 2))
    clicks = np.round(clicked_points_px(view) + missed, 1)
    return {
        "file": name,
        "reading_divisions": round(reading_mm / GRADUATION_MM, 1),
        "clicks_px": {
            word: point.tolist() for word, point in zip((*_CLICKED, "pivot"), clicks, strict=True)
        },
    }


def clicked_points_px(spec: BenchSpec) -> Float:
    """Return where the owner would click (5, 2): four marks' outer ends, then the pivot."""
    camera = camera_model(spec)
    place = dial_place(camera, spec)
    turns = 2 * math.pi * np.arange(4) / 4
    ends = np.column_stack([np.sin(turns), np.cos(turns), np.zeros(4)])
    points = np.vstack([ends * SCALE_OUTER_DIAMETER_MM / 2, [0.0, 0.0, NEEDLE_HEIGHT_MM]])
    return project(camera, place.to_camera(points))


def _posed_reading_mm(spec: BenchSpec, rng: np.random.Generator, number: int) -> float:
    """Return zero for the first photo, then one side and the other, well inside the travel."""
    if number == 0:
        return 0.0
    side = spec.travel_mm[number % 2]
    return float(rng.uniform(0.45, 0.85) * side)


def _write_jpeg(path: Path, image: "np.ndarray[Any, np.dtype[np.uint8]]") -> None:
    _, packed = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    path.write_bytes(packed.tobytes())


def _write_json(path: Path, content: dict[str, Any]) -> None:
    path.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
