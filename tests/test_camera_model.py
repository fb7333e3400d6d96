import json

import cv2
import numpy as np
import pytest

from calibration import CameraModel, load_camera, save_camera
from readings import BadInputError

# barrel, pincushion and tangential terms as far as a cheap webcam goes
CAMERA = CameraModel(1280, 720, 1180.0, 1175.0, 651.0, 352.0, -0.21, 0.07, 0.0011, -0.0008, -0.01)
PIXELS = np.random.default_rng(5).uniform((0, 0), (1279, 719), (200, 2))


def test_projection_agrees_with_opencv():
    """Outside truth: OpenCV's projectPoints."""
    points = np.random.default_rng(1).uniform((-60, -40, 180), (60, 40, 260), (100, 3))
    expected, _ = cv2.projectPoints(
        points, np.zeros(3), np.zeros(3), CAMERA.matrix, CAMERA.distortion
    )
    np.testing.assert_allclose(CAMERA.project(points), expected.reshape(-1, 2), atol=1e-9)


def test_undistortion_agrees_with_opencv():
    """Outside truth: OpenCV's undistortPoints (its five fixed rounds are good to 1e-4)."""
    expected = cv2.undistortPoints(PIXELS, CAMERA.matrix, CAMERA.distortion).reshape(-1, 2)
    np.testing.assert_allclose(CAMERA.undistort(PIXELS), expected, atol=3e-4)


def test_undistort_and_project_undo_each_other():
    rays = CAMERA.undistort(PIXELS)
    back = CAMERA.project(np.column_stack([rays, np.ones(len(rays))]))
    np.testing.assert_allclose(back, PIXELS, atol=1e-7)
    wrong = CAMERA.project(np.column_stack([rays * 1.0001, np.ones(len(rays))]))
    assert np.abs(wrong - PIXELS).max() > 1e-3


def test_saved_model_comes_back_exactly(tmp_path):
    save_camera(CAMERA, tmp_path / "camera.json")
    assert load_camera(tmp_path / "camera.json") == CAMERA


def test_shipped_camera_files_load(faces_dir):
    for path in sorted(faces_dir.glob("dev*/camera.json")):
        assert load_camera(path).size == (1280, 720)


def test_missing_distortion_terms_are_zero(tmp_path):
    keys = ("image_width", "image_height", "fx", "fy", "cx", "cy")
    path = tmp_path / "camera.json"
    path.write_text(json.dumps({key: getattr(CAMERA, key) for key in keys}))
    assert not np.any(load_camera(path).distortion)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (None, "no camera file"),
        ("", "cannot be read"),
        ("[1]", "one JSON object"),
        ('{"fx": 1, "fy": 1}', "lacks image_width, image_height, cx, cy"),
        (
            '{"image_width": 9, "image_height": 9, "fx": 0, "fy": 1, "cx": 1, "cy": 1}',
            "not positive",
        ),
        (
            '{"image_width": 9, "image_height": 9, "fx": "a", "fy": 1, "cx": 1, "cy": 1}',
            "no number",
        ),
        (
            '{"image_width": 9, "image_height": 9, "fx": NaN, "fy": 1, "cx": 1, "cy": 1}',
            "not positive",
        ),
    ],
)
def test_bad_files_say_what_is_wrong(tmp_path, text, says):
    path = tmp_path / "camera.json"
    if text is not None:
        path.write_text(text)
    with pytest.raises(BadInputError, match=says):
        load_camera(path)
