"""Leafing through the book: lists, one setup, and what the terminal shows."""

import json
import sqlite3

import pytest
from records_kit import START, begin_setup, open_book, whole_setup

from readings import BadInputError
from records import BookMissingError, BookReader, Wanted
from records.database import book_path, connect_reader
from ui.records_command import list_records, show_record


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("home")
    with open_book(folder) as book:
        first = whole_setup(book, verdict="outside")
        book.supersede(first, whole_setup(book), "the part had moved")
        whole_setup(book, part="gear-case end [2]")
        setup_id = begin_setup(book, part="gear-case end 3")
        book.begin_sweep(setup_id, "rough", None, START)
    return folder


@pytest.fixture
def reader(home):
    with BookReader.open(home) as opened:
        yield opened


def numbers(lines):
    return [line.id for line in lines]


def test_the_newest_setup_comes_first(reader):
    lines = reader.list_setups()
    assert numbers(lines) == [4, 3, 2, 1]
    assert [line.state for line in lines] == ["open", "finished", "finished", "finished"]
    assert [line.verdict for line in lines] == [None, "inside", "inside", "outside"]
    assert [line.superseded_by for line in lines] == [None, None, None, 2]
    assert [(line.sweeps, line.photos) for line in lines] == [(1, 0), (1, 1), (1, 1), (1, 1)]


@pytest.mark.parametrize(
    ("wanted", "ids"),
    [
        (Wanted(limit=2), [4, 3]),
        (Wanted(limit=2, before_id=3), [2, 1]),
        (Wanted(verdict="inside"), [3, 2]),
        (Wanted(state="open"), [4]),
        (Wanted(part="gear-case end 1", verdict="outside"), [1]),
        (Wanted(job="another"), []),
    ],
)
def test_the_list_is_narrowed(reader, wanted, ids):
    assert numbers(reader.list_setups(wanted=wanted)) == ids


def test_times_are_utc_and_in_order(reader):
    line = reader.list_setups()[-1]
    assert line.began_utc.startswith("2026-03-02T08:00:0")
    assert line.began_utc.endswith("Z")
    assert line.began_utc < line.ended_utc


def test_an_unknown_setup_or_sweep_is_told(reader):
    with pytest.raises(BadInputError, match="There is no setup 77"):
        reader.show_setup(77)
    with pytest.raises(BadInputError, match="There is no sweep 77"):
        reader.samples(77)


def test_a_reader_cannot_write(home):
    connection = connect_reader(book_path(home))
    with pytest.raises(sqlite3.OperationalError, match="readonly database"):
        connection.execute("INSERT INTO job VALUES (9, 'x', 'y')")
    connection.close()


def test_list_as_json_is_one_strict_value(home, capsys):
    list_records(home, Wanted(), as_json=True)
    lines = json.loads(capsys.readouterr().out)
    assert [line["id"] for line in lines] == [4, 3, 2, 1]
    assert lines[0]["verdict"] is None


def test_list_as_table_shows_brackets_as_typed(home, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "160")
    list_records(home, Wanted(), as_json=False)
    out = capsys.readouterr().out
    assert "gear-case end [2]" in out
    assert "finished, superseded by 2: outside" in out


def test_show_as_json_has_every_sample(home, capsys):
    show_record(home, 1, as_json=True)
    setup = json.loads(capsys.readouterr().out)
    assert len(setup["sweeps"][0]["samples"]["value_mm"]) == 90
    assert setup["settings"]["diameter_mm"] == 52.0


def test_show_as_tables_has_the_numbers_and_the_photo(home, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "160")
    show_record(home, 1, as_json=False)
    out = capsys.readouterr().out
    for expected in (
        "0.010 mm",
        "Result of sweep 1",
        "0.12 mm, u 0.0006",
        "bore gauge",
        "isolated",
    ):
        assert expected in out
    assert f"photo 1: {home / 'photos'}" in out


def test_a_missing_book_is_told(tmp_path):
    with pytest.raises(BookMissingError, match="the first setup makes one"):
        list_records(tmp_path, Wanted(), as_json=True)
