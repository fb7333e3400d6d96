"""The book from the command line: found, copied, taken elsewhere, followed, begun again."""

import json
import zipfile
from datetime import timedelta

import pytest
from records_kit import START, TickingClock, centred, measured, open_book, whole_setup
from stream_paper import BEGIN
from stream_process import running

from readings import BadInputError
from records import BookReader, check_book
from stream.bringing import bring_in
from stream.client import Client
from stream.messages import COMMANDS, COMMANDS_HERE
from ui.cli import main
from ui.records_again import next_part, order_of

JOB = "winding gear of the lower lock"


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    home = tmp_path_factory.mktemp("home")
    with open_book(home) as book:
        whole_setup(book, verdict="outside")
    with open_book(home, TickingClock(START + timedelta(days=30)), first_uid=100) as book:
        whole_setup(book, part="gear-case end 2", machine="bench mill")
    return home


@pytest.fixture
def run(home, capsys):
    """Run a command on a home; return exit code, what went out as JSON, and stderr."""

    def call(*arguments, at=home):
        code = main(["--home", str(at), "records", *map(str, arguments), "--json"])
        out, err = capsys.readouterr()
        return code, json.loads(out) if out else None, err

    return call


@pytest.mark.parametrize(
    ("options", "ids"),
    [
        ([], [2, 1]),
        (["--limit", "1"], [2]),
        (["--part", "gear-case end 1"], [1]),
        (["--job", "another"], []),
        (["--verdict", "outside"], [1]),
        (["--guide", "bore-centre"], [2, 1]),
        (["--guide", "tram"], []),
        (["--machine", "bench mill"], [2]),
        (["--instrument", "dev1"], [2, 1]),
        (["--instrument", "another dial"], []),
        (["--since", "2026-03-03"], [2]),
        (["--until", "2026-03-02"], [1]),
        (["--since", "2026-03-02", "--until", "2026-04-01"], [2, 1]),
        (["--state", "open"], []),
    ],
)
def test_setups_are_found(run, options, ids):
    code, lines, _ = run("list", *options)
    assert code == 0
    assert [line["id"] for line in lines] == ids


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["list", "--since", "last week"], "is no day: give it as"),
        (["list", "--verdict", "good"], "inside, outside, cannot tell"),
        (["list", "--limit", "0"], "limit"),
        (["show", "77"], "no setup 77"),
        (["export", "another job"], "There is no job 'another job'"),
        (["import", "nowhere.zip"], "There is no file"),
        (["again", "77"], "no setup 77"),
        (["again", "1"], "service"),
    ],
)
def test_a_mistake_is_a_sentence(run, arguments, told, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = run(*arguments)
    assert code == 2
    assert out is None
    assert told in err
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


def test_where_nothing_is_found_a_sentence_stands_for_the_table(home, capsys):
    assert main(["--home", str(home), "records", "list", "--job", "another"]) == 0
    out, err = capsys.readouterr()
    assert (out, err) == ("", "The book has no such setup.\n")


def test_whoever_has_only_the_demos_book_is_told_how_to_open_it(tmp_path, capsys):
    with open_book(tmp_path / "demo") as book:
        whole_setup(book)
    assert main(["--home", str(tmp_path), "records", "list"]) == 2
    assert "--demo opens it" in capsys.readouterr().err
    assert main(["--home", str(tmp_path), "records", "list", "--demo"]) == 0
    out, err = capsys.readouterr()
    assert "gear-case end 1" in out
    assert "--demo" not in err


def test_a_job_goes_out_and_comes_into_another_home(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, told, _ = run("export", JOB)
    assert (code, told["setups"], told["archive"]) == (0, 2, "winding-gear-of-the-lower-lock.zip")
    with zipfile.ZipFile(told["archive"]) as archive:
        assert "samples.csv" in archive.namelist()
    code, _, err = run("export", JOB)
    assert code == 2
    assert "is there already" in err

    there = tmp_path / "there"
    code, told, _ = run("import", "winding-gear-of-the-lower-lock.zip", at=there)
    assert (code, told["setups"], told["photos"]) == (0, 2, 1)
    assert check_book(there) == []
    code, told, _ = run("import", "winding-gear-of-the-lower-lock.zip", at=there)
    assert (code, told["setups"], told["already_there"]) == (0, 0, 2)


def test_a_backup_of_a_book_that_is_written_is_a_home_of_its_own(tmp_path, run):
    home = tmp_path / "home"
    with open_book(home) as book:
        whole_setup(book)
        code, made, _ = run("backup", tmp_path / "copy", at=home)
        whole_setup(book)
    assert (code, made["setups"], made["photos"], made["damages"]) == (0, 1, 1, [])
    assert check_book(tmp_path / "copy") == []
    with BookReader.open(tmp_path / "copy") as reader:
        assert reader.show_setup(1)["photos"][0]["there"]
    code, _, err = run("backup", tmp_path / "copy", at=home)
    assert code == 2
    assert "is not empty" in err
    assert run("backup", at=home)[0] == 0
    assert len(list((home / "backups").iterdir())) == 1


def test_a_backup_of_a_damaged_book_says_so(tmp_path, run):
    home = tmp_path / "home"
    with open_book(home) as book:
        whole_setup(book)
    next((home / "photos").iterdir()).unlink()
    code, made, _ = run("backup", tmp_path / "copy", at=home)
    assert code == 2
    assert [damage["kind"] for damage in made["damages"]] == ["photo"]


# ---- trends

PER_MONTH_MM = 0.004


def tram(lean_mm):
    return measured("lean_x", lean_mm, unit="mm per 300", label="lean to the right")


@pytest.fixture
def followed(tmp_path):
    """Four trams, a month apart, each 0.004 mm per 300 farther over; a month is 30.4375 days."""
    for month in range(4):
        clock = TickingClock(START + timedelta(days=30.4375 * month))
        with open_book(tmp_path, clock, first_uid=100 * (month + 1)) as book:
            part = book.ensure_part("machines", "bench mill")
            setup = book.begin_setup(part, "tram", "Tram", 0.02, {}, machine="bench mill")
            book.add_result(setup, "tram", 1, tram(0.01 + PER_MONTH_MM * month))
            book.add_result(setup, "tram", 1, tram(0.001))  # put right: not the machine's doing
            book.finish_setup(setup, {"verdict": "inside"})
    return tmp_path


def test_the_tram_is_followed_over_months(followed, run):
    code, told, _ = run("trends", at=followed)
    assert code == 0
    assert [point["setup_id"] for point in told["points"]] == [1, 2, 3, 4]
    assert {point["key"] for point in told["points"]} == {"tram_x"}
    (line,) = told["lines"]
    assert line["per_month"] == pytest.approx(PER_MONTH_MM)
    assert run("trends", "--machine", "the other", at=followed)[1] == {"points": [], "lines": []}


def test_trends_are_tables_too(followed, capsys):
    assert main(["--home", str(followed), "records", "trends"]) == 0
    out, err = capsys.readouterr()
    assert "Head leans to the right" in out
    assert "+0.0040 ± 0.0000 mm per 300 a month" in err


def test_locking_shift_is_the_last_loose_pair_against_the_first_locked_one(tmp_path, run):
    with open_book(tmp_path) as book:
        part = book.ensure_part("job", "part")
        setup = book.begin_setup(part, "centre-bore", "Centre", 0.02, {})
        for offset, locked in ((0.3, False), (0.002, False), (0.009, True), (0.001, True)):
            book.add_result(setup, "centring", 1, centred(offset, locked=locked))
        book.finish_setup(setup, {"verdict": "inside"})
    points = {p["key"]: p for p in run("trends", at=tmp_path)[1]["points"]}
    assert points["lock_x"]["value"] == pytest.approx(0.007)
    assert points["lock_x"]["u"] == pytest.approx(0.0003 * 2**0.5)
    assert points["lock_y"]["value"] == 0.0


# ---- again


@pytest.mark.parametrize(
    ("part", "following"),
    [
        ("Gear-case end 1", "Gear-case end 2"),
        ("End 09", "End 10"),
        ("4 of 7, left", "4 of 8, left"),
    ],
)
def test_the_next_part_is_counted_on(part, following):
    assert next_part(part) == following


def test_sizes_given_last_are_those_that_go_on():
    sizes = [{"key": "arm", "value": 100.0}, {"key": "arm", "value": 120.0}]
    setup = {
        "id": 3, "guide": "tram", "job": "j", "part": "p 1", "operation": None,
        "tolerance_mm": 0.02, "tolerance_source": None, "machine": "bench mill",
        "settings": {"sizes": {"arm": 90.0, "tip": 2.0}}, "sizes": sizes,
    }  # fmt: skip
    assert order_of(setup, "p 9") == {
        "guide": "tram", "job": "j", "part": "p 9", "tolerance_mm": 0.02,
        "machine": "bench mill", "sizes": {"arm": 120.0, "tip": 2.0}, "again_of": 3,
    }  # fmt: skip


def test_the_same_setup_begins_for_the_next_part(tmp_path, capsys):
    """Through a real service: what it keeps is what the first one was begun with."""
    order = {
        "guide": "centre-bore",
        "job": "Lock paddle winding gear",
        "part": "Gear-case end 1",
        "operation": "Bore 52 mm seat",
        "tolerance_mm": 0.005,
        "tolerance_source": "the owner's drawing",
        "diameter_mm": 52.0,
        "machine": "bench mill",
    }
    with running(tmp_path):
        with Client(tmp_path) as client:
            assert client.command("begin", **order).ok
            assert main(["--home", str(tmp_path), "records", "again", "1"]) == 2
            assert "Gear-case end 2" not in capsys.readouterr().err
            assert client.command("abandon").ok
        assert main(["--home", str(tmp_path), "records", "again", "1"]) == 0
        assert "Setup 2 begins on Gear-case end 2" in capsys.readouterr().err
        with BookReader.open(tmp_path) as reader:
            first, second = (reader.show_setup(n) for n in (1, 2))
    assert second["part"] == "Gear-case end 2"
    assert second["again_of_uid"] == first["uid"]
    for name in ("job", "operation", "guide", "settings", "tolerance_source", "machine"):
        assert second[name] == first[name]


# ---- supersede


def test_a_later_setup_counts_in_place_of_an_earlier_one(tmp_path, capsys):
    """By this process, and through a service where one runs."""
    with open_book(tmp_path) as book:
        for _ in range(4):
            whole_setup(book)
    home = ("--home", str(tmp_path), "records", "supersede")
    why = ("--reason", "the part had moved")
    assert main([*home, "1", "--by", "2", *why]) == 0
    assert "setup 2 does" in capsys.readouterr().err
    with running(tmp_path):
        assert main([*home, "3", "--by", "4", *why]) == 0
        assert main([*home, "1", "--by", "4", *why]) == 2
    assert "was superseded by setup 2 already" in capsys.readouterr().err
    with BookReader.open(tmp_path) as reader:
        assert [line.superseded_by for line in reader.list_setups()] == [None, 4, None, 2]
    assert check_book(tmp_path) == []


@pytest.mark.parametrize(
    ("setup", "by", "reason", "told"),
    [
        ("2", "1", "why", "is not later than 2"),
        ("1", "77", "why", "There is no setup 77"),
        ("1", "2", " ", "reason"),
    ],
)
def test_what_cannot_be_superseded_is_told(tmp_path, capsys, setup, by, reason, told):
    with open_book(tmp_path) as book:
        whole_setup(book)
        whole_setup(book)
    arguments = ["--home", str(tmp_path), "records", "supersede", setup, "--by", by]
    assert main([*arguments, "--reason", reason]) == 2
    assert told in capsys.readouterr().err


# ---- import while the service runs


def test_a_job_comes_in_through_the_running_service(run, tmp_path, monkeypatch, capsys):
    assert run("export", JOB, "--to", tmp_path / "job.zip")[0] == 0
    there = tmp_path / "there"
    with running(there):
        code, told, _ = run("import", tmp_path / "job.zip", at=there)
        assert (code, told["setups"], told["photos"]) == (0, 2, 1)
        code, told, _ = run("import", tmp_path / "job.zip", at=there)
        assert (told["setups"], told["already_there"]) == (0, 2)
        (tmp_path / "none.zip").write_text("not a zip")
        code, _, err = run("import", tmp_path / "none.zip", at=there)
        assert code == 2
        assert "is no whole archive" in err
        with Client(there) as client:
            assert client.command("begin", **BEGIN).ok
        code, _, err = run("import", tmp_path / "job.zip", at=there)
        assert code == 2
        assert "A setup is running" in err
    assert check_book(there) == []


def test_too_large_an_archive_is_not_taken_while_the_service_runs(run, tmp_path, monkeypatch):
    assert run("export", JOB, "--to", tmp_path / "job.zip")[0] == 0
    monkeypatch.setattr("stream.bringing.MOST_SETUPS", 1)
    with open_book(tmp_path / "home") as book:
        with pytest.raises(BadInputError, match="holds 2 setups, more than the 1"):
            bring_in(book, {"path": str(tmp_path / "job.zip")})
        with pytest.raises(BadInputError, match="needs path"):
            bring_in(book, {})


def test_the_page_cannot_ask_for_an_import():
    assert "import" not in COMMANDS
    assert "import" in COMMANDS_HERE
