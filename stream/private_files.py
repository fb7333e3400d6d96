"""Files that only their owner may read: they never exist with another mode."""

import os
import secrets
from pathlib import Path


def write_private(path: Path, content: bytes, *, replace: bool = True) -> None:
    """Write a whole file of mode 0600; readers see the old one or the new one.

    Raises
    ------
    FileExistsError
        If it is there already and must not be replaced.
    OSError
        If it cannot be written.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        if replace:
            part.replace(path)
        else:
            os.link(part, path)
    finally:
        part.unlink(missing_ok=True)
