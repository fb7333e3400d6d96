"""The bench's pictures show what its truth says, measured by means that it does not use."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from simulator import Bench, BenchSpec, camera_model
from simulator.optics import project
from simulator.painter import Painter, Scene
from simulator.scenery import COLLAR_RADIUS_MM, axis_place, dial_place
from simulator.teaching import clicked_points_px

DIVISION_DEG = 3.6
NEEDLE_GOAL_DIVISIONS = 0.003
"""A reader's goal is 0.05; the picture itself must be out by far less."""
COLLAR_GOAL_DEG = 0.03
PLAIN = BenchSpec(noise_grey=0.0, needle_shadow=0.0, image_width=1280, image_height=720)
SMALL = BenchSpec(image_width=640, image_height=360)
NEAR_MM, FAR_MM = 3.2, 10.8
"""The stretch of the needle that is measured: from its cap to the numerals."""
NEEDLE_GREY = 0.114 * 40 + 0.587 * 52 + 0.299 * 24


def cv_camera(spec):
    model = camera_model(spec)
    matrix = np.array([[model.fx, 0, model.cx], [0, model.fy, model.cy], [0, 0, 1.0]])
    return matrix, np.array([model.k1, model.k2, model.p1, model.p2, model.k3])


def grey(image):
    return image.astype(float) @ [0.114, 0.587, 0.299]


def on_face(spec, pixels):
    """Pixels (n, 2) on the face's plane in mm, by OpenCV's undistortion and a homography.

    A plane parallel to the face keeps its directions under the same homography.
    """
    matrix, bend = cv_camera(spec)

    def flat(points):
        points = np.asarray(points, float).reshape(-1, 1, 2)
        return cv2.undistortPoints(points, matrix, bend).reshape(-1, 2)

    ends = np.array([[0, 18.0], [18.0, 0], [0, -18.0], [-18.0, 0]])
    homography, _ = cv2.findHomography(flat(clicked_points_px(spec)[:4]), ends)
    return cv2.perspectiveTransform(flat(pixels).reshape(-1, 1, 2), homography).reshape(-1, 2)


def needle_direction_deg(spec, painter, reading_mm):
    """Measure the drawn needle: weighted line through what darkened, clear of the numerals."""
    shown = grey(painter.paint(Scene(reading_mm, 0.0)))
    bare = grey(painter.paint(Scene(reading_mm + 0.25, 0.0)))
    share = np.clip((bare - shown) / np.maximum(bare - NEEDLE_GREY, 20), 0, 1)
    rows, columns = np.nonzero(share > 0.004)
    points = on_face(spec, np.column_stack([columns, rows]))
    towards = math.radians(reading_mm / 0.01 * DIVISION_DEG)
    ahead = points @ [math.sin(towards), math.cos(towards)]
    keep = (ahead > NEAR_MM) & (ahead < FAR_MM)
    fade = np.sin(math.pi * (ahead - NEAR_MM) / (FAR_MM - NEAR_MM)) ** 2
    points, weight = points[keep], (fade * share[rows, columns])[keep]
    centre = np.average(points, axis=0, weights=weight)
    _, axes = np.linalg.eigh(np.cov((points - centre).T, aweights=weight))
    along = axes[:, 1] * np.sign(axes[:, 1] @ [math.sin(towards), math.cos(towards)])
    return math.degrees(math.atan2(along[0], along[1]))


def needle_errors(drawn_mm, true_mm, spec=PLAIN):
    """Return measured - true directions, in divisions."""
    painter = Painter(spec, np.random.default_rng(0))
    measured = np.array([needle_direction_deg(spec, painter, r) for r in drawn_mm])
    truths = np.array(true_mm) / 0.01 * DIVISION_DEG
    return ((measured - truths + 180) % 360 - 180) / DIVISION_DEG


READINGS_MM = (-0.3931, -0.2412, -0.0517, 0.0, 0.0333, 0.1777, 0.3019)
"""Clear of the lettering within the measured ring."""


@pytest.mark.parametrize("tilt_deg", [0.0, 13.0, 22.0])
def test_the_needle_points_where_the_reading_says(tilt_deg):
    spec = replace(PLAIN, tilt_deg=tilt_deg)
    assert np.abs(needle_errors(READINGS_MM, READINGS_MM, spec)).max() < NEEDLE_GOAL_DIVISIONS


