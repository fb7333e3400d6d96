"""Pictures of an HTTP address that sends one JPEG after another, as phones and cameras do.

Read here and not by a video library: that one looks at seconds of a stream before its first
picture and hands the pictures that queued up meanwhile on as new.
"""

import base64
import http.client
import re
import urllib.request
from typing import IO
from urllib.error import URLError
from urllib.parse import unquote, urlsplit

import cv2
import numpy as np
from numpy.typing import NDArray

WAIT_S = 3.0
"""How long an address may take to answer, and a picture to come."""
LARGEST_PICTURE = 16 * 1024 * 1024
_CHUNK = 16 * 1024
_BEGIN, _END = b"\xff\xd8\xff", b"\xff\xd9"
_LENGTH = re.compile(rb"content-length:\s*(\d{1,8})\s*\r?\n", re.IGNORECASE)


class MjpegCapture:
    """One connection. `grab` takes the next picture's bytes, `retrieve` decodes them."""

    def __init__(self, url: str, *, wait_s: float = WAIT_S) -> None:
        self._buffer = bytearray()
        self._jpeg = b""
        self._searched = 0
        self._stream: IO[bytes] | None = None
        self.answered = False
        """Whether anybody listens at the address."""
        self._pictures = False
        try:
            self._stream = urllib.request.urlopen(_request(url), timeout=wait_s)  # noqa: S310
        except (URLError, OSError, ValueError, http.client.HTTPException):
            return
        self.answered = True
        self._pictures = self._first()

    def _first(self) -> bool:
        """Whether a JPEG begins within the first bytes."""
        while len(self._buffer) < 4 * _CHUNK and self._more():
            if _BEGIN in self._buffer:
                return True
        return False

    def _more(self) -> bool:
        """Read what has come; False where the stream ended or fell silent."""
        if self._stream is None:
            return False
        try:
            chunk = self._stream.read1(_CHUNK)  # type: ignore[attr-defined]
        except (OSError, ValueError, http.client.HTTPException):
            return False
        self._buffer += chunk
        return bool(chunk)

    def isOpened(self) -> bool:  # noqa: N802 - as OpenCV's capture calls it
        """Whether pictures come."""
        return self._stream is not None and self._pictures

    def grab(self) -> bool:
        """Take the next whole picture; False where none comes any more."""
        while True:
            begin, end = self._whole()
            if end >= 0:
                self._jpeg = bytes(self._buffer[begin:end])
                del self._buffer[:end]
                self._searched = 0
                return True
            if len(self._buffer) > LARGEST_PICTURE or not self._more():
                return False

    def _whole(self) -> tuple[int, int]:
        """Return where the first picture begins and ends; -1 while that is not here yet."""
        begin = self._buffer.find(_BEGIN)
        if begin < 0:
            return -1, -1
        told = _LENGTH.findall(self._buffer, 0, begin)
        if told:
            end = begin + int(told[-1])
            return begin, end if end <= len(self._buffer) else -1
        end = self._buffer.find(_END, max(begin + 3, self._searched))
        self._searched = max(0, len(self._buffer) - 1)
        return begin, end + 2 if end >= 0 else -1

    def retrieve(self) -> tuple[bool, NDArray[np.uint8] | None]:
        """Decode the picture taken."""
        if not self._jpeg:
            return False, None
        image = cv2.imdecode(np.frombuffer(self._jpeg, dtype=np.uint8), cv2.IMREAD_COLOR)
        return image is not None, None if image is None else np.asarray(image, dtype=np.uint8)

    def get(self, what: int, /) -> float:
        """Return no property: an address tells none (-1, as OpenCV does)."""
        del what
        return -1.0

    def set(self, what: int, value: float, /) -> bool:
        """Set nothing: a stream comes as it is."""
        del what, value
        return False

    def release(self) -> None:
        """Close the connection."""
        if self._stream is not None:
            self._stream.close()
            self._stream = None


def _request(url: str) -> urllib.request.Request:
    """Return the request for an address; a name and password in it go into the header."""
    parts = urlsplit(url)
    host = parts.netloc.rpartition("@")[2]
    request = urllib.request.Request(parts._replace(netloc=host).geturl())  # noqa: S310
    if parts.username is not None:
        pair = f"{unquote(parts.username)}:{unquote(parts.password or '')}"
        request.add_header("Authorization", f"Basic {base64.b64encode(pair.encode()).decode()}")
    return request
