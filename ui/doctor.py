"""What is installed, and what to do where something is missing."""

import importlib
import platform
import shutil
import sqlite3
import sys
from dataclasses import dataclass

from ui.home import Home
from ui.output import put_table

OLDEST_SOUND_SQLITE = (3, 51, 3)
"""Older ones can damage a WAL book when two connections meet at a checkpoint
(sqlite.org/changes.html); Sparehand keeps one writer, which avoids it."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at."""

    what: str
    ok: bool
    needed: bool
    found: str
    fix: str = ""


def _package(name: str, module: str, *, needed: bool, fix: str) -> Finding:
    try:
        version = getattr(importlib.import_module(module), "__version__", "installed")
    except ImportError as error:
        return Finding(name, ok=False, needed=needed, found=str(error), fix=fix)
    return Finding(name, ok=True, needed=needed, found=str(version))


def _program(name: str, *commands: str, fix: str) -> Finding:
    path = next((p for c in commands if (p := shutil.which(c))), None)
    return Finding(name, ok=path is not None, needed=False, found=path or "not found", fix=fix)


def _sqlite() -> Finding:
    sound = sqlite3.sqlite_version_info >= OLDEST_SOUND_SQLITE
    return Finding(
        "SQLite",
        ok=True,
        needed=True,
        found=sqlite3.sqlite_version + ("" if sound else " (old: one writer only, as we do)"),
    )


def examine(home: Home) -> list[Finding]:
    """Look at Python, libraries, programs and the home folder."""
    libgl = "apt-get install libgl1 libglib2.0-0 (OpenCV wants the system's libGL)"
    extra = "pip install 'sparehand[app]'"
    return [
        Finding("Python", sys.version_info >= (3, 11), True, platform.python_version()),
        _package("OpenCV", "cv2", needed=True, fix=libgl),
        _package("numpy", "numpy", needed=True, fix="pip install sparehand"),
        _package("scipy", "scipy", needed=True, fix="pip install sparehand"),
        _package("ZeroMQ", "zmq", needed=True, fix="pip install sparehand"),
        _sqlite(),
        _package("dashboard", "streamlit", needed=False, fix=extra),
        _program("Chromium", "chromium", "chromium-browser", "google-chrome", fix="any browser"),
        _program("ffmpeg", "ffmpeg", fix="apt-get install ffmpeg (only for tests of streams)"),
        _dials(home),
    ]


def _dials(home: Home) -> Finding:
    names = home.dials.list()
    return Finding(
        "dials taught",
        ok=bool(names),
        needed=False,
        found=", ".join(names) or "none yet",
        fix="sparehand dial teach FOLDER",
    )


def put_findings(findings: list[Finding]) -> None:
    """Print the findings as a table."""
    put_table(
        "Doctor",
        ("what", "", "found", "to do"),
        ((f.what, "ok" if f.ok else "MISSING", f.found, "" if f.ok else f.fix) for f in findings),
    )
