"""Bytes changed at random, pages wiped, files gone: found, told, and what can be is saved."""

import random
import shutil
import sqlite3
from contextlib import closing

import pytest
from records_kit import import_another, open_book, whole_setup

from readings import BadInputError, BookError, SparehandError
from records import BookDamagedError, BookReader, book_path, check_book
from records.report.making import report_of_setup
from records.salvage import LOST, salvage_home
from ui.cli import main

PAGE = 4096
ENDINGS = ("-wal", "-shm")


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    home = tmp_path_factory.mktemp("written")
    with open_book(home) as book:
        book.supersede(whole_setup(book), whole_setup(book), "the part had moved")
        book.put_session_state("live", b"step 2")
        import_another(book, tmp_path_factory.mktemp("elsewhere"))
        for part in range(3, 12):
            whole_setup(book, part=f"gear-case end {part}")
    return home


@pytest.fixture
def home(written, tmp_path):
    copy = tmp_path / "home"
    shutil.copytree(written, copy)
    return copy


# ---- single bytes


@pytest.mark.parametrize("changes", [25, pytest.param(200, marks=pytest.mark.long)])
def test_a_changed_byte_is_found_or_lies_in_unused_space(home, changes):
    """What is unused is decided by SQLite's own dump of every row and table; of photos, nothing."""
    files = [book_path(home), *sorted((home / "photos").iterdir())]
    whole = dump(home)
    generator = random.Random(20260302)
    missed = []
    for number in range(changes):
        path = files[0] if number % 4 else generator.choice(files[1:])
        original = path.read_bytes()
        place = generator.randrange(len(original))
        changed = bytearray(original)
        changed[place] ^= 1 << generator.randrange(8)
        path.write_bytes(changed)
        unused = path == files[0] and dump(home) == whole
        if not (damage_seen(home) or unused):
            missed.append((path.name, place))
        nothing_crashes(home, with_report=number % 8 == 0)
        forget_log(home)
        path.write_bytes(original)
    assert missed == []
    assert check_book(home) == []


def nothing_crashes(home, *, with_report=True):
    """Whatever is asked of a damaged book: an answer, or a sentence."""
    try:
        with BookReader.open(home) as reader:
            for line in reader.list_setups():
                reader.show_setup(line.id)
            if with_report:
                report_of_setup(reader, 1, made_utc="2026-03-05T00:00:00Z")
    except SparehandError:
        pass  # any other error would end the test


def damage_seen(home):
    try:
        return check_book(home) != []
    except BookError:
        return True


def dump(home):
    with closing(sqlite3.connect(f"{book_path(home).as_uri()}?immutable=1", uri=True)) as raw:
        try:
            return list(raw.iterdump())
        except (sqlite3.Error, UnicodeDecodeError, ValueError) as error:
            return repr(error)


def forget_log(home):
    for ending in ENDINGS:
        (home / f"book.sqlite3{ending}").unlink(missing_ok=True)


# ---- what can be saved


def wipe(home, *pages):
    """Overwrite whole pages of the database, as a bad sector would."""
    with book_path(home).open("r+b") as file:
        for page in pages:
            file.seek(page * PAGE)
            file.write(b"\xa5" * PAGE)


def page_of(home, table):
    """The last leaf page of a table: what sits at a number of pages of its tree."""
    with closing(sqlite3.connect(book_path(home))) as raw:
        query = "SELECT rootpage FROM sqlite_master WHERE name = ?"
        return raw.execute(query, (table,)).fetchone()[0] - 1


def test_of_a_whole_book_everything_is_saved(home, tmp_path):
    saved = salvage_home(home, tmp_path / "saved")
    assert (saved.setups, saved.records_lost, saved.photos, saved.photos_lost) == (12, 0, 1, 0)
    with BookReader.open(home) as origin, BookReader.open(tmp_path / "saved") as there:
        assert there.list_setups() == origin.list_setups()
        for line in origin.list_setups():
            ours, old = there.show_setup(line.id), origin.show_setup(line.id)
            for setup in (ours, old):
                for photo in setup["photos"]:
                    del photo["path"]
            assert ours == old
    assert [damage.where for damage in check_book(tmp_path / "saved")] == ["file header"]


