"""Views picked from a moving board by themselves: held still, new, sharp; the rest named."""

import cv2
import numpy as np
import pytest
from board_making import CAMERA, poses, project

from calibration.boards import OUR_BOARD, LeftOut, View, shift_px, told_together
from calibration.calibrate import calibrate
from calibration.coverage import CELLS, Coverage, coverage_of, normal_of, tilts_of
from calibration.coverage_gather import STILL_S, Gathering

PERIOD_S = 0.13
POINTS = OUR_BOARD.points_mm


def seen(pose, t_s, rng, *, blur_px=1.2, noise_px=0.1, which=slice(None)):
    pixels = project(POINTS, *pose) + rng.normal(0, noise_px, (len(POINTS), 2))
    return View(f"{t_s:.2f} s", POINTS[which], pixels[which], CAMERA.size, blur_px)


class Hands:
    """A board held by hand: rests, and moves from one pose to the next."""

    def __init__(self, seed=1):
        self.rng = np.random.default_rng(seed)
        self.gathering, self.t_s, self.kinds = Gathering(), 0.0, []
        self.poses = poses(self.rng, OUR_BOARD, 30)

    def show(self, pose, **how):
        self.t_s += PERIOD_S
        assert self.gathering.wants(self.t_s)
        offer = self.gathering.offer(seen(pose, self.t_s, self.rng, **how), self.t_s)
        self.kinds.append(offer.kind)

    def rest(self, k, seconds=0.7, **how):
        for _ in range(round(seconds / PERIOD_S)):
            self.show(self.poses[k], **how)

    def move(self, a, b, seconds=0.8):
        steps = round(seconds / PERIOD_S)
        for i in range(1, steps):
            one, other = self.poses[a], self.poses[b]
            self.show(tuple(x + (y - x) * i / steps for x, y in zip(one, other, strict=True)))

    def away(self):
        self.t_s += PERIOD_S
        self.gathering.offer(LeftOut(f"{self.t_s:.2f} s", "no board"), self.t_s)


def test_a_view_is_taken_once_the_board_is_held_still_and_not_twice():
    hands = Hands()
    hands.rest(0, 3.0)
    hands.move(0, 1)
    hands.rest(1)
    assert hands.kinds.count("taken") == 2
    first = hands.kinds.index("taken")
    assert first * PERIOD_S >= STILL_S - PERIOD_S
    assert "moving" in hands.kinds[first:]
    reasons = dict(told_together(hands.gathering.left_out))
    assert set(reasons) == {"shows the board where another view does", "the board was moving"}


def test_a_board_that_never_rests_gives_no_view():
    hands = Hands()
    for k in range(8):
        hands.move(k, k + 1)
    assert "taken" not in hands.kinds
    (one,) = hands.gathering.left_out[-1:]
    assert one.reason == "the board was moving"
    assert "(" in one.name, "pictures in a row are told together, with their count"


@pytest.mark.parametrize(("sway_mm", "taken"), [(1.5, True), (8.0, False)])
def test_hands_sway_and_are_still_all_the_same(sway_mm, taken):
    """By 1.5 mm once a second they are still; by 8 mm they are not."""
    hands = Hands()
    rotation, shift = hands.poses[0]
    for k in range(24):
        sway = sway_mm * np.sin(2 * np.pi * k * PERIOD_S) * np.array([1.0, 0.0, 0.0])
        hands.show((rotation, shift + sway))
    assert ("taken" in hands.kinds) is taken


def test_a_board_that_leans_anew_in_the_same_place_is_new():
    hands = Hands()
    middle = POINTS.mean(axis=0)

    def leaning(degrees):
        rotation = np.array([0.0, np.radians(degrees), 0.0])
        turn = cv2.Rodrigues(rotation)[0]
        return rotation, np.array([0.0, 0.0, 420.0]) - turn @ middle

    hands.poses = [leaning(degrees) for degrees in (0.0, 3.0, -25.0)]
    for k in range(3):
        hands.rest(k)
        hands.away()
    assert hands.kinds.count("taken") == 2
    assert hands.gathering.coverage.tilts == {"left"}


