"""Which cameras this computer has, by their number."""

import sys
from pathlib import Path
from typing import Any

import cv2

MOST = 8


def cameras_that_answer() -> list[dict[str, Any]]:
    """Return number, size and rate of every camera that opens and gives a picture."""
    return [found for number in _numbers() if (found := _look(number)) is not None]


def _numbers() -> list[int]:
    if sys.platform != "linux":
        return list(range(MOST))
    devices = (path.name.removeprefix("video") for path in Path("/dev").glob("video*"))
    return sorted(int(name) for name in devices if name.isdigit())


def _look(number: int) -> dict[str, Any] | None:
    log = cv2.utils.logging
    before = log.getLogLevel()
    log.setLogLevel(log.LOG_LEVEL_SILENT)  # a number that does not answer is no news
    capture = cv2.VideoCapture(number)
    try:
        good, image = capture.read() if capture.isOpened() else (False, None)
        if not good or image is None:
            return None
        height, width = image.shape[:2]
        rate = float(capture.get(cv2.CAP_PROP_FPS))
        return {"number": number, "width": width, "height": height, "fps": rate}
    finally:
        capture.release()
        log.setLogLevel(before)
