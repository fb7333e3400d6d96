"""A disk that is full while the book is copied, exported, imported or reported."""

import sys
from contextlib import contextmanager

import pytest
from records_kit import START, open_book, whole_setup
from report_kit import JOB
from test_records_export import export

from readings import BookError
from records import BookFullError, BookReader, check_book
from records.backup_home import backup_home
from records.importing import import_job
from records.salvage import salvage_home
from ui.cli import main

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on files' sizes")


@pytest.fixture
def home(tmp_path):
    home = tmp_path / "home"
    with open_book(home, first_uid=50) as book:
        whole_setup(book)
    return home


@contextmanager
def room_for(size):
    """The system's own limit on the size of a file makes the disk full."""
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_an_export_leaves_no_half_archive(home, tmp_path):
    with room_for(500), pytest.raises(BookFullError, match="is full"):
        export(home, tmp_path / "job.zip")
    assert names(tmp_path) == ["home"]
    export(home, tmp_path / "job.zip")


@pytest.mark.parametrize("size", [300, 20_000])
def test_a_backup_leaves_no_half_copy(home, tmp_path, size):
    with room_for(size), pytest.raises(BookError):
        backup_home(home, tmp_path / "copy", now=START)
    assert names(tmp_path) == ["home"]
    assert backup_home(home, tmp_path / "copy", now=START).damages == ()


def test_a_salvage_leaves_no_half_book_that_passes_for_one(home, tmp_path):
    with room_for(20_000), pytest.raises(BookError):
        salvage_home(home, tmp_path / "saved")
    assert check_book(home) == []


@pytest.mark.parametrize("size", [200, 6_000])
def test_an_import_is_all_or_nothing(home, tmp_path, size):
    export(home, tmp_path / "job.zip")
    with open_book(tmp_path / "there") as book:
        with room_for(size), pytest.raises(BookError):
            import_job(book, tmp_path / "job.zip")
        assert check_book(tmp_path / "there") == []
        with BookReader.open(tmp_path / "there") as reader:
            assert reader.list_setups() == []
        assert import_job(book, tmp_path / "job.zip").setups == 1
    assert check_book(tmp_path / "there") == []


def test_a_report_that_finds_no_room_is_told(home, tmp_path, capsys):
    with room_for(500):
        code = main(["--home", str(home), "records", "report", "1", "--to", str(tmp_path / "r")])
    assert code == 2
    assert "cannot be written" in capsys.readouterr().err


def test_the_book_is_read_where_there_is_no_room_for_a_byte(home):
    with room_for(0), BookReader.open(home) as reader:
        assert [line.job for line in reader.list_setups()] == [JOB]
        assert reader.check() == []
