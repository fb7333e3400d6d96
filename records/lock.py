"""One writer a home folder: a lock that the system lets go when its holder dies."""

import os
import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

import msgspec

from records.errors import BookLockedError, told
from records.plain import utc_text

LOCK_NAME = "book.lock"
_WINDOWS_BYTE = 1 << 30
"""Far behind the note, which others must be able to read while the lock is held."""


class Holder(msgspec.Struct, frozen=True):
    """Who holds the lock, as noted in the lock file for the others' error message."""

    pid: int
    since_utc: str
    program_version: str


if sys.platform == "win32":
    import msvcrt

    def _try_lock(file: BinaryIO) -> bool:
        file.seek(_WINDOWS_BYTE)
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except PermissionError:
            return False
        return True

    def _unlock(file: BinaryIO) -> None:
        file.seek(_WINDOWS_BYTE)
        msvcrt.locking(file.fileno(), msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _try_lock(file: BinaryIO) -> bool:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _unlock(file: BinaryIO) -> None:
        fcntl.flock(file, fcntl.LOCK_UN)


@dataclass(frozen=True, slots=True)
class WriterLock:
    """The lock of a home folder, held until `release` or the end of the process.

    The file stays when the lock is released: removing it would let two writers
    lock two files of one name. A file left by a killed process locks nobody out.
    """

    file: BinaryIO

    @classmethod
    def take(cls, home: Path, *, program_version: str, now: datetime) -> "WriterLock":
        """Take the lock of `home` without waiting.

        Raises
        ------
        BookLockedError
            If another process (or another book of this one) holds it; says which.
        BookError
            If the lock file cannot be made or this disk knows no locks.
        """
        path = home / LOCK_NAME
        with told(path):
            file = os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT, 0o644), "r+b", buffering=0)
            try:
                if not _try_lock(file):
                    raise _locked(home, _holder(file))
                _note(file, Holder(os.getpid(), utc_text(now), program_version))
            except BaseException:
                file.close()
                raise
        return cls(file)

    def release(self) -> None:
        """Let go; may be called twice."""
        if self.file.closed:
            return
        self.file.truncate(0)
        _unlock(self.file)
        self.file.close()


def _note(file: BinaryIO, holder: Holder) -> None:
    file.truncate(0)
    file.seek(0)
    file.write(msgspec.json.encode(holder))


def _holder(file: BinaryIO) -> Holder | None:
    file.seek(0)
    try:
        return msgspec.json.decode(file.read(4096), type=Holder)
    except msgspec.MsgspecError:
        return None


def _locked(home: Path, holder: Holder | None) -> BookLockedError:
    who = "another process"
    if holder is not None:
        who = f"process {holder.pid} (Sparehand {holder.program_version} since {holder.since_utc})"
    return BookLockedError(
        f"The record book in {home} is being written by {who}, and one at a time may write: "
        "stop that one first, or give this one another folder with --home."
    )
