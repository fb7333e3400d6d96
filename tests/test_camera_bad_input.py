"""What spoils a calibration is named, with the way out; each of them as a person would do it."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from board_making import CAMERA, artwork_of, drawn, noisy_views, poses, walk

from calibration.boards import OUR_BOARD, Board, LeftOut, View
from calibration.calibrate import calibrate
from calibration.camera import load_camera, save_camera
from readings import BadInputError
from ui.cli import main
from vision.board_find import find_board

CHESS = Board("chessboard", 9, 6, 25.0)


@pytest.fixture(scope="module")
def photos():
    """Three pictures (grey) of our board."""
    rng = np.random.default_rng(4)
    artwork = artwork_of(OUR_BOARD)
    return [
        drawn(OUR_BOARD, artwork, 6, OUR_BOARD.square_mm + 10, *pose, rng)
        for pose in poses(rng, OUR_BOARD, 3)
    ]


def why(image, board=OUR_BOARD):
    found = find_board(image, board, "photo")
    assert isinstance(found, LeftOut), "a board was found"
    return found.reason


def cut_to(image, view, columns):
    """The picture with everything from a column of corners on covered."""
    cut = image.copy()
    x = view.points_px[:, 0][np.isclose(view.points_mm[:, 0], 25.0 * columns)].mean()
    if view.points_px[0, 0] < x:
        cut[:, int(x) :] = 120
    else:
        cut[:, : int(x)] = 120
    return cut


def test_too_few_views_say_why_and_what_to_do(photos, tmp_path, capsys):
    for k, photo in enumerate(photos):
        cv2.imwrite(str(tmp_path / f"{k}.png"), photo)
        cv2.imwrite(str(tmp_path / f"{k + 5}.png"), np.full_like(photo, 90))
    assert main(["camera", "calibrate", str(tmp_path), "--out", str(tmp_path / "c.json")]) == 2
    said = capsys.readouterr().err
    assert "3 usable view(s) of the board, 6 or more are needed" in said
    assert "5.png, 6.png, 7.png: no board in sight" in said
    assert "Take more, the whole board sharp in sight." in said
    assert not (tmp_path / "c.json").exists()


def test_a_board_cut_off_counts_by_what_is_left_of_it(photos):
    """Our board may be cut off: what is seen of it counts, until that is too little."""
    whole = find_board(photos[0], OUR_BOARD, "a")
    part = find_board(cut_to(photos[0], whole, 5), OUR_BOARD, "a")
    assert 12 <= len(part.points_px) < 40
    places = {tuple(mm): px for mm, px in zip(whole.points_mm, whole.points_px, strict=True)}
    off = [px - places[tuple(mm)] for mm, px in zip(part.points_mm, part.points_px, strict=True)]
    inner = part.points_mm[:, 0] < 25.0 * 4
    assert np.abs(np.array(off)[inner]).max() < 0.05, "no corner takes another one's name"
    assert "corners of the board in sight, 12 or more are needed: bring more" in why(
        cut_to(photos[0], whole, 2)
    )


def test_a_chessboard_cut_off_is_no_chessboard(photos):
    whole = find_board(photos[0], OUR_BOARD, "a")
    said = why(cut_to(photos[0], whole, 5), CHESS)
    assert said.startswith("no whole board of 9 x 6 inner corners in sight: show all of it")


def test_a_board_of_another_size_than_told_is_named(photos):
    said = why(photos[0], replace(OUR_BOARD, columns=8))
    assert "another board than one of 8 x 6 inner corners in sight: give its own" in said
    assert "no whole board of 8 x 6" in why(photos[0], replace(CHESS, columns=8))


def test_a_board_in_motion_is_not_taken_for_another(photos):
    ghost = cv2.addWeighted(photos[0], 0.5, photos[1], 0.5, 0)
    assert why(ghost) == "the board is seen twice, as when it moves: hold it still"


def test_a_mirrored_print_is_named(photos, tmp_path, capsys):
    for k, photo in enumerate(photos):
        cv2.imwrite(str(tmp_path / f"{k}.png"), photo[:, ::-1])
    assert main(["camera", "calibrate", str(tmp_path), "--out", str(tmp_path / "c.json")]) == 2
    said = capsys.readouterr().err
    assert "0.png, 1.png, 2.png: the board is mirrored: print it anew" in said


def views_of(board, camera=CAMERA, seed=5, count=14):
    return noisy_views(np.random.default_rng(seed), board, count, 0.1, camera)


@pytest.mark.parametrize("square_mm", [2.5, 1.0, 250.0])
def test_squares_in_cm_or_inches_put_the_board_where_it_cannot_have_been(square_mm):
    wrong = square_mm / 25.0
    views = [
        View(v.name, v.points_mm * wrong, v.points_px, v.size) for v in views_of(CHESS, count=12)
    ]
    with pytest.raises(BadInputError, match="squares are not of the size given"):
        calibrate(views)


def test_how_far_the_board_stood_is_told_so_that_a_wrong_square_is_seen():
    """The truth is the poses' own distance: 0.52 of the picture filled."""
    points = OUR_BOARD.points_mm
    views = []
    for k, (rotation, shift) in enumerate(walk(OUR_BOARD)):
        pixels, _ = cv2.projectPoints(points, rotation, shift, CAMERA.matrix, CAMERA.distortion)
        views.append(View(str(k), points, pixels.reshape(-1, 2), CAMERA.size))
    near, far = calibrate(views).distance_mm
    truth = [np.linalg.norm(shift) for _, shift in walk(OUR_BOARD)]
    assert (near, far) == pytest.approx((min(truth), max(truth)), rel=0.002)


