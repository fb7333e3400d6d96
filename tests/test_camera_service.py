"""The running service finds the board, takes views by itself, judges, and saves the model."""

import json
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from board_making import noisy_views, scaled
from board_showing import board_pictures
from stream_process import wait_until

from calibration.boards import OUR_BOARD
from calibration.camera import load_camera
from calibration.camera_settings import CameraState
from calibration.camera_store import CameraStore
from calibration.coverage import normal_of
from readings import BadInputError, Frame
from stream.calibrating import Calibrating, board_asked
from stream.cameras import Tap
from stream.client import Client

CAMERA = scaled(640)
CHILD = Path(__file__).with_name("board_showing.py")


@pytest.fixture(scope="module")
def pictures(tmp_path_factory):
    path = tmp_path_factory.mktemp("board") / "pictures.npy"
    np.save(path, board_pictures(CAMERA))
    return path


@pytest.fixture
def client(tmp_path, pictures):
    command = [sys.executable, str(CHILD), str(tmp_path), str(pictures)]
    child = subprocess.Popen(command, stdin=subprocess.PIPE)
    try:
        wait_until((tmp_path / "service.json").exists, 40.0)
        with Client(tmp_path) as client:
            yield client
    finally:
        child.stdin.close()
        assert child.wait(15) == 0


def follow(client, until, within=400):
    """The views that are published until one holds."""
    seen = []
    for topic, body, _ in client.subscribe("calibration"):
        assert topic == "calibration"
        seen.append(body)
        if until(body):
            return seen
        assert len(seen) < within, seen[-1]
    raise AssertionError("the service went away")


def test_from_the_first_board_to_the_model_that_is_kept(client, tmp_path):
    assert not client.command("calibrate", do="finish").ok
    assert client.command("calibrate", do="start").ok
    again = client.command("calibrate", do="start")
    assert not again.ok
    assert "is under way" in again.said
    setup = client.command("begin", guide="centre-bore", job="j", part="p", operation="o")
    assert not setup.ok
    assert "being calibrated" in setup.said
    seen = follow(client, lambda body: body["state"] in ("judged", "refused"))
    taking = [body for body in seen if body["state"] == "taking"]
    counts = [body["taken"] for body in seen]
    assert counts == sorted(counts)
    assert counts[-1] >= 12, "it ends by itself when every side and tilt was seen"
    assert {"taken", "same", "unseen"} <= {body["seen"] for body in taking}
    assert len(next(body for body in taking if body["corners_px"])["corners_px"]) >= 12
    assert sum(seen[-1]["cells"]) >= 20
    assert set(seen[-1]["tilts"]) == {"left", "right", "upper", "lower"}
    assert any(body["headline"].startswith("Taken. Now the ") for body in taking)
    judged = seen[-1]
    assert (judged["state"], judged["headline"]) == ("judged", "The model is good")
    answer = client.command("calibrate", do="save")
    assert answer.ok, answer.said
    saved = follow(client, lambda body: body["state"] == "saved")[-1]
    path = Path(saved["saved_to"])
    assert path == tmp_path / "cameras" / "shelf-camera" / "m0001.json"
    found = load_camera(path)
    assert found.size == CAMERA.size
    assert found.fx == pytest.approx(CAMERA.fx, rel=0.005)
    kept = json.loads(path.read_text())
    assert kept["identity"] == "shelf camera"
    assert kept["rms_px"] < 0.3
    assert client.command("calibrate", do="stop").ok
    assert client.command("begin", guide="centre-bore", job="j", part="p", operation="o").ok
    setup = client.command("calibrate", do="start")
    assert not setup.ok
    assert "A setup is running" in setup.said


def test_too_few_views_are_not_finished_and_more_can_be_taken(client):
    client.command("bench", do="away")
    assert client.command("calibrate", do="start").ok
    body = follow(client, lambda body: body["seen"] == "unseen")[-1]
    assert body["headline"] == "Show the board"
    assert body["detail"] == "No board in sight."
    client.command("bench", do="hold", at_s=0.1)
    follow(client, lambda body: body["taken"] == 1)
    answer = client.command("calibrate", do="finish")
    assert not answer.ok
    assert answer.said == "1 view(s) so far, 6 or more are needed."
    assert not client.command("calibrate", do="save").ok
    assert not client.command("calibrate", do="more").ok
    client.command("bench", do="show")
    follow(client, lambda body: body["taken"] >= 6)
    assert client.command("calibrate", do="finish").ok
    body = follow(client, lambda body: body["state"] in ("judged", "refused"))[-1]
    assert client.command("calibrate", do="more").ok
    follow(client, lambda now: now["state"] == "taking" and now["taken"] > body["taken"])
    assert client.command("calibrate", do="stop").ok
    assert follow(client, lambda body: body["state"] == "off")[-1]["taken"] == 0


