import json
import shutil
from dataclasses import fields, replace

import cv2
import numpy as np
import pytest

from calibration import DialStore, TaughtDial
from calibration.dial_sheet import read_sheet
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
    path = tmp_path / "lock gear" / "v0001.npz"
    whole = path.read_bytes()
    for spoilt in (b"spoilt", b"", whole[:2000], whole[:-60]):
        path.write_bytes(spoilt)
        with pytest.raises(BadInputError, match="teach the dial again"):
            store.load("lock gear")


@pytest.mark.parametrize("name", ["", "../up", ".hidden", "a/b", "a\nb", "a ", "a.", "x" * 65])
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
        ({"graduation": 0}, "from 0.0001 to 1"),
        ({"graduation": 1e-320}, "from 0.0001 to 1"),
        ({"graduation": "0.01"}, 'graduation is "0.01"'),
        ({"needle_height_mm": 500}, "mm across it must be above zero"),
        ({"marks_per_turn": 10**400}, "whole number from 20 to 400"),
        ({"teach": [3]}, "it is 3"),
        ({"teach": [{"file": None, "reading_divisions": 3}]}, "file is null"),
        ({"teach": [{"file": "a", "reading_divisions": 10**400}]}, "can be -80 to 80"),
        ({"teach": [{"file": "a", "reading_divisions": 1, "clicks_px": "x"}]}, "clicks_px is"),
        ({"teach": [{"file": "a", "reading_divisions": 1, "clicks_px": {}}]}, "click zero is null"),
        ({"marks_per_turn": 12.5}, "whole number from 20 to 400"),
        ({"numbering": "odd"}, "continuous or balanced"),
        ({"teach": []}, "no teaching photo"),
        ({"teach": [{"file": "teach/0.jpg"}]}, "each needs file and reading"),
        ({"teach": [{"file": "teach/0.jpg", "reading_divisions": True}]}, "no number"),
        ({"teach": [{"file": "teach/0.jpg", "reading_divisions": 150}]}, "can be -80 to 80"),
        ({"graduation": float("inf")}, "Infinity is no number"),
        ({"graduation": float("nan")}, "NaN is no number"),
        ({"scale_outer_diameter_mm": 1e300}, "from 3 to 1000"),
        ({"travel_mm": [0, 1e-9]}, "less than a division"),
        ({"travel_mm": [0, 1e9]}, "from -500 to 500"),
        ({"travel_mm": [0, 1, 2]}, "two numbers"),
        ({"travel_mm": ["0", "1"]}, "two numbers"),
        ({"has_turns_counter": "no"}, "must be true or false"),
        ({"clockwise": 1}, "must be true or false"),
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
    flat = {name: [100 * k, 50 * k] for k, name in enumerate(photo["clicks_px"])}
    change(folder, teach=[photo | {"clicks_px": flat}])
    with pytest.raises(BadInputError, match="on one line"):
        teach_dial(folder, name="x")


def test_a_pivot_far_from_the_middle_of_the_marks_is_refused(folder):
    sheet = json.loads((folder / "dial.json").read_text())
    photo = sheet["teach"][0]
    x, y = photo["clicks_px"]["pivot"]
    for off, taken in ((8, True), (150, False)):
        moved = photo["clicks_px"] | {"pivot": [x + off, y]}
        change(folder, teach=[photo | {"clicks_px": moved}])
        if taken:
            assert read_sheet(folder).photos[0].pivot_px.tolist() == [x + off, y]
            continue
        with pytest.raises(BadInputError, match=r"pivot lies 1[0-9]+ pixels from the middle"):
            read_sheet(folder)


def test_clicks_a_quarter_further_are_refused(folder):
    sheet = json.loads((folder / "dial.json").read_text())
    photo = sheet["teach"][0]
    names = ("zero", "quarter", "half", "three_quarters")
    turned = {a: photo["clicks_px"][b] for a, b in zip(names, names[1:] + names[:1], strict=True)}
    change(folder, teach=[photo | {"clicks_px": photo["clicks_px"] | turned}])
    with pytest.raises(BadInputError, match="cannot make out the needle"):
        teach_dial(folder, name="x")


def test_a_photo_of_another_size_than_the_cameras_says_so(folder):
    image = cv2.imread(str(folder / "teach" / "0.jpg"))
    cv2.imwrite(str(folder / "teach" / "0.jpg"), image[::2, ::2])
    with pytest.raises(BadInputError, match="640 x 360 pixels, the camera file"):
        teach_dial(folder, name="x", photos=1)


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
    with pytest.raises(BadInputError, match="is a file"):
        teach_dial(folder / "dial.json", name="x")
    (tmp_path / "dial.json").write_text("[" * 100_000)
    with pytest.raises(BadInputError, match="write it again"):
        teach_dial(tmp_path, name="x")
    with pytest.raises(BadInputError, match="at least one"):
        teach_dial(folder, name="x", photos=0)
    (folder / "teach" / "0.jpg").write_bytes(b"no picture")
    with pytest.raises(BadInputError, match="take it again"):
        teach_dial(folder, name="x")


def test_travel_of_the_sheet_is_kept(folder):
    change(folder, travel_mm=[-0.4, 0.4])
    assert teach_dial(folder, name="x", photos=1).travel_mm == (-0.4, 0.4)