def test_a_needle_drawn_three_goals_off_is_caught():
    moved_mm = [r + 3 * NEEDLE_GOAL_DIVISIONS * 0.01 for r in READINGS_MM]
    assert np.abs(needle_errors(moved_mm, READINGS_MM)).min() > NEEDLE_GOAL_DIVISIONS


def test_projection_agrees_with_opencv(rng):
    points = rng.uniform([-60, -40, 90], [60, 40, 300], (200, 3))
    matrix, bend = cv_camera(PLAIN)
    theirs = cv2.projectPoints(points, np.zeros(3), np.zeros(3), matrix, bend)[0].reshape(-1, 2)
    np.testing.assert_allclose(project(camera_model(PLAIN), points), theirs, atol=1e-9)


def test_the_marks_stand_where_they_should():
    """Every mark's middle, found as the centroid of ink along a circle of the face."""
    spec = PLAIN
    image = grey(Painter(spec, np.random.default_rng(0)).paint(Scene(0.45, 0.0, fitted=False)))
    shown = grey(Painter(spec, np.random.default_rng(0)).paint(Scene(-0.45, 0.0)))
    assert np.abs(shown - image).max() > 50, "with and without a dial must differ"
    angles = np.arange(0, 360, 0.02)
    radius_mm = 17.4
    around = np.radians(angles)
    ring = np.column_stack([np.sin(around), np.cos(around), np.zeros(len(around))]) * radius_mm
    camera = camera_model(spec)
    pixels = project(camera, dial_place(camera, spec).to_camera(ring)).astype(np.float32)
    line = cv2.remap(shown.astype(np.float32), pixels[None], None, cv2.INTER_LINEAR)[0]
    errors = []
    for mark in range(100):
        if mark in range(53, 58):  # beneath the needle
            continue
        near = np.abs((angles - mark * DIVISION_DEG + 180) % 360 - 180) < 0.45 * DIVISION_DEG
        ink = np.clip(line[near].max() - 12 - line[near], 0, None)
        off = (angles[near] - mark * DIVISION_DEG + 180) % 360 - 180
        errors.append(np.average(off, weights=ink) / DIVISION_DEG)
    assert np.abs(np.mean(errors)) < 0.002
    assert np.std(errors) < 0.005


def collar_deg(spec, image):
    """Measure the collar: the one angle that brings all marker corners to where they are seen."""
    found, ids = detect_markers(image)
    camera = camera_model(spec)
    place = axis_place(camera)
    matrix, bend = cv_camera(spec)
    half = 0.5 * 0.7 * 2 * math.pi * COLLAR_RADIUS_MM / spec.collar_markers
    corners = np.array([[-half, half], [half, half], [half, -half], [-half, -half]])

    def misses(turn_deg):
        out = []
        for marker, seen in zip(ids, found, strict=True):
            at = marker * 2 * math.pi / spec.collar_markers - math.radians(turn_deg)
            around = at + corners[:, 0] / COLLAR_RADIUS_MM
            if np.cos(around).min() < 0.6:
                continue
            own = COLLAR_RADIUS_MM * np.column_stack([np.cos(around), np.sin(around)])
            points = place.to_camera(np.column_stack([own, corners[:, 1]]))
            flat, _ = cv2.projectPoints(points, np.zeros(3), np.zeros(3), matrix, bend)
            out.append((seen - flat.reshape(-1, 2))[:, 0].mean())
        return np.mean(out)

    guess = best_turn(spec, found, ids, misses)
    slope = (misses(guess + 0.05) - misses(guess - 0.05)) / 0.1
    return guess - misses(guess) / slope


def best_turn(spec, found, ids, misses):
    middle = axis_middle_px(spec)
    nearest = int(np.argmin([abs(c[:, 0].mean() - middle) for c in found]))
    start = ids[nearest] * 360 / spec.collar_markers
    tries = np.arange(start - 25, start + 25, 0.25)
    return tries[np.argmin([abs(misses(t)) for t in tries])]


def axis_middle_px(spec):
    camera = camera_model(spec)
    return project(camera, axis_place(camera).to_camera([[COLLAR_RADIUS_MM, 0, 0]]))[0, 0]


def detect_markers(image):
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(image)
    return [c.reshape(-1, 2) for c in corners], [int(i) for i in np.ravel(ids)]


