"""Reports as a person and an inspector get them: read back by poppler, never by our own code."""

import re
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest
from records_kit import begin_setup, measured, open_book, tiny_jpeg, whole_setup
from report_kit import JOB, MADE, bored, tick_all, turn

from records import BookReader, Size
from records.report.chart import chart
from records.report.content import MISSING
from records.report.making import report_of_batch, report_of_part, report_of_setup
from records.report.verdict import DIAL_LEFT_OUT
from records.traces import newest_pair, round_trace
from setups import BEFORE_HANDS, BEFORE_POWER
from ui.cli import main

FOOT_PT = 842 - 17 / 25.4 * 72
MARGIN_PT = 14 / 25.4 * 72
GREY = 3
"""Channels of a grey pixel differ by less (JPEG and hinting)."""


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    home = tmp_path_factory.mktemp("home")
    with open_book(home) as book:
        first = bored(book, tolerance_source="the owner's drawing, sheet 2")
        tick_all(book, first, BEFORE_POWER)
        second = bored(book, "gear-case end 2", verdict="outside", machine="bench mill")
        third = bored(book, "gear-case end 2", verdict="cannot tell", flags=("dial unchecked",))
        book.supersede(second, third, "bored anew")
        gone = begin_setup(book, "gear-case end 10")
        book.abandon_setup(gone, "the casting is cracked")
        begin_setup(book, "gear-case end <10>")
    return home


@pytest.fixture
def report(home, tmp_path):
    """Make a report; return it with its pages as poppler reads them."""

    def make(of, *names, at=home):
        with BookReader.open(at) as reader:
            made = of(reader, *names, made_utc=MADE)
        return made, pages(made.pdf, tmp_path)

    return make


def pages(pdf, folder):
    path = folder / "report.pdf"
    path.write_bytes(pdf)
    out = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, check=True)
    return out.stdout.decode().split("\f")[:-1]


def words_of(pages):
    return " ".join(" ".join(pages).split())


def html_words(html):
    body = html[html.index("<body>") :]
    return " ".join(re.sub(r"<[^>]*>", " ", body).split())


def test_a_setup_takes_two_pages_with_all_that_is_asked(report):
    made, both = report(report_of_setup, 1)
    assert len(both) == 2
    found, kept = (words_of([page]) for page in both)
    for words in (
        "INSIDE the tolerance",
        "off centre 0.0040 ± 0.0010 mm (k = 2)",
        "0.010 mm (the owner's drawing, sheet 2)",
        "guard band of 0.0008 mm",
        "The work was moved 0.1210 mm left",
        "Locking moved the work 0.0020 mm right",
        "Diameter of the bore",
        "52 mm, bore gauge",
        "52 mm, as entered",
        "reader 0.40 µm",
    ):
        assert words in found
    for words in (
        "at the first turn, as it was, 2026-03-02 08:00 UTC",
        "check 2 of 2026-02-01 10:00 UTC against shop class 2, pass",
        "Before hands go on the spindle",
        "completed by the machinist",
        "☑ Guards on, eyes covered",
        "clockwise complete 360 0",
    ):
        assert words in kept
    assert "not completed" not in kept
    assert made.about == "setup 1"


def test_both_forms_say_the_same(report):
    made, both = report(report_of_setup, 1)
    on_paper, on_page = words_of(both), html_words(made.html)
    numbers = set(re.findall(r"\d+\.\d+", on_paper))
    assert len(numbers) > 10
    assert numbers <= set(re.findall(r"\d+\.\d+", on_page))
    assert made.html.count("data:image/jpeg;base64,") == 1
    assert made.html.count("data:image/svg+xml;base64,") == 1


def test_a_list_that_was_not_touched_to_its_end_is_not_completed(report):
    _, both = report(report_of_setup, 3)
    assert "not completed: 0 of 9 lines touched" in words_of(both)
    assert "☐ Guards on, eyes covered" in words_of(both)


