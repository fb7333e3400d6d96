"""The engine of `sparehand read`: one result a picture."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from calibration.camera import CameraModel, load_camera
from calibration.dials import TaughtDial
from readings import Frame, Reading, SourceError
from vision.dial_reader import DialReader
from vision.sources import open_source


def refuse_other_size(source: str, frame: Frame, camera: CameraModel | None) -> None:
    """Refuse a single picture of another size than the camera model's.

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


def read_lines(
    source: str, dial: TaughtDial, camera_file: Path | None, fps: float
) -> Iterator[dict[str, Any]]:
    """Yield a result for each picture of `source`, in natural file order.

    Raises
    ------
    SourceError
        If the source is missing, unreadable, empty, or a single picture of the wrong size.
    """
    camera = load_camera(camera_file) if camera_file else None
    reader = DialReader(dial, camera)
    pictures = open_source(source, fps=fps)
    single = Path(source).is_file()
    still = Path(source).is_dir()
    try:
        for frame in pictures.frames():
            if single:
                refuse_other_size(source, frame, camera)
            if still:
                reader.reset()
            yield line_of(frame, reader.read(frame))
    finally:
        pictures.close()
