"""Photos for the book: the picture as it was, and with what was read drawn on it."""

import cv2
import numpy as np
from numpy.typing import NDArray

from readings import CollarAngle, FaultError, Reading
from vision.annotate import draw_reading

PHOTO_QUALITY = 90


def photo_pair(
    image: NDArray[np.uint8], reading: Reading, collar: CollarAngle | None
) -> tuple[bytes, bytes]:
    """Return the raw and the annotated JPEG of one picture."""
    return to_jpeg(image, PHOTO_QUALITY), to_jpeg(
        draw_reading(image, reading, collar), PHOTO_QUALITY
    )


def to_jpeg(image: NDArray[np.uint8], quality: int) -> bytes:
    """Return a picture as a JPEG file.

    Raises
    ------
    FaultError
        If it cannot be encoded.
    """
    done, content = cv2.imencode(".jpg", image, (cv2.IMWRITE_JPEG_QUALITY, quality))
    if not done:
        msg = f"a picture of {image.shape} could not be made a JPEG"
        raise FaultError(msg)
    return bytes(content.tobytes())
