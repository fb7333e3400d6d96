"""Whole turns from a dial's turns counter, on pictures that nothing here drew."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy.ndimage import rotate

from calibration import DialStore, load_camera
from readings import BadInputError, Frame
from vision import DialReader, teach_dial
from vision.dial_counter import bezel_turns, whole_turns, within_travel
from vision.dial_counter_hand import COLUMNS, RINGS, _fit, hand_look, turned
from vision.sources import read_picture

COUNTED = ("dev1", "dev4")


@pytest.fixture(scope="module")
def dials(faces_dir):
    cv2.setNumThreads(1)
    return {name: teach_dial(faces_dir / name, name=name) for name in COUNTED}


@pytest.fixture(scope="module")
def read_all(faces_dir, dials):
    """(dial, truth, reading) of every accepted frame of the dials with a counter."""
    out = []
    for name, dial in dials.items():
        folder = faces_dir / name
        reader = DialReader(dial, load_camera(folder / "camera.json"))
        for truth in json.loads((folder / "truth.json").read_text()):
            reader.reset()
            reading = reader.read(Frame(read_picture(folder / truth["file"]), 0.0, 0, name))
            if reading.ok:
                out.append((dial, truth, reading))
    return out


def true_turns(dial, truth):
    return round((truth["total_divisions"] - truth["divisions"]) / dial.marks_per_turn)


def test_turns_are_right_or_not_told(read_all):
    told = [reading.turns for _, _, reading in read_all if reading.turns is not None]
    assert len(told) >= 0.85 * len(read_all)
    assert len(set(told)) >= 3  # below zero, and a turn above: no constant would do
    for dial, truth, reading in read_all:
        assert reading.turns in (None, true_turns(dial, truth)), truth["file"]


def test_values_carry_the_turns(read_all):
    for dial, truth, reading in read_all:
        if reading.turns is not None:
            whole = truth["total_divisions"] * dial.graduation_mm
            assert reading.value_mm == pytest.approx(whole, abs=0.1 * dial.graduation_mm)
            assert 0 <= reading.divisions < dial.marks_per_turn


def test_what_the_photos_told(dials):
    for dial in dials.values():
        assert (dial.counter.turns, dial.counter.rising) == (10, 1.0)
        assert dial.counter.home_sure
        assert dial.counter.distance_mm + dial.counter.ring_mm < dial.radius_mm


def test_a_counter_that_stays_with_the_case_tells_the_bezels_turn(dials):
    """Without taking it off, the count of the case is a turn off in many frames."""
    dial = dials["dev1"]
    home = dial.counter.home_rad
    assert bezel_turns(dial, dial.counter, home - 0.25 * 2 * np.pi) == pytest.approx(0.25)
    assert bezel_turns(dial, dial.counter, home + 0.25 * 2 * np.pi) == pytest.approx(-0.25)
    for near_half in (0.49, 0.51):
        assert bezel_turns(dial, dial.counter, home + near_half * 2 * np.pi) is None
    unsure = replace(dial.counter, home_sure=False)
    assert bezel_turns(dial, unsure, home + 0.02) is not None
    assert bezel_turns(dial, unsure, home + 0.25 * 2 * np.pi) is None


def test_one_photo_leaves_the_sense_open_and_never_guesses(faces_dir):
    """One photo at zero cannot tell which way the hand goes: only what holds for both is told."""
    dial = teach_dial(faces_dir / "dev1", name="x", photos=1)
    assert dial.counter.rising == 0.0
    reader = DialReader(dial, load_camera(faces_dir / "dev1" / "camera.json"))
    for truth in json.loads((faces_dir / "dev1" / "truth.json").read_text()):
        reader.reset()
        frame = Frame(read_picture(faces_dir / "dev1" / truth["file"]), 0.0, 0, "x")
        reading = reader.read(frame)
        assert reading.turns is None or reading.turns == true_turns(dial, truth)


def test_a_hidden_hand_tells_nothing(faces_dir, dials):
    """The needle is read on, the counter under a paper patch is not."""
    folder, dial = faces_dir / "dev4", dials["dev4"]
    truth = next(
        t
        for t in json.loads((folder / "truth.json").read_text())
        if t["category"] in ("clean", "part")
    )
    image = read_picture(folder / truth["file"])
    reader = DialReader(dial, load_camera(folder / "camera.json"))
    before = reader.read(Frame(image, 0.0, 0, "x"))
    assert before.turns == true_turns(dial, truth)
    away = np.array(truth["zero_px"]) - truth["pivot_px"]
    x, y = np.round(truth["pivot_px"] + 0.433 * away).astype(int)
    covered = image.copy()
    cv2.circle(covered, (int(x), int(y)), int(0.15 * truth["face_radius_px"]), (190, 190, 190), -1)
    reader.reset()
    after = reader.read(Frame(covered, 0.0, 0, "x"))
    assert after.ok
    assert after.turns is None
    assert after.value_mm == pytest.approx(dial.value_mm(after.divisions))


@pytest.mark.parametrize(
    ("off", "sigma", "count"),
    [(2.1, 0.05, 2), (-0.9, 0.05, -1), (1.4, 0.05, None), (0.6, 0.05, None), (2.1, 0.2, None)],
)
def test_counter_and_needle_must_agree(off, sigma, count):
    assert whole_turns(off, sigma) == count


def test_counts_come_round_within_the_travel(dials):
    dial = dials["dev1"]  # 100 marks of 0.01 mm, ten turns a turn of the hand
    assert [within_travel(k, 0.0, dial, 10) for k in (0, 4, 9, -1)] == [0, 4, -1, -1]
    assert within_travel(7, 0.0, dial, 10) is None  # +7 or -3
    known = replace(dial, travel_mm=(-0.3, 9.2))
    assert [within_travel(k, 0.0, known, 10) for k in (7, 17, -3)] == [7, 7, 7]
    assert within_travel(-1, 80.0, known, 10) == -1  # -0.2, as 9.8 is beyond the end
    near = replace(dial, travel_mm=(-0.3, 9.6))
    assert within_travel(-1, 80.0, near, 10) is None  # -0.2 or 9.8
    wide = replace(dial, travel_mm=(-1.0, 20.0))
    assert within_travel(3, 0.0, wide, 10) is None  # 3 or 13


@pytest.mark.parametrize("degrees", [17.0, 100.0, 275.5])
def test_hand_direction_against_scipys_rotation(degrees):
    """Turn a drawn hand with scipy.ndimage.rotate: its direction must turn by as much."""
    hand = np.zeros((33, 33), np.float32)
    cv2.fillConvexPoly(hand, np.array([[12, 16], [17, 13], [27, 16], [17, 19]]), 1.0)
    look = hand_look(turned(cv2.GaussianBlur(hand, (0, 0), 0.8)))
    other = rotate(hand, -degrees, reshape=False, order=1)
    fit = _fit(turned(cv2.GaussianBlur(other, (0, 0), 0.8)), None, look)
    off = (np.rad2deg(fit.angle_rad) - degrees + 180) % 360 - 180
    assert abs(off) < 1.0
    assert fit.margin > 0.1
    assert look.hand.shape == (RINGS, COLUMNS)


def test_files_of_the_first_format_load_without_a_counter(dials, tmp_path):
    """What format 1 wrote: no counter in the sheet and no arrays of one."""
    store = DialStore(tmp_path)
    store.save(dials["dev1"])
    path = tmp_path / "dev1" / "v0001.npz"
    with np.load(path, allow_pickle=False) as archive:
        arrays = {name: archive[name] for name in archive.files if "counter" not in name}
    sheet = json.loads(str(arrays.pop("sheet")))
    assert sheet.pop("counter") is not None
    sheet["format"] = 1
    np.savez_compressed(path, sheet=np.array(json.dumps(sheet)), **arrays)
    old = store.load("dev1")
    assert old.counter is None
    assert old.has_turns_counter
    assert np.array_equal(old.view, dials["dev1"].view)


def test_a_counter_is_kept(dials, tmp_path):
    store = DialStore(tmp_path)
    store.save(dials["dev4"])
    kept, taught = store.load("dev4").counter, dials["dev4"].counter
    assert (kept.turns, kept.rising, kept.home_rad) == (10, 1.0, taught.home_rad)
    assert np.array_equal(kept.hand, taught.hand)
    assert not kept.hand.flags.writeable


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("counter_turns", 1, "whole number from 2 to 60"),
        ("counter_turns", "ten", "whole number from 2 to 60"),
        ("counter_clockwise", "yes", "true or false"),
    ],
)
def test_what_owners_may_say_of_a_counter(faces_dir, tmp_path, key, value, says):
    sheet = json.loads((faces_dir / "dev1" / "dial.json").read_text())
    (tmp_path / "dial.json").write_text(json.dumps(sheet | {key: value}))
    with pytest.raises(BadInputError, match=says):
        teach_dial(tmp_path, name="x")