def test_the_collar_is_drawn_at_its_angle():
    painter = Painter(PLAIN, np.random.default_rng(0))
    truths = np.array([0.0, 17.3, 61.9, 133.7, 200.2, 288.8, 351.1])
    seen = [collar_deg(PLAIN, painter.paint(Scene(0.0, math.radians(t)))) for t in truths]
    errors = (np.array(seen) - truths + 180) % 360 - 180
    assert np.abs(errors).max() < COLLAR_GOAL_DEG


@pytest.mark.parametrize("markers", [16, 24])
def test_the_collar_shows_upright_markers_rising_to_the_right(markers):
    spec = replace(PLAIN, collar_markers=markers)
    image = Painter(spec, np.random.default_rng(0)).paint(Scene(0.0, math.radians(90.0)))
    corners, ids = detect_markers(image)
    order = np.argsort([c[:, 0].mean() for c in corners])
    assert len(ids) >= 4
    assert list(np.diff([ids[i] for i in order])) == [1] * (len(ids) - 1)
    assert all(c[0, 0] < c[1, 0] and c[0, 1] < c[3, 1] for c in corners)
    assert markers // 4 in ids, "a quarter turn brings the marker a quarter round to the lens"


def test_the_needle_stands_above_its_scale():
    """Its tip is displaced against the marks under a tilt: parallax is real."""
    spec = replace(PLAIN, tilt_deg=20.0)
    camera = camera_model(spec)
    place = dial_place(camera, spec)
    low, high = (project(camera, place.to_camera([[0, 16.0, z]]))[0] for z in (0.0, 1.0))
    assert np.hypot(*(high - low)) > 3.0


def test_the_shadow_falls_away_from_the_lamp_at_upper_left():
    shaded = replace(PLAIN, needle_shadow=0.25)
    with_it, without = (
        grey(Painter(spec, np.random.default_rng(0)).paint(Scene(0.0, 0.0)))
        for spec in (shaded, PLAIN)
    )
    darker = np.clip(without - with_it, 0, None)
    columns = np.arange(darker.shape[1])
    middle = np.average(columns, weights=darker.sum(axis=0))
    pivot = clicked_points_px(PLAIN)[4]
    assert 4 < middle - pivot[0] < 16
    assert 0.15 < darker.max() / without.max() < 0.26


def test_a_hand_hides_the_needle_and_leaves_the_collar():
    painter = Painter(PLAIN, np.random.default_rng(0))
    one, other = (painter.paint(Scene(r, 0.0, covered=True)).astype(int) for r in (-0.2, 0.2))
    bare = [painter.paint(Scene(r, 0.0)).astype(int) for r in (-0.2, 0.2)]
    assert np.abs(one - other).sum() < 0.02 * np.abs(bare[0] - bare[1]).sum()
    assert len(detect_markers(one.astype(np.uint8))[1]) >= 4


def test_the_same_seed_draws_the_same_pictures():
    def pictures(seed):
        bench = Bench(SMALL, np.random.default_rng(seed))
        bench.turn_spindle(1.0, seconds=1.0)
        out = []
        for _ in range(4):
            bench.advance(0.3)
            out.append(bench.render().image)
        return np.stack(out)

    first = pictures(5)
    np.testing.assert_array_equal(first, pictures(5))
    assert (first != pictures(6)).any()


def test_nothing_is_drawn_while_nothing_changes():
    bench = Bench(SMALL, np.random.default_rng(1))
    first = bench.render()
    bench.advance(1.0)
    again = bench.render()
    assert again.image is first.image
    assert (again.index, again.t_s) == (1, 1.0)
    assert not again.image.flags.writeable


def test_the_sensors_noise_is_as_large_as_told():
    painter = Painter(replace(PLAIN, noise_grey=2.0), np.random.default_rng(0))
    one, other = (painter.paint(Scene(r, 0.0)).astype(float) for r in (0.1, 0.1001))
    wall = (slice(20, 80), slice(20, 140))
    assert np.std(one[wall] - other[wall]) == pytest.approx(2.0 * math.sqrt(2), rel=0.05)


def test_other_sizes_of_picture():
    image = Painter(replace(PLAIN, image_width=960, image_height=540), np.random.default_rng(0))
    assert image.paint(Scene(0.1, 1.0)).shape == (540, 960, 3)


@pytest.fixture
def rng():
    return np.random.default_rng(20)