@pytest.mark.parametrize("stretch", [1.005, 1.03, 0.98])
def test_a_print_longer_one_way_is_refused_by_how_much(stretch):
    """A printer that feeds too far; views turned in the picture's plane tell it from the lens."""
    views = [
        View(v.name, v.points_mm / [1.0, stretch, 1.0], v.points_px, v.size)
        for v in views_of(CHESS)
    ]
    with pytest.raises(BadInputError, match="Measure both of its ruler lines") as refused:
        calibrate(views)
    share = abs(stretch - 1.0)
    words = "longer down than across" if stretch > 1 else "longer across than down"
    assert f"{share:.1%} {words}" in str(refused.value)
    assert words in str(refused.value)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("stretch", [1.0, 1.001])
def test_a_true_print_is_not_refused(seed, stretch):
    views = views_of(CHESS, seed=seed)
    calibrate([View(v.name, v.points_mm / [1.0, stretch, 1.0], v.points_px, v.size) for v in views])


def test_a_stretched_print_that_was_never_turned_is_told_by_its_tilts():
    rng = np.random.default_rng(3)
    points, views = OUR_BOARD.points_mm, []
    for k, (rotation, shift) in enumerate(walk(OUR_BOARD)):
        pixels, _ = cv2.projectPoints(points, rotation, shift, CAMERA.matrix, CAMERA.distortion)
        pixels = pixels.reshape(-1, 2) + rng.normal(0, 0.1, (len(points), 2))
        views.append(View(str(k), points / [1.0, 1.03, 1.0], pixels, CAMERA.size))
    with pytest.raises(BadInputError, match="longer down than across"):
        calibrate(views)


def test_views_of_two_sizes_are_refused(photos, tmp_path, capsys):
    cv2.imwrite(str(tmp_path / "a.png"), photos[0])
    cv2.imwrite(str(tmp_path / "b.png"), cv2.resize(photos[1], (960, 540)))
    assert main(["camera", "calibrate", str(tmp_path), "--out", str(tmp_path / "c.json")]) == 2
    said = capsys.readouterr().err
    assert "different sizes (960 x 540 and 1280 x 720)" in said
    assert "take all with the size that is used later" in said


def test_a_camera_of_another_size_than_its_model_is_refused(faces_dir, tmp_path, capsys):
    """One picture: refused, exit 2. In a film or folder and live it is the flag `wrong size`."""
    home = ["--home", str(tmp_path)]
    assert main([*home, "dial", "teach", str(faces_dir / "dev1"), "--name", "d"]) == 0
    camera = load_camera(faces_dir / "dev1" / "camera.json")
    save_camera(replace(camera, image_width=640, image_height=480), tmp_path / "other.json")
    photo = sorted((faces_dir / "dev1" / "teach").glob("*.*g"))[0]
    capsys.readouterr()
    words = ["read", str(photo), "--dial", "d", "--camera", str(tmp_path / "other.json")]
    assert main([*home, *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "the camera model is for 640 × 480; use the model made at this size" in said.err
    folder = tmp_path / "photos"
    folder.mkdir()
    for k in range(2):
        (folder / f"{k}{photo.suffix}").write_bytes(photo.read_bytes())
    assert main([*home, words[0], str(folder), *words[2:], "--jsonl"]) == 0
    assert capsys.readouterr().out.count('"reasons":["wrong size"]') == 2


def test_unsharp_views_give_way_to_sharp_ones():
    views = [replace_blur(v, 1.2) for v in views_of(CHESS, count=10)]
    soft = [replace_blur(v, 3.0) for v in views_of(CHESS, seed=9, count=2)]
    found = calibrate([*views, *(View(f"soft {v.name}", *rest(v)) for v in soft)])
    reasons = {one.name: one.reason for one in found.left_out}
    assert set(reasons) == {"soft view 0", "soft view 1"}
    assert set(reasons.values()) == {"less sharp than others, edges 3.0 px wide, not 1.2"}


def replace_blur(view, blur_px):
    return View(view.name, view.points_mm, view.points_px, view.size, blur_px)


def rest(view):
    return view.points_mm, view.points_px, view.size, view.blur_px
