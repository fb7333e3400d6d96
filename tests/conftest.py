"""Options and fixtures shared by all tests."""

import shutil
import signal
import tempfile
from pathlib import Path

import numpy as np
import pytest

from calibration.dials import DialStore
from simulator import BenchSpec, write_teaching_folder
from vision.teach import teach_dial

HERE = Path(__file__).resolve().parent


def pytest_addoption(parser):
    parser.addoption(
        "--faces",
        default=str(HERE.parent / "sample_images" / "faces"),
        help="folder of taught dials with known truth (default: sample_images/faces)",
    )


ASKED_FOR_ONLY = ("browser", "long")
"""Marks that run only where the mark expression names them."""


def pytest_collection_modifyitems(config, items):
    """Leave `browser` and `long` tests out unless the mark expression names their mark."""
    asked = config.getoption("-m")
    hidden = [mark for mark in ASKED_FOR_ONLY if mark not in asked]
    left = [item for item in items if any(item.get_closest_marker(mark) for mark in hidden)]
    if left:
        config.hook.pytest_deselected(items=left)
        items[:] = [item for item in items if item not in left]


@pytest.fixture(scope="session")
def faces_dir(request):
    """Folder that holds dev1 … dev5."""
    folder = Path(request.config.getoption("--faces"))
    assert folder.is_dir(), f"--faces {folder} is no folder"
    return folder


@pytest.fixture(autouse=True)
def _own_signals():
    """A program that a test plays here may take signals; the next test has its own again."""
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.fixture(scope="session")
def bench_dial(tmp_path_factory):
    """The bench's dial, taught from photos as an owner would."""
    folder = tmp_path_factory.mktemp("bench-dial")
    write_teaching_folder(folder, BenchSpec(), np.random.default_rng(7))
    return DialStore(folder / "dials").save(teach_dial(folder, name="bench-dial"))


@pytest.fixture
def quick_home(tmp_path):
    """An empty home, in memory where there is room: a walk's book commits some hundred times."""
    memory = Path("/dev/shm")
    if not memory.is_dir() or shutil.disk_usage(memory).free < 2**26:
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        yield Path(folder)