def test_what_was_saved_is_read_and_exported_but_never_written(home, tmp_path, capsys):
    salvage_home(home, tmp_path / "saved")
    with pytest.raises(BookDamagedError, match=r"is only read: give a new book another"):
        open_book(tmp_path / "saved")
    job = "winding gear of the lower lock"
    arguments = ["--home", str(tmp_path / "saved"), "records", "export", job]
    assert main([*arguments, "--to", str(tmp_path / "job.zip")]) == 0
    arguments = ["--home", str(tmp_path / "new"), "records", "import", str(tmp_path / "job.zip")]
    assert main(arguments) == 0
    assert check_book(tmp_path / "new") == []


@pytest.mark.parametrize("table", ["tick", "result", "samples", "part", "job", "photo"])
def test_a_wiped_page_costs_what_stood_on_it_and_no_more(home, tmp_path, table, capsys):
    wipe(home, page_of(home, table))
    assert check_book(home) != []
    nothing_crashes(home)
    forget_log(home)
    saved = salvage_home(home, tmp_path / "saved")
    assert saved.setups == 12
    assert 0 < saved.records_lost < saved.records
    with BookReader.open(tmp_path / "saved") as reader:
        lines = reader.list_setups()
        shown = [reader.show_setup(line.id) for line in lines]
    assert len(lines) == 12
    assert all(line.state == "finished" for line in lines)
    names = {line.part if table == "part" else line.job for line in lines}
    assert any(LOST in name for name in names) == (table in ("part", "job"))
    if table != "samples":
        assert sum(sweep["count"] for setup in shown for sweep in setup["sweeps"]) == 12 * 90


def test_a_changed_record_is_not_saved(home, tmp_path):
    with closing(sqlite3.connect(book_path(home))) as raw, raw:
        raw.execute("DROP TRIGGER setup_event_no_update")
        raw.execute("UPDATE setup_event SET verdict = 'outside' WHERE id = 3")
    saved = salvage_home(home, tmp_path / "saved")
    assert saved.records_lost == 1


def test_a_damaged_seal_is_proven_by_its_neighbour(home, tmp_path):
    with closing(sqlite3.connect(book_path(home))) as raw, raw:
        raw.execute("DROP TRIGGER chain_no_update")
        raw.execute(f"UPDATE chain SET hash = '{'a' * 64}' WHERE seq = 9")
    assert salvage_home(home, tmp_path / "saved").records_lost == 0


def test_damaged_first_words_are_put_right_in_the_copy(home, tmp_path):
    with book_path(home).open("r+b") as file:
        file.write(b"SQLITE")
    with pytest.raises(BookDamagedError, match="save what can be saved"):
        BookReader.open(home)
    assert salvage_home(home, tmp_path / "saved").setups == 12


def test_a_damaged_photo_is_left_out_and_counted(home, tmp_path):
    next((home / "photos").iterdir()).write_bytes(b"\xff\xd8\xff nothing")
    saved = salvage_home(home, tmp_path / "saved")
    assert (saved.photos, saved.photos_lost) == (0, 1)


def test_where_nothing_can_be_saved_it_is_told(home, tmp_path, capsys):
    wipe(home, *range(book_path(home).stat().st_size // PAGE))
    with pytest.raises(BadInputError, match="Not one record of"):
        salvage_home(home, tmp_path / "saved")
    assert not (tmp_path / "saved").exists()
    arguments = ["--home", str(home), "records", "salvage", str(tmp_path / "saved")]
    assert main(arguments) == 2
    assert "backups folder" in capsys.readouterr().err


def test_salvage_only_reads_and_overwrites_nothing(home, tmp_path):
    before = {path: path.read_bytes() for path in home.rglob("*") if path.is_file()}
    salvage_home(home, tmp_path / "saved")
    with pytest.raises(BadInputError, match="is not empty"):
        salvage_home(home, tmp_path / "saved")
    assert {path: path.read_bytes() for path in home.rglob("*") if path.is_file()} == before
