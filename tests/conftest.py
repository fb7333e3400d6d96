"""Options and fixtures shared by all tests."""

from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent


def pytest_addoption(parser):
    parser.addoption(
        "--faces",
        default=str(HERE.parent / "sample_images" / "faces"),
        help="folder of taught dials with known truth (default: sample_images/faces)",
    )


def pytest_collection_modifyitems(config, items):
    """Leave `long` tests out unless the mark expression names them."""
    if "long" in config.getoption("-m"):
        return
    kept = [item for item in items if item.get_closest_marker("long") is None]
    left = [item for item in items if item.get_closest_marker("long") is not None]
    if left:
        config.hook.pytest_deselected(items=left)
        items[:] = kept


@pytest.fixture(scope="session")
def faces_dir(request):
    """Folder that holds dev1 … dev5."""
    folder = Path(request.config.getoption("--faces"))
    assert folder.is_dir(), f"--faces {folder} is no folder"
    return folder
