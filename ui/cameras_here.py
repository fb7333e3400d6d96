"""Which cameras this computer has, by their number."""

import sys
from pathlib import Path
from typing import Any

from vision.camera_device import OpenDevice, identity_of, open_device, state_of

MOST = 8


def cameras_that_answer(
    open_number: OpenDevice = open_device, numbers: list[int] | None = None
) -> list[dict[str, Any]]:
    """Return number, name, size, format and rate of every camera that gives a picture."""
    looked = (_look(k, open_number) for k in (_numbers() if numbers is None else numbers))
    return [found for found in looked if found is not None]


def _numbers() -> list[int]:
    if sys.platform != "linux":
        return list(range(MOST))
    devices = (path.name.removeprefix("video") for path in Path("/dev").glob("video*"))
    return sorted(int(name) for name in devices if name.isdigit())


def _look(number: int, open_number: OpenDevice) -> dict[str, Any] | None:
    device = open_number(number)
    try:
        if not device.isOpened() or not device.grab():
            return None
        state = state_of(device, identity_of(number))
        return {
            "number": number,
            "name": state.identity,
            "width": state.width_px,
            "height": state.height_px,
            "format": state.pixel_format,
            "fps": state.fps,
            "controls": dict(state.values),
        }
    finally:
        device.release()
