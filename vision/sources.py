"""Where pictures come from: a folder of pictures, one picture, or a video file.

Every source numbers its frames from 0 and gives each its own time: index / fps for pictures,
presentation time for a video. A picture that cannot be decoded is a frame without image and
with the flag "unreadable file"; only a source that has nothing at all is an error.
"""

import re
from collections.abc import Iterator
from math import isfinite
from pathlib import Path

import cv2
import numpy as np

from readings import Frame, FrameSource, SourceError

PICTURES = frozenset({".jpg", ".jpeg", ".png", ".bmp", ".tif", ".tiff", ".webp"})
VIDEOS = frozenset({".mp4", ".avi", ".mov", ".mkv", ".m4v", ".webm", ".mpg", ".mpeg"})


def natural_key(path: Path) -> list[tuple[int, int, str]]:
    """Return a key that sorts names as a person would: 9.jpg before 10.jpg."""
    parts = re.split(r"(\d+)", path.name.lower())
    return [(0, int(part), "") if part.isdigit() else (1, 0, part) for part in parts if part]


def read_picture(path: Path) -> np.ndarray | None:
    """Return a picture as (height, width, 3) uint8 BGR, read-only; None if it is none."""
    try:
        data = np.fromfile(path, dtype=np.uint8)
    except OSError:
        return None
    if data.size == 0:
        return None
    try:
        image = cv2.imdecode(data, cv2.IMREAD_COLOR)
    except cv2.error:
        return None
    if image is None:
        return None
    image.flags.writeable = False
    return np.asarray(image)


class PictureSource:
    """Pictures from files, in the order given, as if taken at a steady rate."""

    def __init__(self, name: str, files: list[Path], root: Path, fps: float) -> None:
        self._name = name
        self._files = files
        self._root = root
        self._fps = fps

    @property
    def name(self) -> str:
        """The folder or file it was opened from."""
        return self._name

    def __len__(self) -> int:
        return len(self._files)

    def frames(self) -> Iterator[Frame]:
        """Yield one frame a file; a file that is no picture is a frame without image."""
        for index, path in enumerate(self._files):
            image = read_picture(path)
            flags = () if image is not None else ("unreadable file",)
            name = path.relative_to(self._root).as_posix()
            yield Frame(image, index / self._fps, index, self._name, name, flags)

    def close(self) -> None:
        """Nothing is held open."""


class VideoSource:
    """Frames of a video file, timed by their presentation time."""

    def __init__(self, name: str, capture: cv2.VideoCapture, fps: float) -> None:
        self._name = name
        self._capture = capture
        self._fps = capture.get(cv2.CAP_PROP_FPS) or fps

    @property
    def name(self) -> str:
        """The file it was opened from."""
        return self._name

    def frames(self) -> Iterator[Frame]:
        """Yield the frames in order until the video ends."""
        index, last = 0, -1.0
        while True:
            good, image = self._capture.read()
            if not good or image is None:
                return
            t_s = self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1e3
            if t_s <= last:  # some containers carry no presentation times
                t_s = last + 1.0 / self._fps if index else 0.0
            last = t_s
            image.flags.writeable = False
            yield Frame(np.asarray(image, dtype=np.uint8), t_s, index, self._name)
            index += 1

    def close(self) -> None:
        """Release the file."""
        self._capture.release()


def _pictures_in(folder: Path) -> list[Path]:
    if not folder.is_dir():
        return []
    seen = (p for p in folder.iterdir() if not p.name.startswith("."))
    found = [p for p in seen if p.suffix.lower() in PICTURES and p.is_file()]
    return sorted(found, key=natural_key)


def _open_folder(path: Path, fps: float) -> PictureSource:
    files = _pictures_in(path) or _pictures_in(path / "frames")
    if not files:
        kinds = ", ".join(sorted(PICTURES))
        msg = f"The folder {path} holds no picture: I read {kinds}."
        raise SourceError(msg)
    return PictureSource(str(path), files, path, fps)


def _open_picture(path: Path, fps: float) -> PictureSource:
    if read_picture(path) is None:
        msg = f"{path} is empty or cannot be decoded as a picture: take or export it again."
        raise SourceError(msg)
    return PictureSource(str(path), [path], path.parent, fps)


def _open_video(path: Path, fps: float) -> VideoSource:
    capture = _capture(path)
    good = capture.isOpened() and capture.grab()
    capture.release()
    if not good:
        msg = f"{path} cannot be opened as a video, or holds no frame: export it as MP4 (H.264)."
        raise SourceError(msg)
    return VideoSource(str(path), _capture(path), fps)


def _capture(path: Path) -> cv2.VideoCapture:
    """Open a video by FFmpeg where it is built in: the other decoders print lines of their own."""
    known = cv2.videoio_registry.getBackends()
    return cv2.VideoCapture(str(path), cv2.CAP_FFMPEG if cv2.CAP_FFMPEG in known else cv2.CAP_ANY)


def open_source(spec: str | Path, *, fps: float = 15.0) -> FrameSource:
    """Open a folder of pictures (or with them in its `frames/`), a picture or a video file.

    `fps` times the pictures of a folder, and a video that carries no rate.

    Raises
    ------
    SourceError
        If it is missing, unreadable, of an unknown kind or empty, or `fps` is not positive.
    """
    path = Path(spec)
    if not (isfinite(fps) and fps > 0):
        msg = f"{fps:g} frames a second were given: the rate must be above zero and finite."
        raise SourceError(msg)
    if not path.exists():
        msg = f"There is no {path}: give a folder of pictures, a picture or a video file."
        raise SourceError(msg)
    if path.is_dir():
        return _open_folder(path, fps)
    kind = path.suffix.lower()
    if kind in PICTURES:
        return _open_picture(path, fps)
    if kind in VIDEOS:
        return _open_video(path, fps)
    known = ", ".join(sorted(PICTURES | VIDEOS))
    msg = f"{path} is of no kind I read: give a folder of pictures or a file of {known}."
    raise SourceError(msg)
