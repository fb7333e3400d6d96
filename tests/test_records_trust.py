"""Is the book as it was written? Every change is found, and none crashes the search."""

import hashlib
import json
import shutil
import sqlite3
from contextlib import closing

import pytest
from records_kit import begin_setup, import_another, open_book, pair_plan, tiny_jpeg, whole_setup

from records import BookDamagedError, BookReader, book_path, check_book
from records.chain import GENESIS
from records.tables import RECORDS


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    home = tmp_path_factory.mktemp("written")
    with open_book(home) as book:
        book.supersede(whole_setup(book), whole_setup(book), "the part had moved")
        book.put_session_state("live", b"step 2")
        import_another(book, tmp_path_factory.mktemp("elsewhere"))
        book.keep_plan(pair_plan(), None)
    return home


@pytest.fixture
def home(written, tmp_path):
    copy = tmp_path / "home"
    shutil.copytree(written, copy)
    return copy


def tamper(home, *statements):
    """Change the file as one would who takes the triggers away and puts them back."""
    with closing(sqlite3.connect(book_path(home))) as connection, connection:
        triggers = connection.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall()
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
        for _, sql in triggers:
            connection.execute(sql)


def found(home):
    return {(damage.kind, damage.where) for damage in check_book(home)}


def test_a_whole_book_has_no_damage(home):
    assert check_book(home) == []
    tamper(home)  # the tampering itself leaves no trace: what follows is found for its own sake
    assert check_book(home) == []


def test_the_chain_can_be_walked_from_its_description_alone(written):
    """Hashed anew with the standard library from the words of records.chain."""
    previous = GENESIS
    with closing(sqlite3.connect(book_path(written))) as connection:
        connection.row_factory = sqlite3.Row
        links = connection.execute("SELECT * FROM chain ORDER BY seq").fetchall()
        for seq, link in enumerate(links, start=1):
            query = f"SELECT * FROM {link['table_name']} WHERE id = ?"
            row = connection.execute(query, (link["row_id"],)).fetchone()
            cells = {name: value for name, value in dict(row).items() if value is not None}
            for name, value in cells.items():
                if isinstance(value, bytes):
                    cells[name] = {"sha256": hashlib.sha256(value).hexdigest()}
            record = {"previous": previous, "row": cells, "seq": seq, "table": link["table_name"]}
            text = json.dumps(record, sort_keys=True, separators=(",", ":"))
            assert link["hash"] == hashlib.sha256(text.encode()).hexdigest()
            previous = link["hash"]
        tables = {link["table_name"] for link in links}
    assert tables == set(RECORDS)


@pytest.mark.parametrize(
    ("statement", "where"),
    [
        ("UPDATE tick SET who = 'somebody else' WHERE id = 1", "tick 1"),
        ("UPDATE tick SET ticked = 0 WHERE id = 2", "tick 2"),
        ("UPDATE setup SET tolerance_mm = 0.02 WHERE id = 1", "setup 1"),
        ("UPDATE setup SET tolerance_mm = NULL WHERE id = 1", "setup 1"),
        ("UPDATE setup SET tolerance_source = 'a drawing' WHERE id = 1", "setup 1"),
        ("UPDATE setup_event SET verdict = 'outside' WHERE id = 2", "setup_event 2"),
        ("UPDATE samples SET blob = zeroblob(1200) WHERE id = 3", "samples 3"),
        ("DELETE FROM result WHERE id = 4", "result 4"),
    ],
)
def test_a_changed_record_is_found_and_is_the_only_one_named(home, statement, where):
    tamper(home, statement)
    assert found(home) == {("record", where)}


def test_a_record_that_sparehand_did_not_write_is_found(home):
    tamper(
        home,
        "INSERT INTO tick SELECT 77, setup_id, list_name, line_id, who, 1, at_utc "
        "FROM tick WHERE id = 1",
    )
    assert found(home) == {("record", "tick 77")}


def test_a_broken_chain_is_found(home):
    tamper(home, "DELETE FROM chain WHERE seq = 5")
    kinds = found(home)
    assert ("chain", "link 6") in kinds
    assert any(kind == "record" for kind, _ in kinds)


def test_a_record_hashed_anew_breaks_the_chain_after_it(home):
    """Whoever changes a record and its hash must change every later one."""
    tamper(home, f"UPDATE chain SET hash = '{'a' * 64}' WHERE seq = 4")
    assert ("chain", "link 5") in found(home)


def test_a_lost_and_a_changed_photo_are_found(home):
    with open_book(home) as book:
        book.add_photo(begin_setup(book), tiny_jpeg(60), "second", "raw", {})
    first, second = sorted((home / "photos").iterdir())
    first.unlink()
    changed = bytearray(second.read_bytes())
    changed[len(changed) // 2] ^= 1
    second.write_bytes(changed)
    assert found(home) == {("photo", f"photo {p.name[:12]}") for p in (first, second)}


def test_a_missing_photo_folder_is_told_and_loses_nothing(home):
    shutil.rmtree(home / "photos")
    (damage,) = check_book(home)
    assert damage.sentence.endswith("is missing.")
    with BookReader.open(home) as reader:
        assert not reader.show_setup(1)["photos"][0]["there"]


def test_a_trigger_that_was_taken_away_is_found(home):
    with closing(sqlite3.connect(book_path(home))) as connection, connection:
        connection.execute("DROP TRIGGER tick_no_update")
    assert found(home) == {("database", "tick_no_update")}


def test_a_damaged_session_state_is_found_and_not_used(home):
    with closing(sqlite3.connect(book_path(home))) as connection, connection:
        connection.execute("UPDATE session_state SET state = x'00'")
    assert found(home) == {("scratch", "session live")}
    with open_book(home) as book, pytest.raises(BookDamagedError, match="begin it anew"):
        book.get_session_state("live")


def test_a_file_that_is_no_database_is_told(home):
    book_path(home).write_bytes(b"not a book" * 1000)
    with pytest.raises(BookDamagedError, match=r"is damaged .*copy its folder away"):
        BookReader.open(home)
    with pytest.raises(BookDamagedError, match="is damaged"):
        open_book(home)
    assert [damage.kind for damage in check_book(home)] == ["database"]
