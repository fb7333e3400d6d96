"""Draw a dial of any make in any light, with the truth.

>>> import numpy as np
>>> from simulator.dial_design import random_design
>>> from simulator.dial_draw import draw_view
>>> from simulator.dial_view import random_camera, random_view
>>> rng = np.random.default_rng(1)
>>> design, camera = random_design(rng), random_camera(rng, (640, 480))
>>> image, truth = draw_view(design, random_view(design, camera, "clean", rng), rng)
>>> image.shape, truth.category
((480, 640, 3), 'clean')

Everything is linear light until the sensor. Print and hands are computed
for each pixel or finer, from where it meets the face's plane and the needle's plane
above it: perspective, lens distortion and parallax are the true ones.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.canvas import Image
from simulator.dial_design import DialDesign
from simulator.dial_light import blurred, lay_finger, stored, tinted, workshop
from simulator.dial_paint import DialPainter
from simulator.dial_solids import dial_window
from simulator.dial_view import DialView
from simulator.optics import project

Soft = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class DrawnTruth:
    """What is true of a picture, as in the `truth.json` of a dial's folder."""

    category: str
    cover: str | None
    divisions: float | None
    total_divisions: float | None
    would_be: float | None
    tilt_deg: float
    face_radius_px: float
    smear_divisions: float
    pivot_px: tuple[float, float] | None
    zero_px: tuple[float, float] | None

    def entry(self, file: str) -> dict[str, Any]:
        """Return the entry of `truth.json`."""
        named = {name: getattr(self, name) for name in self.__slots__}
        return {"file": file, **{k: _rounded(k, v) for k, v in named.items()}}


def _rounded(name: str, value: Any) -> Any:  # noqa: ANN401 - straight to JSON
    if isinstance(value, tuple):
        return [round(v, 2) for v in value]
    digits = 4 if name in ("divisions", "total_divisions", "would_be") else 2
    return round(value, digits) if isinstance(value, float) else value


def draw_view(
    design: DialDesign, view: DialView, rng: np.random.Generator
) -> tuple[Image, DrawnTruth]:
    """Return the picture (height, width, 3) as decoded from JPEG, and its truth."""
    packed, truth = draw_jpeg(design, view, rng)
    image = cv2.imdecode(np.frombuffer(packed, np.uint8), cv2.IMREAD_COLOR)
    return np.asarray(image, dtype=np.uint8), truth


def draw_jpeg(
    design: DialDesign, view: DialView, rng: np.random.Generator
) -> tuple[bytes, DrawnTruth]:
    """Return the picture as a JPEG file's bytes, and its truth."""
    image = stored(light_of(design, view), view, rng)
    _, packed = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, view.jpeg_quality])
    return packed.tobytes(), truth_of(design, view)


def truth_of(design: DialDesign, view: DialView) -> DrawnTruth:
    """Return what is true of a view."""
    ends = [[0.0, 0.0, design.needle_height_mm], [0.0, design.radius_mm, 0.0]]
    pivot, zero = project(view.camera, view.place(design).to_camera(ends)).tolist()
    refused = view.cover in ("needle", "gone", "blur", "spin")
    reading = view.total_divisions % design.marks_per_turn
    total = view.total_divisions if design.counter is not None else reading
    return DrawnTruth(
        category=view.category,
        cover=view.cover,
        divisions=None if refused else reading,
        total_divisions=None if refused else total,
        would_be=reading if view.cover in ("blur", "spin") else None,
        tilt_deg=view.tilt_deg,
        face_radius_px=view.face_radius_px,
        smear_divisions=view.sweep_divisions,
        pivot_px=None if view.gone else (pivot[0], pivot[1]),
        zero_px=None if view.gone else (zero[0], zero[1]),
    )


def light_of(design: DialDesign, view: DialView) -> Soft:
    """Return the light on the sensor (height, width, 3), without its noise."""
    light = workshop(view)
    window = None
    if not view.gone:
        window = dial_window(design, view)
        DialPainter(design, view, window).paint(light[window.rows, window.columns])
    for finger in view.fingers:
        lay_finger(light, finger, 1.0)
    return blurred(tinted(light, view.exposure * np.array(view.tint)), view, window)
