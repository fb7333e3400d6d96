"""A job leaves the book as one archive, and comes into another without loss."""

import csv
import hashlib
import io
import json
import math
import shutil
import subprocess
import zipfile
from pathlib import Path

import pytest
from records_kit import (
    START,
    TickingClock,
    batch,
    begin_setup,
    open_book,
    tiny_jpeg,
    whole_setup,
)

from readings import BadInputError
from records import Book, BookReader, check_book
from records.archive import STATED
from records.columns import TABLES, described
from records.exporting import export_job
from records.importing import import_job

JOB = "winding gear of the lower lock"


def fill(book):
    first = whole_setup(book, verdict="outside", tolerance_source="=the owner's drawing")
    second = whole_setup(book, part="gear-case end 2", machine="bench mill", again_of=first)
    book.supersede(first, second, "the part had moved")
    given_up = begin_setup(book, part="gear-case end 3")
    book.begin_sweep(given_up, "turns", None, START, kind="stops")
    book.add_photo(given_up, tiny_jpeg(30), "łożysko 52 mm", "annotated", {"value_mm": 0.1})
    book.abandon_setup(given_up, "the casting is cracked")
    settings = {"angle": "collar", "collar_zero_rad": 0.5, "collar_sense": -1}
    collared = begin_setup(book)
    sweep = book.begin_sweep(collared, "turns", "clockwise", START, settings=settings)
    book.append_samples(sweep, 0, batch(0))
    book.end_sweep(sweep, "complete")
    book.finish_setup(collared, {"verdict": "inside"})
    return first, second, given_up, collared


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    made = tmp_path_factory.mktemp("origin")
    with open_book(made) as book:
        other = book.ensure_part("another job", "a part")
        book.begin_setup(other, "bore-centre", "first in the book", 0.01, {})
        fill(book)
    return made


def export(home, target, job=JOB):
    with BookReader.open(home) as reader:
        return export_job(
            reader, job, target, exported_utc="2026-03-05T00:00:00Z", program_version="0.1.0"
        )


@pytest.fixture(scope="module")
def archive(home, tmp_path_factory):
    target = tmp_path_factory.mktemp("out") / "job.zip"
    export(home, target)
    return target