def test_a_line_that_lapsed_or_was_added_by_the_shop_counts(tmp_path, report):
    with open_book(tmp_path / "home") as book:
        part = book.ensure_part(JOB, "gear-case end 1")
        shop = {"shop_lines": [["before-power", "Coolant tap shut"]]}
        own = book.begin_setup(part, "centre-bore", "Centre", 0.01, shop)
        for checklist in (BEFORE_HANDS, BEFORE_POWER):
            tick_all(book, own, checklist)
        book.add_tick(own, "before-hands", "neutral", "lapsed", False)
    _, both = report(report_of_setup, 1, at=tmp_path / "home")
    assert "not completed: 3 of 4 lines touched" in words_of(both)
    assert "not completed: 9 of 10 lines touched" in words_of(both)
    assert "☐ Coolant tap shut" in words_of(both)


@pytest.mark.parametrize(
    ("setup", "headline", "beside"),
    [
        (2, "OUTSIDE the tolerance", "superseded by setup 3: that one counts"),
        (3, "CANNOT TELL", "It counts in place of setup 2"),
        (4, "NO VERDICT: the setup is given up", "Given up: the casting is cracked"),
        (5, "NO VERDICT: the setup is under way", "where the tolerance comes from was not"),
    ],
)
def test_what_it_says_of_other_ends(report, setup, headline, beside):
    made, both = report(report_of_setup, setup)
    assert len(both) == 2
    for words in (words_of(both), html_words(made.html).replace("&#39;", "'")):
        assert headline in words
        assert beside in words


def test_a_verdict_by_an_unchecked_dial_never_stands_without_saying_so(report):
    made, both = report(report_of_setup, 3)
    assert DIAL_LEFT_OUT in words_of(both)
    assert DIAL_LEFT_OUT in html_words(made.html).replace("&#39;", "'")
    made, both = report(report_of_batch, JOB)
    assert "CANNOT TELL (dial not checked)" in html_words(made.html)


def test_names_are_shown_as_typed_and_never_run(report):
    made, both = report(report_of_setup, 5)
    assert "gear-case end <10>" in words_of(both)
    assert "gear-case end &lt;10&gt;" in made.html
    assert "<10>" not in made.html


def test_parts_stand_side_by_side(report):
    made, both = report(report_of_batch, JOB)
    row = next(line for line in both[1].splitlines() if "gear-case end 1" in line)
    assert "gear-case end 2" in row
    words = html_words(made.html)
    assert "Parts: 2, setups that count: 2" in words
    assert "Setup 2 (gear-case end 2: Centre the spindle on a bore): superseded" in words
    assert "Setup 4 (gear-case end 10: Centre the spindle on a bore): given up." in words


def test_a_part_has_its_list_and_each_setup_that_counts(report):
    _, shown = report(report_of_part, JOB, "gear-case end 2")
    assert len(shown) == 1 + 2
    assert "Setup 3: Centre the spindle on a bore" in shown[1]
    assert "Setup 2 (gear-case end 2" in words_of(shown[:1])


@pytest.mark.parametrize(
    ("proven", "words"),
    [
        (0.018, "Inside the tolerance. The proof is within what was predicted."),
        (0.048, "Inside the tolerance. The proof is beyond what was predicted."),
        (None, "The pair has not been proven yet."),
    ],
)
def test_predicted_coaxiality_stands_beside_the_proof(tmp_path, report, proven, words):
    with open_book(tmp_path / "home") as book:
        part = book.ensure_part(JOB, "gear-case end 1")
        ahead = book.begin_setup(part, "second-end", "The second end", 0.05, {})
        book.add_result(ahead, "second-end", 1, measured("coaxiality_bound", 0.024, u=None))
        book.finish_setup(ahead, {"verdict": "inside"})
        if proven is not None:
            pair = book.begin_setup(part, "prove-pair", "Prove the pair", 0.05, {})
            book.add_result(pair, "prove", 1, measured("coaxiality", proven))
            book.finish_setup(pair, {"verdict": "inside"})
    made, both = report(report_of_batch, JOB, at=tmp_path / "home")
    assert "within 0.024 mm (95 % of such)" in html_words(made.html)
    assert "within 0.024 mm" in words_of(both)
    assert words in html_words(made.html)
    if proven is not None:
        assert f"{proven:.4f} ± 0.0020 mm (k = 2)" in html_words(made.html)


