"""What the bench hands in to teach its own dial."""

import json

import cv2
import numpy as np
import pytest

from calibration.camera import load_camera
from simulator import BenchSpec, camera_model, teaching, write_teaching_folder

FACES_KEYS = {
    "unit",
    "graduation",
    "marks_per_turn",
    "numbering",
    "clockwise",
    "has_turns_counter",
    "scale_outer_diameter_mm",
    "needle_height_mm",
    "teach",
}
WORDS = ("zero", "quarter", "half", "three_quarters", "pivot")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("dial")
    write_teaching_folder(path, BenchSpec(), np.random.default_rng(3))
    return path


def test_the_sheet_has_the_keys_of_an_owners_sheet(folder):
    sheet = json.loads((folder / "dial.json").read_text())
    assert set(sheet) == FACES_KEYS | {"travel_mm"}
    assert sheet["travel_mm"] == [-0.4, 0.4]
    assert [set(entry) for entry in sheet["teach"]] == [
        {"file", "reading_divisions", "clicks_px"}
    ] * 3
    assert all(tuple(entry["clicks_px"]) == WORDS for entry in sheet["teach"])


def test_the_camera_file_is_the_benchs_camera(folder):
    assert load_camera(folder / "camera.json") == camera_model(BenchSpec())


def test_the_readings_are_as_by_eye_and_on_both_sides(folder):
    readings = [e["reading_divisions"] for e in sheet_of(folder)["teach"]]
    assert all(round(r, 1) == r for r in readings)
    assert readings[0] == 0.0
    assert min(readings) < -15
    assert max(readings) > 15


def test_each_mark_clicked_is_a_dark_end_on_the_ivory(folder):
    """A line from 1 mm inside a click to the pivot's side starts on a mark's ink."""
    for entry in sheet_of(folder)["teach"]:
        grey = cv2.imread(str(folder / entry["file"]), cv2.IMREAD_GRAYSCALE)
        assert grey.shape == (720, 1280)
        clicks = {word: np.array(at) for word, at in entry["clicks_px"].items()}
        for word in WORDS[:4]:
            inward = clicks["pivot"] - clicks[word]
            on_mark = clicks[word] + inward / np.hypot(*inward) * 12.0
            x, y = np.round(on_mark).astype(int)
            assert grey[y - 3 : y + 4, x - 3 : x + 4].min() < 110
            assert grey[y - 3 : y + 4, x - 3 : x + 4].max() > 150


def test_clicks_miss_by_about_a_pixel(tmp_path, monkeypatch):
    rough = clicks_of(tmp_path / "rough")
    monkeypatch.setattr(teaching, "_CLICK_SIGMA_PX", 0.0)
    missed = np.hypot(*(rough - clicks_of(tmp_path / "exact")).reshape(-1, 2).T)
    assert 0.7 < np.sqrt(np.mean(missed**2)) < 1.4


def clicks_of(path):
    spec = BenchSpec(image_width=640, image_height=360)
    write_teaching_folder(path, spec, np.random.default_rng(5), photos=2)
    return np.array([[e["clicks_px"][word] for word in WORDS] for e in sheet_of(path)["teach"]])


def sheet_of(folder):
    return json.loads((folder / "dial.json").read_text())
