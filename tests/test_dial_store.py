import json
import shutil
from dataclasses import fields, replace

import numpy as np
import pytest

from calibration import DialStore, TaughtDial
from readings import BadInputError
from vision import teach_dial


@pytest.fixture(scope="module")
def dial(faces_dir):
    return teach_dial(faces_dir / "dev2", name="lock gear", photos=1)


@pytest.fixture
def folder(faces_dir, tmp_path):
    """A dial folder of its own that a test may spoil."""
    shutil.copytree(faces_dir / "dev2", tmp_path / "dial", ignore=shutil.ignore_patterns("frames"))
    return tmp_path / "dial"


def change(folder, **values):
    path = folder / "dial.json"
    sheet = json.loads(path.read_text())
    for key, value in values.items():
        if value is None:
            del sheet[key]
        else:
            sheet[key] = value
    path.write_text(json.dumps(sheet))


def same(a: TaughtDial, b: TaughtDial) -> bool:
    return all(
        np.array_equal(getattr(a, f.name), getattr(b, f.name))
        for f in fields(TaughtDial)
        if f.name != "version"
    )


def test_every_version_stays(dial, tmp_path):
    store = DialStore(tmp_path)
    first = store.save(dial)
    second = store.save(replace(dial, needle_height_mm=1.1))
    assert (first.version, second.version) == (1, 2)
    assert store.list() == ["lock gear"]
    assert store.load("lock gear").needle_height_mm == 1.1
    assert same(store.load("lock gear", 1), dial)
    assert not same(store.load("lock gear", 2), dial)
    assert not list(tmp_path.glob("*/*.part"))


def test_travel_comes_back_as_a_pair(dial, tmp_path):
    store = DialStore(tmp_path)
    store.save(replace(dial, travel_mm=(-0.4, 0.4)))
    assert store.load("lock gear").travel_mm == (-0.4, 0.4)


def test_unknown_dials_name_the_known(dial, tmp_path):
    store = DialStore(tmp_path)
    with pytest.raises(BadInputError, match="none was taught yet"):
        store.load("dev1")
    store.save(dial)
    with pytest.raises(BadInputError, match="known are lock gear"):
        store.load("dev1")
    with pytest.raises(BadInputError, match="no version 7"):
        store.load("lock gear", 7)
    with pytest.raises(BadInputError, match="There is no dial"):
        store.load("../../etc/passwd")


def test_spoilt_file_is_said(dial, tmp_path):
    store = DialStore(tmp_path)
    store.save(dial)
    (tmp_path / "lock gear" / "v0001.npz").write_bytes(b"spoilt")
    with pytest.raises(BadInputError, match="teach the dial again"):
        store.load("lock gear")


@pytest.mark.parametrize("name", ["", "../up", ".hidden", "a/b", "x" * 65])
def test_names_that_are_no_file_names(dial, tmp_path, name):
    with pytest.raises(BadInputError, match="cannot name a dial"):
        DialStore(tmp_path).save(replace(dial, name=name))
    assert not list(tmp_path.iterdir())


def test_values_on_continuous_and_balanced_dials(dial):
    assert dial.numbering == "balanced"
    assert dial.value_mm(79.0) == pytest.approx(-0.01)
    assert dial.value_mm(40.0) == pytest.approx(0.40)
    continuous = replace(dial, numbering="continuous")
    assert continuous.value_mm(79.0) == pytest.approx(0.79)
    inch = replace(dial, unit="in", graduation=0.001)
    assert inch.graduation_mm == pytest.approx(0.0254)
    assert inch.mm_per_turn == pytest.approx(80 * 0.0254)


@pytest.mark.parametrize(
    ("change_by", "says"),
    [
        ({"unit": None}, "lacks unit"),
        ({"unit": "cm"}, "must be mm or in"),
        ({"graduation": 0}, "above zero"),
        ({"marks_per_turn": 12.5}, "whole number from 20 to 400"),
        ({"numbering": "odd"}, "continuous or balanced"),
        ({"teach": []}, "no teaching photo"),
        ({"teach": [{"file": "teach/0.jpg"}]}, "each needs file and reading"),
        ({"teach": [{"file": "teach/0.jpg", "reading_divisions": True}]}, "no number"),
        ({"teach": [{"file": "teach/0.jpg", "reading_divisions": 150}]}, "can be -80 to 80"),
        ({"graduation": float("inf")}, "Infinity is no number"),
        ({"graduation": float("nan")}, "NaN is no number"),
        ({"scale_outer_diameter_mm": 1e300}, "above zero, to 10000"),
        ({"travel_mm": [0, 1, 2]}, "two numbers"),
        ({"travel_mm": ["0", "1"]}, "two numbers"),
        ({"has_turns_counter": "no"}, "must be True or False"),
        ({"clockwise": 1}, "must be True or False"),
        ({"travel_mm": [1, 0]}, "lowest must come first"),
        ({"marks_per_turn": 72}, "does not fit the clicks"),
        ({"clockwise": False}, "does not fit the clicks"),
    ],
)
def test_sheets_that_cannot_be_used(folder, change_by, says):
    change(folder, **change_by)
    with pytest.raises(BadInputError, match=says):
        teach_dial(folder, name="x", photos=1)


def test_clicks_that_cannot_be_are_refused(folder):
    sheet = json.loads((folder / "dial.json").read_text())
    photo = sheet["teach"][0]
    zero = photo["clicks_px"]["zero"]
    alike = dict.fromkeys(photo["clicks_px"], zero)
    change(folder, teach=[photo | {"clicks_px": alike}])
    with pytest.raises(BadInputError, match="within 10 pixels"):
        teach_dial(folder, name="x")
    change(folder, teach=[photo | {"clicks_px": photo["clicks_px"] | {"zero": [5000, 10]}}])
    with pytest.raises(BadInputError, match="lies outside"):
        teach_dial(folder, name="x")


def test_a_reading_that_the_picture_contradicts_is_refused(folder):
    sheet = json.loads((folder / "dial.json").read_text())
    photo = sheet["teach"][0]
    said = photo["reading_divisions"]
    change(folder, teach=[photo | {"reading_divisions": said + 0.3}])
    teach_dial(folder, name="x")
    change(folder, teach=[photo | {"reading_divisions": said + 0.9}])
    with pytest.raises(BadInputError, match="by its marks the needle stands at"):
        teach_dial(folder, name="x")


def test_folders_that_cannot_be_used(folder, tmp_path):
    with pytest.raises(BadInputError, match=r"no dial\.json"):
        teach_dial(tmp_path, name="x")
    with pytest.raises(BadInputError, match="at least one"):
        teach_dial(folder, name="x", photos=0)
    (folder / "teach" / "0.jpg").write_bytes(b"no picture")
    with pytest.raises(BadInputError, match="take it again"):
        teach_dial(folder, name="x")


def test_travel_of_the_sheet_is_kept(folder):
    change(folder, travel_mm=[-0.4, 0.4])
    assert teach_dial(folder, name="x", photos=1).travel_mm == (-0.4, 0.4)