@pytest.fixture(scope="module")
def crowded(tmp_path_factory):
    """More than two pages can hold, and a photo that is gone."""
    home = tmp_path_factory.mktemp("crowded")
    long = "gear-case end " + "of the paddle winding gear " * 7
    with open_book(home) as book:
        setup = begin_setup(book, long, tolerance_source="a drawing " * 30, machine=long)
        for number in range(14):
            size = Size(f"s{number}", f"Size {number} of the casting, taken", 1.0, "mm", "rule")
            book.add_sizes(setup, [size])
            book.add_instrument(setup, "camera", {"name": f"camera {number} on its shelf"})
            turn(book, setup, "clockwise")
            todo = [f"Turn screw {screw} of the head by a quarter" for screw in range(6)]
            book.add_result(setup, "tram", 1, measured("lean_x", 0.1, todo=todo))
            for kind in ("raw", "annotated"):
                book.add_photo(setup, tiny_jpeg(9 * number), "a " * 90, kind, {"index": number})
        book.finish_setup(setup, {"verdict": "inside"})
    for photo in (home / "photos").iterdir():
        photo.unlink()
    return home


def test_a_crowded_setup_keeps_to_its_two_pages(report, crowded, tmp_path):
    _, both = report(report_of_setup, 1, at=crowded)
    assert len(both) == 2
    assert " ".join(MISSING.split()[:4]) in words_of(both)
    assert "more in the book" in words_of(both)
    out = subprocess.run(
        ["pdftotext", "-bbox", tmp_path / "report.pdf", "-"], capture_output=True, check=True
    ).stdout.decode()
    for page in out.split("<page ")[1:]:
        boxes = re.findall(r'xMin="([\d.]+)" yMin="[\d.]+" xMax="([\d.]+)" yMax="([\d.]+)"', page)
        body = [box for box in boxes if float(box[2]) < FOOT_PT + 60]
        assert max(float(right) for _, right, _ in boxes) <= 595.3 - MARGIN_PT + 1
        assert max(float(bottom) for *_, bottom in body) < 842


def test_it_is_printed_in_black_and_grey_but_for_the_photos(report, home, tmp_path):
    report(report_of_batch, JOB)
    subprocess.run(
        ["pdftoppm", "-r", "60", "-png", tmp_path / "report.pdf", tmp_path / "page"], check=True
    )
    images = [cv2.imread(str(path)) for path in sorted(tmp_path.glob("page*.png"))]
    assert len(images) >= 2
    for image in images:
        assert np.ptp(image.astype(int), axis=2).max() <= GREY  # the tiny photos are grey as well


def test_two_turns_are_told_apart_without_colour(home):
    with BookReader.open(home) as reader:
        setup = reader.show_setup(1)
    trace = round_trace(setup, newest_pair(setup))
    svg = chart(trace, "svg").decode()
    assert "stroke-dasharray" in svg
    colours = {c.lower() for c in re.findall(r"#[0-9a-fA-F]{6}", svg)}
    assert all(c[1:3] == c[3:5] == c[5:7] for c in colours)


def test_the_command_writes_both_files(home, tmp_path, capsys):
    stem = tmp_path / "for the owner"
    arguments = ["--home", str(home), "records", "report", "1", "--to", str(stem)]
    assert main(arguments) == 0
    assert Path(f"{stem}.pdf").read_bytes().startswith(b"%PDF")
    assert Path(f"{stem}.html").read_text().startswith("<!doctype html>")
    for wrong, told in (
        (["report"], "Say what the report is about"),
        (["report", "1", "--job", JOB], "Say what the report is about"),
        (["report", "77"], "no setup 77"),
        (["report", "--part", "another"], "no part 'another'"),
        (["report", "--job", "another"], "no setup of the job 'another'"),
        (["report", "1", "--to", str(tmp_path / "no" / "x")], "cannot be written"),
    ):
        capsys.readouterr()
        assert main(["--home", str(home), "records", *wrong]) == 2
        assert told in capsys.readouterr().err


def test_a_long_batch_goes_on_overleaf_and_leaves_nothing_out(tmp_path, report):
    with open_book(tmp_path / "home") as book:
        for number in range(70):
            whole_setup(book, part=f"gear-case end {number % 3}")
    _, shown = report(report_of_batch, JOB, at=tmp_path / "home")
    lines = [page for page in shown if "tolerance" in page.split("\n\n")[0] or "setup" in page]
    numbers = {int(n) for page in lines for n in re.findall(r"^\s*(\d+)\s+gear-case", page, re.M)}
    assert numbers == set(range(1, 71))
    for page in shown:
        assert "page" in page.splitlines()[-2] + page.splitlines()[-1]
