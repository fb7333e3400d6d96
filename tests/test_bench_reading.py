"""The program's own readers, taught by the bench's folder, agree with the bench's truth."""

import math

import cv2
import numpy as np
import pytest

from readings import Frame
from simulator import Bench, BenchSpec, camera_model, collar, random_spec, write_teaching_folder
from simulator.painter import Painter, Scene
from vision.collar_reader import CollarReader
from vision.dial_reader import DialReader
from vision.teach import teach_dial

DIAL_GOAL_DIVISIONS = 0.05
COLLAR_GOAL_DEG = 0.05


@pytest.fixture(scope="module", autouse=True)
def one_thread():
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    yield
    cv2.setNumThreads(before)


@pytest.fixture(scope="module")
def dial(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench-dial")
    write_teaching_folder(folder, BenchSpec(), np.random.default_rng(11))
    return teach_dial(folder, name="bench")


def errors_in_divisions(dial, spec, count, rng):
    """Read `count` random needles before random views of the workshop."""
    painter, reader = Painter(spec, rng), DialReader(dial, camera_model(spec))
    errors = []
    for index in range(count):
        reading_mm = rng.uniform(-0.4, 0.4)
        image = painter.paint(Scene(reading_mm, rng.uniform(0, 6)))
        seen = reader.read(Frame(image, index / 30, index, "bench"))
        if seen.ok:
            errors.append((seen.divisions - reading_mm / 0.01 + 50) % 100 - 50)
    return np.array(errors)


def test_the_dial_reader_agrees_with_the_bench(dial):
    errors = errors_in_divisions(dial, BenchSpec(), 12, np.random.default_rng(12))
    assert len(errors) >= 11
    assert np.abs(errors).max() < DIAL_GOAL_DIVISIONS


@pytest.mark.long
@pytest.mark.parametrize("seed", range(4))
def test_the_dial_reader_agrees_with_random_benches(dial, seed):
    rng = np.random.default_rng(seed)
    errors = errors_in_divisions(dial, random_spec(rng), 100, rng)
    assert len(errors) >= 97
    assert np.abs(errors).max() < DIAL_GOAL_DIVISIONS


@pytest.mark.parametrize("scene", [Scene(0.1, 1.0, covered=True), Scene(0.1, 1.0, fitted=False)])
def test_a_hidden_or_missing_dial_is_refused(dial, scene):
    spec = BenchSpec()
    image = Painter(spec, np.random.default_rng(1)).paint(scene)
    seen = DialReader(dial, camera_model(spec)).read(Frame(image, 0.0, 0, "bench"))
    assert not seen.ok
    assert seen.flags


@pytest.mark.parametrize("layout", ["riding", "still"])
def test_the_collar_reader_agrees_with_the_bench(layout):
    spec = BenchSpec(layout=layout, surface="bore" if layout == "riding" else "bar")
    bench = Bench(spec, np.random.default_rng(2))
    reader = CollarReader(collar(spec), camera_model(spec))
    bench.turn_spindle(2 * math.pi, seconds=4.0)
    off = []
    while bench.state().moving:
        bench.advance(0.1)
        seen = reader.read(bench.render())
        if seen is not None:
            off.append(seen.angle_rad - bench.truth().collar_rad)
    turned = np.degrees(np.angle(np.exp(1j * (np.array(off) - off[0]))))
    assert len(off) >= 38
    assert np.std(turned) < COLLAR_GOAL_DEG
