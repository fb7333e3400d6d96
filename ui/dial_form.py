"""A dial taught from a form and a photo's clicks: the sheet is written, then learned as ever."""

import json
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dials import TaughtDial
from readings import BadInputError, Frame, flag_sentence, format_length
from vision.dial_reader import DialReader
from vision.teach import teach_dial

CLICKS = ("zero", "quarter", "half", "three_quarters", "pivot")
CLICK_WORDS: Mapping[str, str] = {
    "zero": "the outer end of the zero mark",
    "quarter": "the outer end of the mark a quarter of the scale on, the way readings rise",
    "half": "the outer end of the mark half the scale on",
    "three_quarters": "the outer end of the mark three quarters on",
    "pivot": "the middle of the needle's pivot",
}
"""What is clicked, in this order."""


@dataclass(frozen=True, slots=True)
class DialForm:
    """What an owner types about a dial."""

    name: str
    unit: str
    graduation: float
    marks_per_turn: int
    numbering: str
    clockwise: bool
    scale_outer_diameter_mm: float
    needle_height_mm: float
    reading_divisions: float
    """What the dial shows in the photo, read by eye."""


def picture_of(content: bytes) -> NDArray[np.uint8]:
    """Return a photo's pixels.

    Raises
    ------
    BadInputError
        If it is no picture.
    """
    image = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR) if content else None
    if image is None:
        msg = "That file is no picture that can be read: take a JPEG or PNG."
        raise BadInputError(msg)
    return np.asarray(image, dtype=np.uint8)


def plain_name(name: str) -> str:
    """Return a name as dials may have it.

    >>> plain_name("Shop dial, No. 2")
    'shop-dial-no-2'
    """
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")


def teach_from_form(
    form: DialForm, photo: bytes, clicks_px: Sequence[tuple[float, float]]
) -> TaughtDial:
    """Learn a dial from what was typed and clicked; nothing is kept yet.

    Raises
    ------
    BadInputError
        If something typed, the photo or a click cannot be used.
    """
    image = picture_of(photo)
    if len(clicks_px) != len(CLICKS):
        missing = CLICKS[len(clicks_px)]
        msg = f"{len(clicks_px)} of {len(CLICKS)} places are clicked: click {CLICK_WORDS[missing]}."
        raise BadInputError(msg)
    with tempfile.TemporaryDirectory() as room:
        folder = Path(room)
        (folder / "photo.png").write_bytes(cv2.imencode(".png", image)[1].tobytes())
        sheet = json.dumps(_sheet(form, clicks_px), indent=1)
        (folder / "dial.json").write_text(sheet, encoding="utf-8")
        return teach_dial(folder, name=plain_name(form.name), use_camera=False)


def _sheet(form: DialForm, clicks_px: Sequence[tuple[float, float]]) -> dict[str, object]:
    places = [[float(x), float(y)] for x, y in clicks_px]
    return {
        "unit": form.unit,
        "graduation": form.graduation,
        "marks_per_turn": form.marks_per_turn,
        "numbering": form.numbering,
        "clockwise": form.clockwise,
        "scale_outer_diameter_mm": form.scale_outer_diameter_mm,
        "needle_height_mm": form.needle_height_mm,
        "teach": [
            {
                "file": "photo.png",
                "reading_divisions": form.reading_divisions,
                "clicks_px": dict(zip(CLICKS, places, strict=True)),
            }
        ],
    }


def read_words(dial: TaughtDial, photo: bytes) -> str:
    """Return what is read in a photo of a taught dial, or why it is refused."""
    reading = DialReader(dial, None).read(Frame(picture_of(photo), 0.0, 0, "a photo"))
    if not reading.ok or reading.divisions is None or reading.sigma_divisions is None:
        return "Refused. " + " ".join(flag_sentence(name) for name in reading.flags)
    value = "" if reading.value_mm is None else f", {format_length(reading.value_mm, signed=True)}"
    return f"{reading.divisions:.2f} ± {2 * reading.sigma_divisions:.2f} divisions (k = 2){value}."
