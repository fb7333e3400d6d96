"""Teaching without clicks: held against the clicks that the faces' owners made."""

import json
import shutil
import sys
from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration import DialStore, load_camera
from readings import BadInputError, Frame
from ui.cli import main
from vision import DialReader, teach_dial
from vision.sources import read_picture
from vision.teach import Teaching, teach

CLICK_PX = 5.0  # clicks are good to 1.5 px, blurred mark ends to about 2


def unclicked(source, folder, readings=None, **keys):
    """A copy of a dial's folder, its clicks left out."""
    shutil.copytree(source, folder, ignore=shutil.ignore_patterns("frames"))
    sheet = json.loads((source / "dial.json").read_text()) | keys
    for i, photo in enumerate(sheet["teach"]):
        del photo["clicks_px"]
        photo["reading_divisions"] = (readings or {}).get(i, photo["reading_divisions"])
    (folder / "dial.json").write_text(json.dumps(sheet))
    return folder


@pytest.fixture(scope="module")
def dev3(faces_dir, tmp_path_factory):
    return unclicked(faces_dir / "dev3", tmp_path_factory.mktemp("unclicked") / "dial")


@pytest.fixture(scope="module")
def learned(dev3):
    cv2.setNumThreads(1)
    return teach(dev3, name="x")


def test_the_marks_found_are_those_that_were_clicked(faces_dir, learned):
    clicked = json.loads((faces_dir / "dev3" / "dial.json").read_text())["teach"]
    assert len(learned.zeros) == len(clicked) == 3
    for found, entry in zip(learned.zeros, clicked, strict=True):
        clicks = entry["clicks_px"]
        assert np.hypot(*(found.sight.zero_px - clicks["zero"])) < CLICK_PX
        assert np.hypot(*(found.sight.pivot_px - clicks["pivot"])) < 2 * CLICK_PX
        quarter = found.sight.outline_px[18]  # of 72 places, clockwise from zero
        assert np.hypot(*(quarter - clicks["quarter"])) < CLICK_PX
        assert np.hypot(*(found.sight.zero_px - clicks["quarter"])) > 3 * CLICK_PX


def test_dials_taught_without_clicks_read_as_well(faces_dir, learned):
    folder = faces_dir / "dev3"
    reader = DialReader(learned.dial, load_camera(folder / "camera.json"))
    for truth in json.loads((folder / "truth.json").read_text()):
        if truth["category"] in ("clean", "tilt", "dim", "part"):
            reader.reset()
            reading = reader.read(Frame(read_picture(folder / truth["file"]), 0.0, 0, "x"))
            assert reading.ok
            assert reading.divisions == pytest.approx(truth["divisions"], abs=0.1)


def test_with_clicks_nothing_needs_confirming(faces_dir):
    assert teach(faces_dir / "dev3", name="x", photos=1).zeros == ()


def test_a_photo_that_contradicts_the_others_is_named(faces_dir, tmp_path):
    folder = unclicked(faces_dir / "dev3", tmp_path / "dial", {1: 27.0})  # stands at 31
    with pytest.raises(BadInputError, match=r"1\.jpg make zero 4 marks apart.*clicks_px"):
        teach(folder, name="x", photos=2)


def test_a_reading_between_marks_asks_for_clicks(faces_dir, tmp_path):
    folder = unclicked(faces_dir / "dev3", tmp_path / "dial", {0: 0.5})
    with pytest.raises(BadInputError, match=r"No mark fits the reading 0\.5 .*add clicks_px"):
        teach(folder, name="x", photos=1)


def test_a_photo_with_two_needles_asks_for_clicks(dev3, learned, tmp_path):
    """A second line as good as the needle: the picture laid over itself, turned a little."""
    folder = tmp_path / "dial"
    shutil.copytree(dev3, folder)
    path = folder / "teach" / "1.jpg"
    image = read_picture(path)
    sight = learned.zeros[1].sight
    tail, tip = sight.needle_px
    pivot = sight.pivot_px
    turn = np.deg2rad(70)
    R = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    colour = [int(c) for c in image[tuple(np.round(0.6 * pivot + 0.4 * tip).astype(int)[::-1])]]
    ends = [tuple(int(c) for c in pivot + R @ (end - pivot)) for end in (tail, tip)]
    cv2.line(image := image.copy(), *ends, colour, 8, cv2.LINE_AA)
    cv2.imwrite(str(path), image)
    with pytest.raises(BadInputError, match=r"which of two lines is the needle .*add clicks_px"):
        teach(folder, name="x")


def test_no_scale_asks_for_clicks(dev3, tmp_path):
    folder = tmp_path / "dial"
    shutil.copytree(dev3, folder)
    blank = np.full((720, 1280, 3), 120, np.uint8)
    cv2.imwrite(str(folder / "teach" / "0.jpg"), blank)
    with pytest.raises(BadInputError, match=r"no scale of 100 marks .*add clicks_px"):
        teach_dial(folder, name="x", photos=1)


def test_zero_is_kept_only_once_it_is_confirmed(dev3, learned, tmp_path, capsys, monkeypatch):
    """The learning itself stands above; here it is what the command does with it."""
    named = Teaching(replace(learned.dial, name="hoist"), learned.zeros)
    monkeypatch.setattr("ui.teach_command.teach", lambda *_, **__: named)
    home = tmp_path / "home"
    words = ["--home", str(home), "dial", "teach", str(dev3), "--name", "hoist"]
    assert main(words) == 2
    said = capsys.readouterr().err
    picture = home / "zeros" / "hoist.png"
    assert said.startswith("sparehand: ")
    assert str(picture) in said
    assert "--zero-confirmed" in said
    assert cv2.imread(str(picture)) is not None
    assert DialStore(home / "dials").list() == []
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True)
    asked = []
    monkeypatch.setattr("typer.confirm", lambda question, **_: asked.append(question) or False)
    assert main(words) == 2
    assert str(picture) in asked[0]
    assert DialStore(home / "dials").list() == []
    assert main([*words, "--zero-confirmed"]) == 0
    assert DialStore(home / "dials").list() == ["hoist"]
    assert len(asked) == 1
