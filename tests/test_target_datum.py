"""A target's place in a datum's plane: two drawn targets on one leaning sheet."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from board_making import drawn
from target_making import CAMERA, PER_MM, artwork

from calibration.camera import save_camera
from calibration.targets import Target
from readings import BadInputError
from ui.cli import main
from vision.target_datum import place_in_datum
from vision.target_reader import TargetReader

DATUM, OTHER = Target(0, 40.0), Target(1, 40.0)
APART_MM = (60.0, -12.0)


@pytest.fixture(scope="module")
def sheet():
    """Both targets on one paper, the datum in its middle: picture and half its side in mm."""
    one, half = artwork(DATUM)
    other, _ = artwork(OTHER)
    wide = round(2 * (APART_MM[0] + half) * PER_MM)
    paper = np.full((wide, wide), 255, np.uint8)
    for art, (x, y) in ((one, (0.0, 0.0)), (other, APART_MM)):
        left = round(wide / 2 + x * PER_MM - art.shape[1] / 2)
        top = round(wide / 2 + y * PER_MM - art.shape[0] / 2)
        paper[top : top + art.shape[0], left : left + art.shape[1]] = art
    return paper, wide / 2 / PER_MM


def view(sheet, seed, tilt_deg=28.0):
    """A picture of the sheet from aslant, and the pose it was drawn with."""
    rng = np.random.default_rng(seed)
    way = rng.uniform(0, 2 * np.pi)
    lean = np.radians(tilt_deg) * np.array([np.cos(way), np.sin(way), 0.0])
    spin = np.array([0.0, 0.0, rng.uniform(-0.25, 0.25)])
    turn = cv2.Rodrigues(lean)[0] @ cv2.Rodrigues(spin)[0]
    place = np.array([-28.0, 4.0, 210.0]) + rng.uniform(-3, 3, 3)
    paper, half = sheet
    pose = cv2.Rodrigues(turn)[0].ravel(), place
    return drawn(None, paper, PER_MM, half, *pose, rng, camera=CAMERA, blur_px=0.8)


def read(image):
    return {one.number: one for one in TargetReader((DATUM, OTHER), CAMERA).read(image)}


def test_a_place_in_the_datums_plane_is_where_it_was_printed(sheet):
    over = []
    for seed in range(8):
        sights = read(view(sheet, seed))
        found = place_in_datum(sights[1], sights[0])
        off = found.place_mm - APART_MM
        assert np.abs(off).max() < 0.15
        assert abs(found.turn_rad) < 0.005
        over.extend(off / found.sigma_mm)
    assert 0.4 < np.sqrt(np.mean(np.square(over))) < 1.8


def test_the_plane_may_lie_above_the_datum(sheet):
    """By the intercept theorem: a plane nearer to the lens is crossed nearer to its foot."""
    sights = read(view(sheet, 1))
    pose = sights[0].pose
    eye = -pose.rotation.T @ pose.translation
    flat = place_in_datum(sights[1], sights[0]).place_mm
    high = place_in_datum(sights[1], sights[0], height_mm=10.0).place_mm
    share = 10.0 / abs(eye[2])
    assert high == pytest.approx(flat + share * (eye[:2] - flat), abs=1e-6)


def test_a_plane_that_is_not_known_gives_no_place(sheet):
    sights = read(view(sheet, 2))
    with pytest.raises(BadInputError, match="mirror image"):
        place_in_datum(sights[1], replace(sights[0], tilt_rad=None))
    with pytest.raises(BadInputError, match="cannot be"):
        place_in_datum(sights[1], sights[0], height_mm=float("nan"))


@pytest.fixture
def folder(sheet, tmp_path):
    cv2.imwrite(str(tmp_path / "a.png"), view(sheet, 3))
    save_camera(CAMERA, tmp_path / "camera.json")
    return tmp_path


def run(capsys, folder, *words):
    path = str(folder / "a.png")
    code = main(["target", "read", path, "--camera", str(folder / "camera.json"), *words])
    return code, *capsys.readouterr()


def test_the_command_tells_places_and_refusals(capsys, folder):
    sizes = ("--size-mm", "40", "--numbers", "1,5", "--json")
    code, out, _ = run(capsys, folder, *sizes, "--datum", "0")
    one, missing, datum = json.loads(out)
    assert code == 0
    assert (one["x_mm"], one["y_mm"]) == pytest.approx(APART_MM, abs=0.15)
    assert 0 < one["u_x_mm"] < 0.1
    assert missing["state"] == "refused"
    assert missing["x_mm"] is None
    assert (datum["x_mm"], datum["y_mm"]) == pytest.approx((0.0, 0.0), abs=1e-6)
    code, out, _ = run(capsys, folder, *sizes)
    assert json.loads(out)[0]["z_mm"] == pytest.approx(210, abs=30)
    code, out, _ = run(capsys, folder, "--size-mm", "40", "--numbers", "0,1")
    assert "ok" in out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--numbers", "a"], "no list of targets"),
        (["--numbers", "1,1"], "names a target twice"),
        (["--numbers", "99"], "numbers go from 0 to 24"),
        (["--size-mm", "5"], "give 20 to 150"),
    ],
)
def test_a_mistake_is_one_sentence(capsys, folder, words, sentence):
    code, out, err = run(capsys, folder, *words)
    assert (code, out) == (2, "")
    assert sentence in err


def test_a_picture_that_does_not_fit_is_named(capsys, folder):
    image = cv2.imread(str(folder / "a.png"))
    cv2.imwrite(str(folder / "a.png"), image[:400])
    code, out, err = run(capsys, folder)
    assert (code, out) == (2, "")
    assert "a.png: the picture is 640 x 400 pixels, the camera model is for 640 x 480" in err
    (folder / "a.png").write_bytes(b"no picture")
    assert "cannot be read as a picture" in run(capsys, folder)[2]
    with pytest.raises(BadInputError, match="640 x 480"):
        TargetReader((DATUM,), CAMERA).read(image[:400])
