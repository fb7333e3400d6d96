"""The dial going round before a camera that stands still: drawn moving, hidden behind its rod."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from readings import BadInputError, Frame
from simulator import Bench, BenchSpec, camera_model, write_teaching_folder
from simulator.orbit import LENS_AT_DEG, ORBIT_MM, OrbitPainter, painter_of
from simulator.painter import Painter, Scene
from vision.dial_reader import DialReader
from vision.teach import teach_dial

SPEC = BenchSpec(layout="orbiting", collar=False)
HIDDEN_DEG = LENS_AT_DEG + 180.0
GOAL_DIVISIONS = 0.15
"""A small dial aslant: three of its stated sigmas."""


@pytest.fixture(scope="module")
def dial(tmp_path_factory):
    """Taught as ever, by the same dial close to the lens."""
    folder = tmp_path_factory.mktemp("bench-dial")
    write_teaching_folder(folder, BenchSpec(), np.random.default_rng(11))
    return teach_dial(folder, name="bench")


@pytest.fixture(scope="module")
def painter():
    return painter_of(SPEC, np.random.default_rng(5))


def read(dial, painter, reading_mm, deg, **scene):
    image = painter.paint(Scene(reading_mm, math.radians(deg), **scene))
    return DialReader(dial, camera_model(SPEC)).read(Frame(image, 0.0, 0, "bench"))


def off(reading, reading_mm):
    """Divisions by which a reading differs from the truth."""
    return (reading.divisions - reading_mm / 0.01 + 50) % 100 - 50


def flat_px(seen):
    """Pivots as an ideal pinhole would see them, by OpenCV's own undistortion."""
    model = camera_model(SPEC)
    matrix = np.array([[model.fx, 0, model.cx], [0, model.fy, model.cy], [0, 0, 1.0]])
    bend = np.array([model.k1, model.k2, 0, 0, model.k3])
    pivots = np.array([one.sight.pivot_px.ravel()[:2] for one in seen]).reshape(-1, 1, 2)
    return cv2.undistortPoints(pivots, matrix, bend, P=matrix).reshape(-1, 2)


def test_it_is_read_at_its_stops_and_not_behind_the_rod(dial, painter):
    seen = {}
    for deg, reading_mm in ((0, 0.1234), (45, -0.21), (135, 0.37), (225, -0.05), (270, 0.0)):
        seen[deg] = read(dial, painter, reading_mm, deg)
        assert seen[deg].ok, (deg, seen[deg].flags)
        assert abs(off(seen[deg], reading_mm)) < GOAL_DIVISIONS, deg
        assert abs(off(seen[deg], reading_mm + 0.0045)) > GOAL_DIVISIONS
    hidden = read(dial, painter, 0.1234, HIDDEN_DEG)
    assert not hidden.ok
    assert hidden.flags
    # five places of a circle seen aslant: four of them give the homography, all five fit it
    flat = flat_px(seen.values())
    at = ORBIT_MM * np.array([[math.cos(math.radians(d)), math.sin(math.radians(d))] for d in seen])
    plane = cv2.getPerspectiveTransform(at[:4].astype(np.float32), flat[:4].astype(np.float32))
    told = cv2.perspectiveTransform(at[None, 4:].astype(np.float64), plane)[0, 0]
    assert np.hypot(*(told - flat[4])) < 4.0  # of an orbit 600 pixels wide
    # seen from the front left: the right stop on the right, the front one lower than the back's
    assert flat[0][0] > flat[3][0]
    assert flat[4][1] > flat[1][1]


def test_a_hand_before_it_or_no_dial_is_refused(dial, painter):
    assert not read(dial, painter, 0.1234, 0, covered=True).ok
    assert not read(dial, painter, 0.1234, 0, fitted=False).ok


def test_it_goes_out_of_sight_on_the_way_and_is_read_where_it_stands(dial):
    """From the back on to the back right, past the rod: 45 degrees, at five pictures a second."""
    near = replace(SPEC, turn_s=9.0, offset_mm=(0.1, -0.08))
    bench = Bench(near, np.random.default_rng(3))
    bench.point_stylus("back")
    bench.settle()
    reader, seen = DialReader(dial, camera_model(bench.spec)), []
    bench.turn_spindle(-math.pi / 4)
    while bench.state().moving:
        bench.advance(0.2)
        seen.append((reader.read(bench.render()), bench.truth().reading_mm))
    for _ in range(4):
        bench.advance(0.2)
        seen.append((reader.read(bench.render()), bench.truth().reading_mm))
    assert [one.ok for one, _ in seen].count(False) >= 3
    assert seen[-1][0].ok
    for one, truth_mm in seen:
        assert not one.ok or abs(off(one, truth_mm)) < GOAL_DIVISIONS
    images = [bench.render().image for _ in range(2)]
    assert images[0] is images[1]


def test_a_dial_that_stands_elsewhere_again_is_found_in_the_next_picture(dial):
    """It is searched at the size that found it last; the first time the sizes take turns."""
    small = replace(SPEC, image_width=1040, image_height=585)
    painter = painter_of(small, np.random.default_rng(5))
    reader, refused = DialReader(dial, camera_model(small)), []
    for k in range(16):
        image = painter.paint(Scene(0.1, math.radians(90.0 + 45.0 * (k // 4))))
        if not reader.read(Frame(image, float(k), k, "bench")).ok:
            refused.append(k)
    assert refused == [4]


@pytest.mark.long
def test_all_eight_stops_over_the_whole_dial(dial, painter):
    rng, errors = np.random.default_rng(8), []
    for k in range(96):
        reading_mm = rng.uniform(-0.4, 0.4)
        seen = read(dial, painter, reading_mm, 45.0 * (k % 8) + rng.normal(0.0, 1.0))
        if seen.ok:
            errors.append(abs(off(seen, reading_mm)) / seen.sigma_divisions)
    assert len(errors) > 88
    assert np.mean(np.array(errors) < 2) > 0.9


def test_each_layout_has_its_painter():
    rng = np.random.default_rng(1)
    assert type(painter_of(SPEC, rng)) is OrbitPainter
    assert type(painter_of(BenchSpec(image_width=320, image_height=180), rng)) is Painter
    with pytest.raises(BadInputError, match="riding, still, orbiting"):
        BenchSpec(layout="flying")
