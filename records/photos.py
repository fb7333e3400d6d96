"""Photos as files named by the SHA-256 of their bytes."""

import hashlib
import os
from pathlib import Path
from uuid import uuid4

from readings import BadInputError
from records.errors import told
from records.place import place_of

_JPEG_START = b"\xff\xd8\xff"


def photo_path(home: Path, sha256: str) -> Path:
    """Return where the photo with this hash stands."""
    return place_of(home).photos / f"{sha256}.jpg"


def sha256_of(content: bytes) -> str:
    """Return the SHA-256 of `content` as 64 hexadecimal digits."""
    return hashlib.sha256(content).hexdigest()


def sha256_of_file(path: Path) -> str:
    """Return the SHA-256 of a file of any size."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def keep_photo(home: Path, jpeg: bytes) -> str:
    """Write a photo so that it is on the disk when this returns, and return its SHA-256.

    A whole photo that is there already is left alone; a damaged one is written anew.

    Raises
    ------
    BadInputError
        If the bytes are no JPEG file.
    BookError
        If it cannot be written.
    """
    if not jpeg.startswith(_JPEG_START):
        msg = f"A photo in the book is a JPEG file, and these {len(jpeg)} bytes are none."
        raise BadInputError(msg)
    sha256 = sha256_of(jpeg)
    path = photo_path(home, sha256)
    with told(path):
        path.parent.mkdir(exist_ok=True)
        if not photo_is_whole(path, sha256):
            _write_durably(path, jpeg)
    return sha256


def photo_is_whole(path: Path, sha256: str) -> bool:
    """Whether the file is there and holds what its name says."""
    return path.is_file() and sha256_of(path.read_bytes()) == sha256


def _write_durably(path: Path, content: bytes) -> None:
    # machines that share the folder may keep the same photo at the same moment
    part = path.with_suffix(f".{uuid4().hex}.part")
    try:
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError:
        part.unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":
        return  # Windows has no handle for a folder; its file system journals the name itself
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
