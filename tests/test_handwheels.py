"""Handwheels are taught once, kept by versions, and make the steps of a dial's check."""

import json

import pytest

from calibration.dial_errors_steps import made_with
from calibration.handwheels import Handwheel
from calibration.handwheels_store import HandwheelStore
from readings import BadInputError
from ui.cli import main

X_WHEEL = ("handwheel", "teach", "x", "--mm-per-turn", "5", "--divisions", "250")


@pytest.fixture
def run(tmp_path, capsys):
    def call(*words):
        code = main(["--home", str(tmp_path), *map(str, words)])
        out, err = capsys.readouterr()
        return code, out, err

    return call


def test_a_taught_wheel_is_listed_and_an_older_one_stays(run, tmp_path):
    code, out, err = run(*X_WHEEL, "--clockwise-moves", "right")
    assert (code, out) == (0, "")
    assert "250 divisions of 0.02 mm, clockwise moves it right" in err
    code, _, err = run(*X_WHEEL, "--clockwise-moves", "left", "--backlash-mm", "0.06")
    assert "version 2" in err
    code, out, _ = run("handwheel", "list", "--json")
    assert code == 0
    assert json.loads(out) == [
        {
            "axis": "x",
            "mm_per_turn": 5.0,
            "divisions_per_turn": 250,
            "clockwise_moves": -1,
            "backlash_mm": 0.06,
        }
    ]
    assert len(list((tmp_path / "handwheels" / "x").iterdir())) == 2
    assert "X" in run("handwheel", "list")[1]


def test_nothing_taught_is_said(run):
    code, out, err = run("handwheel", "list")
    assert (code, out) == (0, "")
    assert "handwheel teach" in err


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("q", "5", "250", "right"), "give x, y or z"),
        (("x", "5", "250", "up"), "give right or left"),
        (("z", "0", "250", "up"), "above zero"),
        (("z", "nan", "250", "up"), "above zero"),
        (("z", "60", "250", "up"), "0.05 to 50"),
        (("y", "5", "0", "back"), "above zero"),
        (("y", "5", "3", "back"), "4 to 2000"),
        (("y", "5", "250", "back", "--backlash-mm", "-1"), "0 to 5"),
    ],
)
def test_wheels_that_cannot_be_are_refused(run, tmp_path, words, sentence):
    axis, mm, divisions, way, *more = words
    code, out, err = run(
        "handwheel", "teach", axis, "--mm-per-turn", mm, "--divisions", divisions,
        "--clockwise-moves", way, *more,
    )  # fmt: skip
    assert (code, out) == (2, "")
    assert sentence in err
    assert not (tmp_path / "handwheels").exists()


def test_a_taught_wheel_makes_steps_as_one_typed_does(tmp_path):
    store = HandwheelStore(tmp_path)
    with pytest.raises(BadInputError, match="never taught"):
        made_with("wheel:x", 1.0, wheels=store.all())
    store.save(Handwheel("x", 2.5, 250))
    taught = made_with("wheel:X", 1.0, wheels=store.all())
    assert taught == made_with("wheel:2.5/250", 1.0)
    assert not taught.both_ways


def test_a_spoilt_file_is_said(tmp_path):
    store = HandwheelStore(tmp_path)
    store.save(Handwheel("y", 5.0, 250))
    (tmp_path / "y" / "w0001.json").write_text('{"format": 1, "axis": "y"}')
    with pytest.raises(BadInputError, match="teach it again"):
        store.newest("y")