def files(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def but_for_stated(content):
    manifest = json.loads(content["manifest.json"])
    for name in STATED:
        del manifest[name]
    sums = [line for line in content["checksums.txt"].splitlines() if b"manifest.json" not in line]
    return {**content, "manifest.json": manifest, "checksums.txt": sums}


def other_uids():
    return lambda: "f" * 31 + "0"


def bring_in(archive, home):
    with Book.open(
        home, program_version="9.9.9", now=TickingClock(START.replace(year=2027)),
        new_uid=other_uids(),
    ) as book:  # fmt: skip
        return import_job(book, archive)


def test_export_import_and_export_again_give_the_same_bytes(archive, tmp_path):
    there = tmp_path / "there"
    # other work came first: no number is the same there
    with open_book(there, first_uid=5000) as book:
        part = book.ensure_part("a third job", "a part")
        begun = book.begin_setup(part, "bore-centre", "first of all", 0.01, {})
        book.end_sweep(book.begin_sweep(begun, "turns", None, START), "void")
        book.ensure_operation(book.ensure_part("a third job", "another part"), "nothing")
    told = bring_in(archive, there)
    assert (told.setups, told.already_there, told.photos) == (4, 0, 2)
    assert check_book(there) == []
    export(there, tmp_path / "again.zip")
    again = files(tmp_path / "again.zip")
    assert but_for_stated(again) == but_for_stated(files(archive))
    assert again["manifest.json"] != files(archive)["manifest.json"]


def test_what_comes_in_is_shown_as_it_was(home, archive, tmp_path):
    bring_in(archive, tmp_path)

    def shown(folder, numbers):
        with BookReader.open(folder) as reader:
            setups = [reader.show_setup(n) for n in numbers]
        for setup in setups:
            for photo in setup["photos"]:
                del photo["path"]
        return without_ids(setups)

    assert shown(tmp_path, (1, 2, 3, 4)) == shown(home, (2, 3, 4, 5))


def without_ids(value):
    if isinstance(value, dict):
        hidden = ("id", "superseded_by", "supersedes")
        return {
            k: without_ids(v) for k, v in value.items() if k not in hidden and not k.endswith("_id")
        }
    return [without_ids(v) for v in value] if isinstance(value, list) else value


def test_an_archive_that_comes_twice_adds_nothing(archive, tmp_path):
    bring_in(archive, tmp_path)
    before = (tmp_path / "book.sqlite3").stat().st_size
    told = bring_in(archive, tmp_path)
    assert (told.setups, told.already_there) == (0, 4)
    assert (tmp_path / "book.sqlite3").stat().st_size == before


def test_a_newer_archive_adds_what_came_later(home, archive, tmp_path):
    later = tmp_path / "later"
    shutil.copytree(home, later)
    with open_book(later, TickingClock(START.replace(year=2028))) as book:
        book._new_uid = lambda: "e" * 32
        new = whole_setup(book)
        book.supersede(5, new, "bored anew")
    bring_in(archive, tmp_path / "there")
    export(later, tmp_path / "later.zip")
    told = bring_in(tmp_path / "later.zip", tmp_path / "there")
    assert (told.setups, told.already_there) == (1, 4)
    with BookReader.open(tmp_path / "there") as reader:
        assert [line.superseded_by for line in reader.list_setups()] == [None, 5, None, None, 2]
    assert check_book(tmp_path / "there") == []


def test_a_setup_that_stands_otherwise_in_the_book_is_refused(archive, tmp_path):
    """The same uid in two books that have gone apart: nothing is overwritten."""
    with open_book(tmp_path) as book:
        part = book.ensure_part("another job", "a part")
        book.begin_setup(part, "bore-centre", "first in the book", 0.01, {})
        book.begin_setup(part, "bore-centre", "second in the book", 0.01, {})
        book.begin_setup(part, "bore-centre", "third", 0.01, {})
    with pytest.raises(BadInputError, match="but not as in the archive"):
        bring_in(archive, tmp_path)
    with BookReader.open(tmp_path) as reader:
        assert len(reader.list_setups()) == 3


def test_the_checksums_are_checked_by_another_program(archive, tmp_path):
    """By coreutils' sha256sum, and Python's own ZIP test."""
    with zipfile.ZipFile(archive) as opened:
        assert opened.testzip() is None
        opened.extractall(tmp_path)
    subprocess.run(["sha256sum", "-c", "--strict", "checksums.txt"], cwd=tmp_path, check=True)


def test_the_tables_have_the_columns_they_are_documented_with(archive):
    content = files(archive)
    documented = list(csv.DictReader(io.StringIO(content["columns.csv"].decode())))
    assert documented == described()
    for table in TABLES:
        header = content[f"{table}.csv"].decode().splitlines()[0].split(",")
        assert header == [row["column"] for row in documented if row["table"] == table]
    for name in ("samples", "results"):
        for line in content[f"{name}.jsonl"].decode().splitlines():
            assert set(json.loads(line)) == {c.name for c in TABLES[name]}


def test_samples_come_in_degrees_with_the_stylus_angle(archive):
    rows = list(csv.DictReader(io.StringIO(files(archive)["samples.csv"].decode())))
    last = [row for row in rows if row["setup"] == "4"]
    assert len(rows) == 210
    assert len(last) == 30
    place = math.tau * 7 / 360
    assert float(last[7]["angle_deg"]) == pytest.approx(7.0)
    assert float(last[7]["theta_deg"]) == pytest.approx(math.degrees(-(place - 0.5)))
    assert float(last[7]["value_mm"]) == 0.4 + 0.12 * math.cos(place)
    lines = files(archive)["samples.jsonl"].decode().splitlines()
    assert json.loads(lines[-30 + 7])["value_mm"] == float(last[7]["value_mm"])


def test_no_cell_of_text_is_run_as_a_formula(archive):
    rows = list(csv.DictReader(io.StringIO(files(archive)["setups.csv"].decode())))
    assert rows[0]["tolerance_source"] == "'=the owner's drawing"
    lines = [json.loads(line) for line in files(archive)["records.jsonl"].splitlines()]
    setups = [line["row"] for line in lines if line["table"] == "setup"]
    assert setups[0]["tolerance_source"] == "=the owner's drawing"


def test_a_setup_under_way_is_left_out_and_told(home, tmp_path):
    copy = tmp_path / "home"
    shutil.copytree(home, copy)
    with open_book(copy) as book:
        book._new_uid = lambda: "d" * 32
        begin_setup(book)
    told = export(copy, tmp_path / "job.zip")
    assert (told.setups, told.left_out_open) == (4, 1)
    with pytest.raises(BadInputError, match="has no closed setup"):
        export(copy, tmp_path / "other.zip", job="another job")


def test_a_missing_photo_is_told_and_the_rest_comes_over(home, tmp_path):
    copy = tmp_path / "home"
    shutil.copytree(home, copy)
    photo = sorted((copy / "photos").iterdir())[0]
    photo.unlink()
    told = export(copy, tmp_path / "job.zip")
    assert told.photos_missing == (photo.stem,)
    assert bring_in(tmp_path / "job.zip", tmp_path / "there").photos_missing == (photo.stem,)
    (damage,) = check_book(tmp_path / "there")
    assert damage.kind == "photo"


def test_an_unknown_job_is_told_with_those_there_are(home, tmp_path):
    with pytest.raises(BadInputError, match=r"There is no job 'x' .*'another job', 'winding"):
        export(home, tmp_path / "job.zip", job="x")
    assert list(tmp_path.iterdir()) == []


def altered(archive, target, change):
    """Write the archive anew with `change` made to its files, and its checksums put right."""
    content = files(archive)
    change(content)
    content.pop("checksums.txt")
    sums = "".join(
        f"{hashlib.sha256(raw).hexdigest()}  {name}\n" for name, raw in sorted(content.items())
    )
    with zipfile.ZipFile(target, "w") as out:
        for name, raw in {**content, "checksums.txt": sums.encode()}.items():
            out.writestr(name, raw)
    return target


def _manifest(content, **changes):
    content["manifest.json"] = json.dumps(
        {**json.loads(content["manifest.json"]), **changes}
    ).encode()


def _records(content, old, new):
    assert old in content["records.jsonl"]
    content["records.jsonl"] = content["records.jsonl"].replace(old, new)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda c: _manifest(c, version=2), "install a newer Sparehand"),
        (lambda c: _manifest(c, kind="holiday"), "does not say that it is the archive"),
        (lambda c: _manifest(c, records={}), "not as many as its manifest says"),
        (lambda c: c.update({"../evil.jpg": b"x"}), "belongs to no archive"),
        (lambda c: c.update({"photos/../x.jpg": b"x"}), "belongs to no archive"),
        (lambda c: _records(c, b'"table":"part"', b'"table":"chain"'), "is no record"),
        (lambda c: _records(c, b'"table":"part"', b'"table":"book"'), "is no record"),
        (lambda c: _records(c, b'"part_id":1', b'"part_id":77'), "which is not there"),
        (lambda c: _records(c, b'"batch_no":1', b'"batch_no":"1"'), "batch_no of samples"),
        (lambda c: c.pop("records.jsonl"), "no whole archive"),
        (lambda c: [c.pop(n) for n in list(c) if n.startswith("photos/")], "lacks the photo"),
    ],
)
def test_an_archive_that_does_not_fit_is_refused_and_leaves_nothing(
    archive, tmp_path, change, told
):
    with pytest.raises(BadInputError, match=told):
        bring_in(altered(archive, tmp_path / "job.zip", change), tmp_path / "there")
    with BookReader.open(tmp_path / "there") as reader:
        assert reader.list_setups() == []
    assert check_book(tmp_path / "there") == []