def test_a_sharper_view_of_the_same_takes_its_place():
    hands = Hands()
    hands.rest(0, blur_px=3.0)
    hands.rest(0, blur_px=1.2)
    assert "sharper" in hands.kinds
    (view,) = hands.gathering.views
    assert view.blur_px == 1.2
    assert any("a sharper view of the same came" in one.reason for one in hands.gathering.left_out)


def test_a_board_cut_off_is_compared_by_the_corners_that_both_show():
    rng = np.random.default_rng(2)
    pose = poses(rng, OUR_BOARD, 1)[0]
    whole, part = seen(pose, 0, rng), seen(pose, 1, rng, which=slice(0, 50))
    assert len(shift_px(whole, part)) == 50
    views = [seen(pose, k, rng) for k, pose in enumerate(poses(rng, OUR_BOARD, 9))]
    found = calibrate([whole, *views, part])
    assert [one.name for one in found.left_out] == [part.name]


def test_it_is_enough_when_the_picture_is_covered_and_every_tilt_seen():
    hands = Hands(seed=4)
    for k in range(30):
        hands.rest(k, 0.6)
        hands.away()
        if hands.gathering.enough:
            break
    taken = len(hands.gathering.views)
    assert hands.gathering.enough
    assert 12 <= taken <= 30
    found = calibrate(hands.gathering.views, left_out=hands.gathering.left_out)
    assert found.camera.fx == pytest.approx(CAMERA.fx, rel=0.003)


def test_no_more_pictures_are_looked_at_than_tell_something():
    gathering = Gathering()
    assert sum(gathering.wants(k / 30) for k in range(300)) == pytest.approx(80, abs=6)


@pytest.mark.parametrize("side", ["left", "right", "upper", "lower"])
def test_the_nearer_edge_is_the_one_the_picture_shows(side):
    """The truth is the distance of the corners themselves."""
    axis = {"left": (0, -1), "right": (0, 1), "upper": (1, 0), "lower": (-1, 0)}[side]
    rotation = np.radians(25.0) * np.array([*axis, 0.0])
    turn = cv2.Rodrigues(rotation)[0]
    shift = np.array([10.0, -5.0, 400.0]) - turn @ POINTS.mean(axis=0)
    far = (POINTS @ turn.T + shift)[:, 2].reshape(OUR_BOARD.rows, OUR_BOARD.columns)
    pixels = project(POINTS, rotation, shift).reshape(OUR_BOARD.rows, OUR_BOARD.columns, 2)
    nearest = np.unravel_index(np.argmin(far.mean(0 if axis[1] else 1)), (9,) if axis[1] else (6,))
    along = pixels[:, :, 0].mean(0) if axis[1] else pixels[:, :, 1].mean(1)
    at = along[nearest]
    assert at == (along.min() if side in ("left", "upper") else along.max())
    view = View("a", POINTS, pixels.reshape(-1, 2), CAMERA.size)
    assert tilts_of(normal_of(view)) == {side}
    assert tilts_of(turn[:, 2]) == {side}


def test_what_is_missing_is_told_by_side_and_tilt():
    rng = np.random.default_rng(3)
    pixels = rng.uniform((20, 20), (600, 340), (54, 2))  # the upper left quarter
    cells = coverage_of([View("a", POINTS, pixels, CAMERA.size)], [np.array([0.0, 0.0, 1.0])])
    assert cells.missing[:2] == (
        "the board in the right of the picture", "the board in the bottom of the picture",
    )  # fmt: skip
    assert len(cells.missing) == 6
    assert cells.share == pytest.approx(0.25)
    grid = np.array(cells.cells).reshape(CELLS[1], CELLS[0])
    assert grid[:2, :3].all()
    assert not grid[2:].any()
    assert Coverage().share == 0.0
