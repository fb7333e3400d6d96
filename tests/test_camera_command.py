"""`camera list` and `camera set` over played drivers, and what is kept of a camera."""

import json

import pytest
from test_camera_device import Driver

from calibration.camera import CameraModel, load_camera
from calibration.camera_settings import CameraSettings
from calibration.camera_store import CameraStore
from readings import BadInputError
from ui.camera_settings_cli import settings_of
from ui.cameras_here import cameras_that_answer
from ui.cli import main
from ui.home import Home
from ui.service_process import live_source


@pytest.fixture
def driver(monkeypatch):
    played = Driver(sizes=((640, 480), (1280, 720)))
    monkeypatch.setattr("vision.camera_device.open_device", lambda number: played)
    monkeypatch.setattr("vision.camera_device.identity_of", lambda number: f"usb {number}")
    return played


def test_camera_set_reads_back_and_is_kept(driver, tmp_path, capsys):
    words = ["--size", "1280x720", "--lock", "focus=30", "--lock", "white-balance", "--json"]
    assert main(["--home", str(tmp_path), "camera", "set", "3", *words]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["width_px"], said["pixel_format"]) == (1280, "mjpg")
    assert said["locked"] == ["focus", "white_balance"]
    assert said["values"]["focus"] == 30.0
    assert driver.released
    kept = Home(tmp_path).cameras.settings("usb 3")
    assert kept == CameraSettings(1280, 720, "mjpg", ("focus", "white_balance"), {"focus": 30.0})


def test_what_could_not_be_locked_is_told(driver, tmp_path, capsys):
    driver.by_hand = 7.0
    assert main(["--home", str(tmp_path), "camera", "set", "0", "--lock", "all"]) == 0
    said = capsys.readouterr()
    assert "Exposure could not be locked: the camera keeps it automatic" in said.err
    assert "automatic" in said.out


def test_run_opens_a_camera_as_it_was_set(tmp_path, monkeypatch):
    monkeypatch.setattr("ui.service_process.identity_of", lambda number: "usb 1")
    home = Home(tmp_path)
    home.cameras.keep_settings("usb 1", CameraSettings(640, 480, "raw"))
    assert live_source(home, "1").settings == CameraSettings(640, 480, "raw")
    assert live_source(home, "http://phone/video").settings == CameraSettings()


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--size", "big"], "like 1280x720"),
        (["--size", "9x9"], "160 to 8192"),
        (["--format", "h264"], "mjpg or raw"),
        (["--lock", "zoom"], "focus, exposure, white-balance or all"),
        (["--lock", "all=3"], "focus, exposure, white-balance or all"),
        (["--lock", "focus=near"], "'near' is no number"),
    ],
)
def test_settings_that_cannot_be_are_one_sentence(driver, tmp_path, capsys, words, sentence):
    assert main(["--home", str(tmp_path), "camera", "set", "0", *words]) == 2
    assert sentence in capsys.readouterr().err
    assert not list(tmp_path.glob("cameras/*"))


def test_a_camera_that_is_away_is_a_sentence(driver, tmp_path, capsys):
    driver.release()
    assert main(["--home", str(tmp_path), "camera", "set", "4"]) == 2
    assert "camera 4 cannot be opened: see camera list" in capsys.readouterr().err


def test_all_locks_at_once_and_one_at_a_value():
    found = settings_of("640x480", "raw", ["all", "focus=5"])
    assert found.locks == ("focus", "exposure", "white_balance")
    assert found.values == {"focus": 5.0}


def test_cameras_that_answer_are_listed_with_what_they_say():
    away = Driver()
    away.release()
    drivers = {0: Driver(), 2: away}
    (found,) = cameras_that_answer(drivers.__getitem__, [0, 2])
    assert (found["number"], found["width"], found["height"]) == (0, 640, 480)
    assert found["format"] == "yuyv"
    assert found["controls"]["focus"] == 12.0
    assert drivers[0].released


def test_camera_list_tells_each_camera_s_newest_model(tmp_path, monkeypatch, capsys):
    here = {"number": 0, "width": 640, "height": 480, "format": "mjpg", "fps": 30.0}
    cameras = [here | {"name": "usb 1"}, here | {"number": 1, "name": "usb 2"}]
    monkeypatch.setattr("ui.cameras_here.cameras_that_answer", lambda: cameras)
    model = CameraModel(640, 480, 500.0, 500.0, 320, 240)
    path = Home(tmp_path).cameras.keep_model("usb 1", model, {})
    assert main(["--home", str(tmp_path), "camera", "list", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert [one["model"] for one in said] == [str(path), None]
    assert main(["--home", str(tmp_path), "camera", "list"]) == 0
    assert "none: see camera calibrate" in capsys.readouterr().out


def test_models_of_a_camera_are_kept_one_after_another(tmp_path):
    store = CameraStore(tmp_path)
    for fx in (1000.0, 1001.0):
        path = store.keep_model("USB cam / 1", CameraModel(1280, 720, fx, fx, 640, 360), {"n": 1})
        assert load_camera(path).fx == fx
    assert path.name == "m0002.json"
    (tmp_path / "usb-cam-1" / "settings.json").write_text("[]")
    with pytest.raises(BadInputError, match="cannot be read"):
        store.settings("USB cam / 1")