def test_a_changed_byte_anywhere_in_the_archive_never_comes_in_unseen(archive, tmp_path):
    """Where it is not refused, what came in is what was exported."""
    whole = archive.read_bytes()
    wanted = but_for_stated(files(archive))
    for place in range(7, len(whole), len(whole) // 25):
        changed = bytearray(whole)
        changed[place] ^= 4
        (tmp_path / "job.zip").write_bytes(changed)
        there = tmp_path / f"at{place}"
        try:
            bring_in(tmp_path / "job.zip", there)
        except BadInputError:
            continue
        export(there, tmp_path / "again.zip")
        assert but_for_stated(files(tmp_path / "again.zip")) == wanted


def test_a_file_that_is_none_and_no_file_are_told(tmp_path):
    (tmp_path / "job.zip").write_text("not a zip")
    with pytest.raises(BadInputError, match="is no whole archive"):
        bring_in(tmp_path / "job.zip", tmp_path / "there")
    with pytest.raises(BadInputError, match="There is no file"):
        bring_in(Path(tmp_path / "none.zip"), tmp_path / "there")


def test_a_whole_sweep_of_one_part_comes_back_sample_by_sample(home, archive, tmp_path):
    bring_in(archive, tmp_path)
    with BookReader.open(home) as origin, BookReader.open(tmp_path) as there:
        for old, new in ((1, 1), (2, 2), (4, 4)):
            before, after = origin.samples(old), there.samples(new)
            assert before.value_mm.tobytes() == after.value_mm.tobytes()
            assert before.angle_rad.tobytes() == after.angle_rad.tobytes()
