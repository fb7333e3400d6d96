"""A bore's edge seen from the spindle, against drawn truth and the books' formulas."""

import json
from dataclasses import replace
from math import atan2, hypot, radians

import cv2
import numpy as np
import pytest
from bore_making import BoreView, draw, random_view

from calibration.camera import CameraModel, save_camera
from readings import BadInputError
from sweeps import EdgeOffset, offset_from_edges
from ui.cli import main
from vision.bore_edge import find_bore_edge

CAMERA = CameraModel(640, 480, 620.0, 620.0, 320.0, 240.0)
GOAL_PX = 0.06
SMALL = (640, 360)


@pytest.fixture(scope="module", autouse=True)
def one_thread():
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    yield
    cv2.setNumThreads(before)


def seen(seed, count, size):
    """Errors (n, 2) in px and errors over stated sigmas of so many random views."""
    rng = np.random.default_rng(seed)
    errors, over, refused = [], [], 0
    for _ in range(count):
        view = random_view(rng, size)
        try:
            sight = find_bore_edge(draw(view), view.camera, 2 * view.radius_mm)
        except BadInputError as error:
            if "chamfer that cannot be told" not in str(error):
                raise
            refused += 1
            continue
        error = sight.centre_px - view.true_centre_px()
        errors.append(error)
        over.append(error / np.sqrt(np.diag(sight.covariance_px2)))
        wide = sight.radius_px * view.centre_mm[2] / (view.camera.fx * view.radius_mm)
        assert wide == pytest.approx(1.0, abs=0.004), "a chamfer's circle taken for the edge"
    assert refused <= 0.03 * count
    return np.array(errors), np.array(over)


def test_edges_of_random_views_are_found_where_they_are():
    errors, over = seen(17, 16, SMALL)
    away = np.hypot(*errors.T)
    assert np.quantile(away, 0.95) < GOAL_PX
    assert 0.6 < np.sqrt(np.mean(over**2)) < 1.4


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_300_views_and_true_sigmas_over_2000():
    errors, _ = seen(18, 300, (1280, 720))
    assert np.quantile(np.hypot(*errors.T), 0.95) < GOAL_PX
    _, over = seen(19, 2000, SMALL)
    assert 0.9 < np.sqrt(np.mean(over**2)) < 1.1


def plain(**changes):
    return replace(BoreView(CAMERA, 26.0, (1.0, -0.5, 100.0), lamp_rad=0.5, noise=2.0), **changes)


def test_a_chamfer_is_told_from_the_edge():
    view = plain(chamfer_mm=1.5)
    sight = find_bore_edge(draw(view), CAMERA, 52.0)
    assert sight.radius_px == pytest.approx(620 * 0.26, rel=0.003)
    assert sight.chamfer_radius_px == pytest.approx(620 * 0.275, rel=0.005)
    assert find_bore_edge(draw(plain()), CAMERA, 52.0).chamfer_radius_px is None


def test_a_first_guess_between_chamfer_and_edge_ends_at_neither_in_the_middle():
    """A view of the 2 000 in which a mixture of both circles was once taken for the edge."""
    rng = np.random.default_rng(19)
    view = [random_view(rng, SMALL) for _ in range(1086)][-1]
    sight = find_bore_edge(draw(view), view.camera, 2 * view.radius_mm)
    in_px = view.camera.fx / view.centre_mm[2]
    assert sight.radius_px == pytest.approx(in_px * view.radius_mm, rel=0.001)
    assert np.abs(sight.centre_px - view.true_centre_px()).max() < GOAL_PX


def test_a_shadow_moves_nothing():
    bare = find_bore_edge(draw(plain()), CAMERA, 52.0).centre_px
    shaded = find_bore_edge(draw(plain(shadow=0.6)), CAMERA, 52.0).centre_px
    assert np.abs(shaded - bare).max() < 0.05


def test_lengths_are_in_the_plane_of_the_edge():
    sight = find_bore_edge(draw(plain()), CAMERA, 52.0)
    assert sight.centre_mm == pytest.approx([1.0, 0.5], abs=0.01)
    assert sight.distance_mm == pytest.approx(100.0, rel=0.003)


def test_what_is_no_whole_bore_is_refused():
    blank = np.random.default_rng(1).normal(150, 3, (480, 640)).astype(np.uint8)
    with pytest.raises(BadInputError, match="no whole circle"):
        find_bore_edge(blank, CAMERA, 52.0)
    light = 255 - draw(plain())
    with pytest.raises(BadInputError, match="dark inside"):
        find_bore_edge(light, CAMERA, 52.0)
    cut = draw(plain(centre_mm=(45.0, 0.0, 100.0)))
    with pytest.raises(BadInputError, match="no whole circle"):
        find_bore_edge(cut, CAMERA, 52.0)
    with pytest.raises(BadInputError, match="640 x 480"):
        find_bore_edge(draw(plain())[:400], CAMERA, 52.0)
    with pytest.raises(BadInputError, match="1 to 1000 mm"):
        find_bore_edge(draw(plain()), CAMERA, float("nan"))


def test_a_chamfer_half_in_the_dark_is_no_edge():
    """The outer circle is whole, the inner one seen on one side only."""
    y, x = np.mgrid[:480, :640].astype(float)
    away, turn = np.hypot(x - 320, y - 240), np.arctan2(y - 240, x - 320)
    light = np.where(away < 176, np.where(np.abs(turn) < 1.2, 100.0, 22.0), 180.0)
    light = np.where(away < 161, 22.0, light)
    image = cv2.GaussianBlur(light, (0, 0), 1.0) + np.random.default_rng(3).normal(0, 2, x.shape)
    with pytest.raises(BadInputError, match="cannot be told from the edge"):
        find_bore_edge(np.clip(image, 0, 255).astype(np.uint8), CAMERA, 52.0)


