"""What is printed has its true size, and is found again in its own rendering (poppler's)."""

import os
import shutil
import subprocess
import xml.etree.ElementTree as ET

import cv2
import numpy as np
import pytest

from calibration.boards import OUR_BOARD, Board
from calibration.calibrate import View
from calibration.collars import Collar
from calibration.sheets import (
    RULER_MM,
    Rect,
    board_sheet,
    collar_sheet,
    scale_of,
    target_sheet,
)
from readings import BadInputError
from ui.cli import main
from ui.print_command import as_pdf, as_svg
from vision.board_find import find_board
from vision.collar_find import MarkerFinder

DPI = 300
PER_MM = DPI / 25.4
WITHIN = 0.001
TICK_MM = 0.2
"""Width of the ticks at a ruler's ends; its length is between their middles."""


@pytest.fixture(scope="module")
def rendered(tmp_path_factory):
    """Render a sheet's PDF to grey pixels."""
    if shutil.which("pdftoppm") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("poppler-utils is not installed")
        pytest.skip("poppler-utils is not installed")
    folder = tmp_path_factory.mktemp("pages")

    def render(sheet):
        (folder / "page.pdf").write_bytes(as_pdf(sheet))
        words = ["pdftoppm", "-r", str(DPI), "-gray", "-png", "-singlefile"]
        subprocess.run([*words, folder / "page.pdf", folder / "page"], check=True)
        return cv2.imread(str(folder / "page.png"), cv2.IMREAD_GRAYSCALE)

    return render


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_board_has_its_size_both_ways(rendered, paper):
    view = find_board(rendered(board_sheet(OUR_BOARD, paper)), OUR_BOARD, "page")
    assert isinstance(view, View)
    assert len(view.points_px) == len(OUR_BOARD.points_mm)
    mm = view.points_px / PER_MM
    for axis in (0, 1):
        seen, meant = np.ptp(mm[:, axis]), np.ptp(view.points_mm[:, axis])
        assert seen == pytest.approx(meant, rel=WITHIN)
    apart = mm - mm[0] - (view.points_mm - view.points_mm[0])[:, :2]
    assert np.abs(apart).max() < 1 / PER_MM, "within a pixel, everywhere"


def test_the_rulers_have_their_lengths(rendered):
    page = rendered(target_sheet(3, 60.0, "a4"))
    dark = page < 100
    row = dark[-round(8 * PER_MM) - 3 : -round(8 * PER_MM) + 4].any(axis=0)
    assert np.ptp(np.flatnonzero(row)[: round(151 * PER_MM)]) > 0
    runs = np.diff(np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]]))))[::2]
    assert runs.max() / PER_MM - TICK_MM == pytest.approx(RULER_MM[0], abs=1 / PER_MM)
    right = page.shape[1] - round(6 * PER_MM)
    column = dark[:, right - 3 : right + 4].any(axis=1)
    runs = np.diff(np.flatnonzero(np.diff(np.concatenate([[0], column.astype(int), [0]]))))[::2]
    assert runs.max() / PER_MM - TICK_MM == pytest.approx(RULER_MM[1], abs=1 / PER_MM)


@pytest.mark.parametrize(("diameter", "markers"), [(60.0, 16), (40.0, 12), (90.0, 24)])
def test_a_collar_s_markers_stand_at_equal_steps_across_its_seam(rendered, diameter, markers):
    collar = Collar(markers)
    page = rendered(collar_sheet(collar, diameter, "a4"))
    found = MarkerFinder(collar).find(page)
    assert sorted(found.numbers.tolist()) == list(range(markers))
    order = np.argsort(found.numbers)
    middle = found.corners_px[order].mean(axis=1) / PER_MM
    step = np.diff(middle[:, 0])[np.abs(np.diff(middle[:, 1])) < 1.0]
    assert step == pytest.approx(np.pi * diameter / markers, rel=0.01)
    assert step.mean() == pytest.approx(np.pi * diameter / markers, rel=WITHIN)


def test_a_target_tells_its_number_and_its_middle(rendered):
    page = rendered(target_sheet(2, 80.0, "letter"))
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    corners, numbers, _ = cv2.aruco.ArucoDetector(words).detectMarkers(page)
    assert sorted(np.ravel(numbers).tolist()) == [8, 9, 10, 11]
    middle = np.mean([c.reshape(4, 2).mean(axis=0) for c in corners], axis=0)
    disc = page[int(middle[1]) - 40 : int(middle[1]) + 41, int(middle[0]) - 40 :][:, :81] < 128
    y, x = np.nonzero(disc)
    inner = np.hypot(x - 40, y - 40) < 0.06 * 80 * PER_MM + 3
    own = np.array([x[inner].mean(), y[inner].mean()]) - 40 + middle.astype(int)
    assert own == pytest.approx(middle, abs=0.6)


def test_svg_and_pdf_hold_the_same(tmp_path):
    sheet = board_sheet(Board("charuco", 6, 4, 30.0), "letter")
    root = ET.fromstring(as_svg(sheet))
    assert root.attrib["width"] == "279.4mm"
    assert root.attrib["viewBox"] == "0 0 279.4 215.9"
    rects = [e for e in root if e.tag.endswith("rect")]
    assert len(rects) == sum(isinstance(shape, Rect) for shape in sheet.shapes)


def test_a_measured_ruler_is_a_correction():
    assert scale_of(None, 0) == 1.0
    assert scale_of(148.5, 0) == pytest.approx(0.99)
    with pytest.raises(BadInputError, match="print at 100 %"):
        scale_of(120.0, 0)
    with pytest.raises(BadInputError, match="100 mm"):
        scale_of(float("nan"), 1)
    wide = Board("charuco", 9, 6, 25.0, stretch=(0.99, 1.01))
    assert wide.points_mm.max(axis=0).tolist() == pytest.approx([198.0, 126.25, 0.0])


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ("board --square-mm 40", "does not fit on a4"),
        ("board --paper a0", "a4 or letter"),
        ("target --number 99", "0 to 24"),
        ("target --size-mm 5", "20 to 150"),
        ("collar --diameter-mm 2", "8 to 250"),
        ("collar --diameter-mm 60 --markers 3", "6 to 50"),
        ("board --out board.docx", "neither a .pdf nor a .svg"),
        ("board --out /no/such/place.svg", "cannot be written"),
    ],
)
def test_what_cannot_be_printed_is_one_sentence(capsys, monkeypatch, tmp_path, words, sentence):
    monkeypatch.chdir(tmp_path)
    assert main(["print", *words.split()]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert sentence in said.err
    assert not list(tmp_path.iterdir())
