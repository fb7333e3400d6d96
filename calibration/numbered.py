"""Numbered files in a folder, `v0001.npz` and so on: each written whole or not at all."""

import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO


def numbered(folder: Path, letter: str, suffix: str) -> dict[int, Path]:
    """Return the files `letter` + digits + `suffix` of a folder by their numbers."""
    found = folder.glob(f"{letter}*{suffix}")
    return {int(p.stem[1:]): p for p in sorted(found) if p.stem[1:].isdigit()}


def write_whole(path: Path, write: Callable[[BinaryIO], object]) -> None:
    """Write a file beside its place, force it to the disk, and only then put it there.

    The folder is made if it is missing. Whatever goes wrong, no part of a file is left.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            write(file)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