def orbit(offset, axis, turned, radius_mm=26.0, distance_mm=150.0, noise=0.0):
    """What a camera on the spindle sees, by turning the world and not the formula."""
    rng = np.random.default_rng(2)
    angle = atan2(offset[1], offset[0]) - np.asarray(turned)
    size = hypot(*offset)
    centres = np.column_stack([axis[0] + size * np.cos(angle), axis[1] + size * np.sin(angle)])
    centres = centres + rng.normal(0, noise, centres.shape)
    own = np.tile(max(noise, 1e-3) ** 2 * np.eye(2), (len(turned), 1, 1))
    return offset_from_edges(
        centres, np.asarray(turned), own, radius_mm=radius_mm, distance_mm=distance_mm
    )


@pytest.mark.parametrize("turned_deg", [(0, 180), (0, 90), (10, 95, 200, 310)])
def test_the_offset_is_freed_of_where_the_camera_hangs(turned_deg):
    found = orbit((0.31, -0.12), (2.0, -1.1), np.radians(turned_deg))
    assert isinstance(found, EdgeOffset)
    assert (found.x_mm, found.y_mm) == pytest.approx((0.31, -0.12))
    assert found.axis_mm == pytest.approx([2.0, -1.1])
    assert found.label == "edge, not bore"


def test_an_edge_out_of_square_stays_in_the_uncertainty():
    """0.1 degree on a 52 mm bore at 150 mm is 8 micrometres (R²θ/Z), however many pictures."""
    found = orbit((0.0, 0.0), (0.0, 0.0), np.radians(np.arange(36) * 10.0))
    assert found.u_square_mm == pytest.approx(0.0079, abs=0.0001)
    assert np.sqrt(found.covariance_mm2[0, 0]) >= found.u_square_mm


def test_the_shift_of_a_leaning_edge_is_the_formulas():
    """Second road: the leaning edge is drawn, and turned with the work under the camera."""
    lean = radians(1.0)
    shifts = []
    for way in (1.0, -1.0):
        view = plain(centre_mm=(0.0, 0.0, 100.0), tilt=(way * lean, 0.0), noise=0.5, lamp_rad=1.6)
        shifts.append(find_bore_edge(draw(view), CAMERA, 52.0).centre_mm[0])
    assert abs(shifts[0] - shifts[1]) / 2 == pytest.approx(26.0**2 * lean / 100.0, rel=0.1)


def test_what_tells_no_offset_says_why():
    own = np.tile(1e-6 * np.eye(2), (2, 1, 1))
    two, size = np.zeros((2, 2)), {"radius_mm": 26.0, "distance_mm": 150.0}
    for centres, turned, more, why in (
        (two[:1], [0.0], own[:1], "turn the spindle"),
        (two, [0.0, 0.1], own, "6 degrees apart"),
        (two, [0.0, np.nan], own, "no number"),
        (two, [0.0, np.pi], 0 * own, "not positive"),
        (two, [0.0, np.pi, 1.0], own, "each orientation"),
    ):
        found = offset_from_edges(np.array(centres), np.array(turned), more, **size)
        assert not found
        assert why in found.reason
    moved = np.array([[0.1, 0], [0, -0.1], [-0.1, 0], [0.5, 0.5]])
    found = offset_from_edges(
        moved, np.radians([0, 90, 180, 270]), np.tile(1e-6 * np.eye(2), (4, 1, 1)), **size
    )
    assert "moved" in found.reason


@pytest.fixture(scope="module")
def pictures(tmp_path_factory):
    """Two pictures of an edge 0.4 mm to the right and 0.2 mm to the back, the camera on top."""
    folder = tmp_path_factory.mktemp("edges")
    for k, side in enumerate((1.0, -1.0)):
        view = plain(centre_mm=(0.6 + side * 0.4, 0.3 - side * 0.2, 100.0), seed=k)
        cv2.imwrite(str(folder / f"{k}.png"), draw(view))
    save_camera(CAMERA, folder / "camera.json")
    return folder


def run(capsys, folder, *words):
    paths = [str(folder / "0.png"), str(folder / "1.png"), "--camera", str(folder / "camera.json")]
    code = main(["edge", *paths, *words])
    return code, *capsys.readouterr()


def test_the_command_tells_offset_uncertainty_and_move(capsys, pictures):
    code, out, _ = run(capsys, pictures, "--diameter-mm", "52", "--json")
    told = json.loads(out)
    assert code == 0
    assert told["what"] == "edge, not bore"
    assert (told["offset_x_mm"], told["offset_y_mm"]) == pytest.approx((0.4, 0.2), abs=0.01)
    assert told["u_square_mm"] == pytest.approx(26**2 * radians(0.1) / 100, rel=0.01)
    code, out, _ = run(capsys, pictures, "--diameter-mm", "52", "--top", "right")
    assert "0.2" in out.split(" mm right")[0][-6:]
    assert "Edge, not bore" in out
    assert "then sweep the bore itself" in out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--diameter-mm", "52", "--at", "0"], "--at has 1 angles for 2 pictures"),
        (["--diameter-mm", "52", "--at", "0,x"], "no list of degrees"),
        (["--diameter-mm", "52", "--at", "0,5"], "5 degrees apart"),
        (["--diameter-mm", "52", "--top", "up"], "right, back, left or front"),
        (["--diameter-mm", "-3"], "1 to 1000 mm"),
    ],
)
def test_a_mistake_is_one_sentence(capsys, pictures, words, sentence):
    code, out, err = run(capsys, pictures, *words)
    assert (code, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1
