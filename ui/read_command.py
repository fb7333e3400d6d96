"""The engine of `sparehand read`: one result a picture."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from calibration.camera import CameraModel, load_camera
from calibration.dial_errors_correct import Corrected, Correction
from calibration.dials import TaughtDial
from readings import Frame, Reading, SourceError
from vision.dial_reader import DialReader
from vision.sources import PICTURES, open_source


def refuse_other_size(source: str, frame: Frame, camera: CameraModel | None) -> None:
    """Refuse a single picture, or a video, of another size than the camera model's.

    Raises
    ------
    SourceError
        With both sizes and the way out.
    """
    if camera is None or frame.image is None:
        return
    height, width = frame.image.shape[:2]
    if (width, height) != (camera.image_width, camera.image_height):
        msg = (
            f"{source} is {width} × {height} pixels, the camera model is for "
            f"{camera.image_width} × {camera.image_height}; use the model made at this size, "
            "or leave --camera out"
        )
        raise SourceError(msg)


def line_of(frame: Frame, reading: Reading) -> dict[str, Any]:
    """Return a reading as the documented JSON line."""
    place: dict[str, Any] = (
        {"file": frame.name} if frame.name else {"frame": frame.index, "t_s": frame.t_s}
    )
    return place | {
        "state": reading.state,
        "divisions": reading.divisions,
        "turns": reading.turns,
        "value_mm": reading.value_mm,
        "sigma_divisions": reading.sigma_divisions,
        "reasons": list(reading.flags),
    }


def remarks(line: dict[str, Any], *, counts: bool) -> list[str]:
    """Return what a table says beside a reading: its flags, and that its turn is not known.

    `counts` tells whether the dial has a counter of whole turns.
    """
    unknown = counts and line["state"] == "ok" and line["turns"] is None
    return [*line["reasons"], "turn unknown"] if unknown else list(line["reasons"])


def corrected_line(
    line: dict[str, Any], reading: Reading, correction: Correction
) -> dict[str, Any]:
    """Return a line with its value put right, what was added, and k = 1 of the dial's part.

    A reading that cannot be put right keeps its value and gets the flag "not corrected".
    """
    if not reading.ok or reading.value_mm is None:
        return line | {"correction_mm": None, "u_dial_mm": None}
    found = corrected(reading.value_mm, correction, turns_known=reading.turns is not None)
    if found is None:
        told = {"reasons": [*line["reasons"], "not corrected"]}
        return line | told | {"correction_mm": None, "u_dial_mm": None}
    put = {"value_mm": reading.value_mm + found.correction_mm}
    return line | put | {"correction_mm": found.correction_mm, "u_dial_mm": found.u_mm}


def corrected(value_mm: float, correction: Correction, *, turns_known: bool) -> Corrected | None:
    """Return a reading put right; one without turns counts in the one turn that fits."""
    turns = 0 if turns_known else correction.turns_off(value_mm, value_mm)
    return None if turns is None else correction.correct(value_mm + turns * correction.mm_per_turn)


def read_lines(
    source: str,
    dial: TaughtDial,
    camera_file: Path | None,
    fps: float,
    correction: Correction | None = None,
) -> Iterator[dict[str, Any]]:
    """Yield a result for each picture of `source`, in natural file order.

    The pictures of a folder are read each for itself. A video is a stream: its lines also tell
    `turns_followed`, the needle's whole turns since its first reading.
    With a `correction` each value is put right by the dial's error table.

    Raises
    ------
    SourceError
        If the source is missing, unreadable, empty, or a single picture or a video of the wrong
        size.
    """
    camera = load_camera(camera_file) if camera_file else None
    reader = DialReader(dial, camera)
    pictures = open_source(source, fps=fps)
    single = Path(source).suffix.lower() in PICTURES and Path(source).is_file()
    still = Path(source).is_dir()
    try:
        for frame in pictures.frames():
            if frame.index == 0 and not still:
                refuse_other_size(source, frame, camera)
            if still:
                reader.reset()
            reading = reader.read(frame)
            line = line_of(frame, reading)
            if not single and not still:
                line["turns_followed"] = reading.turns_followed
            yield line if correction is None else corrected_line(line, reading, correction)
    finally:
        pictures.close()