@pytest.mark.parametrize(
    ("args", "sentence"),
    [
        ({}, "A calibrate command needs `do`: start, finish, more, save, stop."),
        ({"do": "sing"}, "needs `do`"),
        ({"do": ["start"]}, "needs `do`"),
        ({"do": "stop"}, "No calibration is under way."),
        ({"do": "start", "pattern": "dots"}, "'dots' is not known: give charuco or chessboard"),
        ({"do": "start", "square_mm": "big"}, "The board's square_mm is 'big': give a number."),
        ({"do": "start", "square_mm": True}, "The board's square_mm is 'True': give a number."),
        ({"do": "start", "columns": 1}, "3 to 60"),
        ({"do": "start", "ruler_width_mm": 15}, "The ruler line of 150 mm was measured as 15 mm"),
    ],
)
def test_what_a_command_lacks_is_a_sentence(args, sentence, tmp_path):
    calibrating = Calibrating(None, lambda: None, None)
    answer = calibrating.do(args, None, running=False)
    assert not answer.ok
    assert sentence in answer.said
    assert not calibrating.active


def test_the_board_is_ours_unless_told():
    assert board_asked({}) == OUR_BOARD
    other = board_asked({"pattern": "chessboard", "columns": 7, "rows": 5, "square_mm": 30})
    assert (other.pattern, other.columns, other.rows, other.square_mm) == ("chessboard", 7, 5, 30.0)
    assert board_asked({"ruler_width_mm": 148.5}).stretch == (0.99, 1.0)
    with pytest.raises(BadInputError):
        board_asked({"rows": float("nan")})


@pytest.fixture
def started(tmp_path):
    """A calibration of a camera that gives nothing by itself, and its store."""
    camera = SimpleNamespace(
        tap=Tap(), name="shelf camera", eyes=SimpleNamespace(source=SimpleNamespace())
    )
    now = datetime(2026, 11, 27, 9, 30, tzinfo=UTC)
    calibrating = Calibrating(CameraStore(tmp_path / "cameras"), lambda: None, lambda: now)
    assert calibrating.do({"do": "start"}, camera, running=False).ok
    yield calibrating, camera
    calibrating.close()


def finished(calibrating, camera, noise_px):
    """Hand it views with corners off by so much, as if taken, and let it make the model."""
    views = noisy_views(np.random.default_rng(1), OUR_BOARD, 14, noise_px)
    gathering = calibrating._worker._gathering
    gathering._views.extend(views)
    gathering._normals.extend(normal_of(view) for view in views)
    camera.tap.put(Frame(np.full((720, 1280, 3), 90, np.uint8), 1.0, 0, camera.name))
    wait_until(lambda: calibrating.news() and calibrating._told.taken == 14)
    assert calibrating.do({"do": "finish"}, camera, running=False).ok
    wait_until(lambda: calibrating.news() and calibrating._told.state == "judged")


def test_a_poor_model_is_shown_but_not_kept(started, tmp_path):
    calibrating, camera = started
    finished(calibrating, camera, 1.3)
    assert calibrating._told.headline == "The model is poor"
    assert not calibrating._told.good
    answer = calibrating.do({"do": "save"}, camera, running=False)
    assert not answer.ok
    assert "poor: the corners do not fit one camera" in answer.said
    assert not (tmp_path / "cameras").exists()


def test_a_model_that_cannot_be_written_is_not_lost(started, tmp_path):
    calibrating, camera = started
    finished(calibrating, camera, 0.1)
    (tmp_path / "cameras").write_text("in the way")
    answer = calibrating.do({"do": "save"}, camera, running=False)
    assert not answer.ok
    assert "cannot be written" in answer.said
    (tmp_path / "cameras").unlink()
    assert calibrating.do({"do": "save"}, camera, running=False).ok
    kept = json.loads((tmp_path / "cameras" / "shelf-camera" / "m0001.json").read_text())
    assert kept["made_utc"] == "2026-11-27T09:30:00+00:00"
    assert kept["settings"] is None


def test_a_camera_that_may_focus_anew_is_warned_of(started):
    calibrating, camera = started
    camera.eyes.source.state = CameraState("usb 4", 1280, 720, "mjpg", 30.0, {"focus": 12.0})
    finished(calibrating, camera, 0.1)
    assert calibrating.do({"do": "save"}, camera, running=False).ok
    saved = calibrating.news()
    assert "Focus was not locked" in saved.detail
    kept = json.loads(Path(saved.saved_to).read_text())
    assert (kept["identity"], kept["settings"]["values"]) == ("usb 4", {"focus": 12.0})


def test_a_camera_without_pictures_says_so(started, monkeypatch):
    calibrating, camera = started
    monkeypatch.setattr("stream.calibrating_worker.PATIENCE_S", 0.3)
    wait_until(lambda: calibrating.news() and calibrating._told.headline == "No picture")
    assert "calibrated there" in calibrating._told.detail
    assert not calibrating.do({"do": "finish"}, camera, running=False).ok
