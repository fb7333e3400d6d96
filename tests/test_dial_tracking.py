"""A known dial on a stream: followed, knocked, hidden, frozen, smeared, and quick to read."""

import json
import time
from dataclasses import dataclass, replace

import cv2
import numpy as np
import pytest

from calibration import load_camera
from readings import FLAGS, Frame, Reading
from vision import DialReader, teach_dial
from vision.dial_hold import look_up
from vision.dial_needle import NeedleView, needle_rows, scan_strip
from vision.dial_track_gauge import NeedleGauge
from vision.dial_track_turns import TurnFollower, at_end, travel_turns
from vision.dial_track_watch import ClarityWatch, FrozenWatch
from vision.picture import Picture
from vision.sources import read_picture

NEAR = 0.1  # division: half of what an eye reads
WRONG = 0.5
FPS = 15.0
FOUND_S = 0.5


@pytest.fixture(scope="module", autouse=True)
def _one_thread():
    cv2.setNumThreads(1)


@dataclass(frozen=True)
class Given:
    dial: object
    camera: object
    image: np.ndarray

    def reader(self, **changes):
        return DialReader(replace(self.dial, **changes), self.camera)


@pytest.fixture(scope="module")
def given(faces_dir):
    folder = faces_dir / "dev3"
    truth = json.loads((folder / "truth.json").read_text())
    clean = next(one["file"] for one in truth if one["category"] == "clean")
    image = read_picture(folder / clean)
    return Given(teach_dial(folder, name="dev3"), load_camera(folder / "camera.json"), image)


NOISE = np.random.default_rng(5).integers(-3, 4, (900, 1400, 3)).astype(np.int16)


def noisy(image, seed):
    """The same sight again, as a sensor would deliver it."""
    height, width = image.shape[:2]
    noise = NOISE[7 * seed % 150 :][:height, 11 * seed % 100 :][:, :width]
    return np.asarray(cv2.add(image.astype(np.int16), noise)).clip(0, 255).astype(np.uint8)


def stream(reader, images, start=0):
    return [
        reader.read(Frame(image, (start + i) / FPS, start + i, "stream"))
        for i, image in enumerate(images)
    ]


# whole turns


def reading_at(turns, t_s, marks=100):
    divisions = turns % 1.0 * marks
    return Reading("ok", t_s, divisions=divisions, sigma_divisions=0.01, value_mm=divisions)


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_whole_turns_are_counted_both_ways(sense):
    follower = TurnFollower(100)
    path = sense * np.cumsum(np.concatenate([np.full(20, 0.05), np.full(40, 0.2)])) + 0.37
    first = np.floor(path[0])
    for i, at in enumerate(path):
        found = follower.follow(reading_at(at, i / FPS))
        assert not found.doubt
        assert found.turns == np.floor(at) - first


def test_a_needle_faster_than_half_a_turn_a_picture_is_followed_by_its_speed():
    follower = TurnFollower(100)
    path = np.cumsum(np.linspace(0.0, 0.62, 40))
    assert [follower.follow(reading_at(at, i / FPS)).turns for i, at in enumerate(path)] == list(
        np.floor(path).astype(int)
    )


@pytest.mark.parametrize("jump", [0.5, 0.4, -0.4])
def test_a_jump_that_may_hide_a_turn_is_a_doubt_and_no_guess(jump):
    follower = TurnFollower(100)
    for i in range(5):
        assert not follower.follow(reading_at(2.3, i / FPS)).doubt
    jumped = follower.follow(reading_at(2.3 + jump, 5 / FPS))
    assert jumped.doubt
    assert jumped.turns == 0


def test_a_fast_needle_that_was_not_read_for_a_while_is_a_doubt():
    follower = TurnFollower(100)
    for i in range(5):
        follower.follow(reading_at(0.1 * i, i / FPS))
    follower.miss()
    assert follower.follow(reading_at(0.9, 9 / FPS)).doubt


def test_a_jump_on_a_stream_is_flagged(given):
    reader = given.reader()
    stream(reader, [given.image, noisy(given.image, 1)])
    held = reader._held  # the pose stays, the needle is told to have been elsewhere
    assert held is not None
    last = reader._turns._follower._last
    reader._turns._follower._last = (last[0], last[1] + 0.5)
    jumped = reader.read(Frame(noisy(given.image, 2), 2 / FPS, 2, "stream"))
    assert jumped.ok
    assert jumped.flags == ("ambiguous turn",)
    assert jumped.turns is None
    after = reader.read(Frame(noisy(given.image, 3), 3 / FPS, 3, "stream"))
    assert after.flags == ()


# travel


def test_only_turns_within_the_travel_are_possible(given):
    turn = given.dial.mm_per_turn
    dial = replace(given.dial, travel_mm=(0.0, 0.7 * turn))
    assert travel_turns(dial, 50.0) == [0]
    assert travel_turns(dial, 85.0) == []
    assert travel_turns(dial, 99.0) == [-1]  # a hair below zero
    assert travel_turns(replace(dial, travel_mm=(0.0, 2.5 * turn)), 40.0) == [0, 1, 2]


def test_travel_tells_the_turn_its_end_and_what_lies_beyond(given):
    first = given.reader().read(Frame(given.image, 0.0, 0, "x"))
    at_mm = first.divisions * given.dial.graduation_mm
    step, turn = given.dial.graduation_mm, given.dial.mm_per_turn
    cases = {
        (at_mm - 0.5 * turn, at_mm + 0.3 * turn): ((), 0),
        (at_mm - 0.5 * turn, at_mm + 0.4 * step): (("end of travel",), 0),
    }
    for travel, (flags, turns) in cases.items():
        reading = given.reader(travel_mm=travel).read(Frame(given.image, 0.0, 0, "x"))
        assert (reading.flags, reading.turns) == (flags, turns)
        assert reading.value_mm == pytest.approx(at_mm)
    beyond = given.reader(travel_mm=(at_mm + 0.2 * turn, at_mm + 0.7 * turn))
    refused = beyond.read(Frame(given.image, 0.0, 0, "x"))
    assert (refused.state, refused.flags) == ("refused", ("off the taught scale",))
    assert refused.divisions is None
    assert not at_end(given.dial, 0.0)  # a dial whose travel was not taught has no end


# the camera


def test_a_frozen_picture_is_refused_and_a_live_one_is_not(given):
    reader = given.reader()
    live = stream(reader, [noisy(given.image, i) for i in range(3)])
    frozen = stream(reader, [given.image.copy() for _ in range(20)], start=3)
    assert all(reading.ok for reading in live)
    assert frozen[0].ok
    assert [r.flags for r in frozen[-3:]] == [("frozen picture",)] * 3
    assert reader.read(Frame(noisy(given.image, 99), 30 / FPS, 30, "stream")).ok


def test_one_array_read_again_is_not_frozen(given):
    watch = FrozenWatch()
    assert not any(watch.look(Picture(given.image), i / FPS) for i in range(60))


def test_a_smeared_lens_is_told_beside_the_reading(given):
    """Grease adds its veil in light: the mean of the picture stays, contrast halves."""
    light = (given.image / 255.0) ** 2.2
    veiled = np.clip(255 * (0.5 * light + 0.5 * light.mean()) ** (1 / 2.2), 0, 255)
    reader = given.reader()
    clear = stream(reader, [noisy(given.image, i) for i in range(3)])
    smeared = stream(reader, [noisy(veiled, i) for i in range(6)], start=3)
    assert all(reading.flags == () for reading in clear)
    assert smeared[-1].flags[-1] == "lens smeared"
    assert not smeared[-1].ok or abs(smeared[-1].divisions - clear[0].divisions) < NEAR


def test_a_lamp_turned_down_is_no_smeared_lens(given):
    watch = ClarityWatch()
    dim = (255 * (0.3 * (given.image / 255.0) ** 2.2) ** (1 / 2.2)).astype(np.uint8)
    assert not watch.look(Picture(given.image), 0.5)
    assert not any(watch.look(Picture(dim), 0.15) for _ in range(10))
    assert not any(watch.look(Picture(given.image), 0.2) for _ in range(10))  # only the dial


def test_flags_are_registered():
    for name in ("lens smeared", "dial moving", "off the taught scale", "frozen picture"):
        assert FLAGS[name].sentence.endswith(".")


# the needle


def test_prepared_rows_say_what_fresh_ones_say(given):
    reader = given.reader()
    stream(reader, [given.image, noisy(given.image, 1)])
    scale, look = reader._held.scale, reader._needle
    fit = reader._track._last
    line = (fit.angle_rad + 1e-3, fit.miss_mm)
    view = NeedleView(given.image, scale.pose, look, scale.blur_px, 0.4)
    fresh = scan_strip(view, line, needle_rows(look))
    kept = NeedleGauge(scale, look).scan(given.image, line, 0.4)
    off_px = (kept.offset_mm - fresh.offset_mm) * fresh.px_per_mm
    clear = fresh.strength > 0.5
    assert clear.sum() > 50
    assert np.abs(off_px[clear]).max() < 0.1
    assert np.median(np.abs(off_px[clear])) < 0.01
    np.testing.assert_allclose(kept.sigma_mm[clear], fresh.sigma_mm[clear], rtol=0.15)


def test_look_up_is_bilinear_as_scipy_says(given):
    """Outside check: scipy's map_coordinates of order 1 on the same pixels, to 1/32 px."""
    from scipy.ndimage import map_coordinates

    from vision.dial_hold import fixed_maps

    smooth = cv2.GaussianBlur(given.image, (0, 0), 4.0)
    x, y = np.random.default_rng(1).uniform(50, 600, (2, 4, 50)).astype(np.float32)
    ours = look_up(smooth, fixed_maps(x, y)).astype(float)
    for k in range(3):
        theirs = map_coordinates(smooth[..., k].astype(float), [y, x], order=1)
        assert np.abs(ours[..., k] - theirs).max() < 1.5


def test_tracked_readings_repeat_cold_ones(given):
    cold = given.reader().read(Frame(given.image, 0.0, 0, "x"))
    for reading in stream(given.reader(), [given.image] * 4)[1:]:
        assert abs(reading.divisions - cold.divisions) < 0.003
        assert reading.sigma_divisions == pytest.approx(cold.sigma_divisions, rel=0.1)


def test_a_dial_on_a_stream_is_quick(given):
    """Generous, since the machine may be busy: the benchmark judges the real goal of 1.0."""
    data = cv2.imencode(".jpg", given.image, [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    reader, ratios = given.reader(), []
    for i in range(25):
        start = time.thread_time()
        image = cv2.imdecode(data, cv2.IMREAD_COLOR)
        decoded = time.thread_time()
        assert reader.read(Frame(image, i / 30, i, "x")).ok
        ratios.append((time.thread_time() - decoded) / (decoded - start))
    assert np.median(ratios[3:]) < 2.0


# the dial and the camera


@pytest.mark.parametrize("push", [(1.0, 12.0, -7.0), (3.0, 60.0, 25.0)])
def test_a_knocked_camera_is_refound_within_half_a_second(given, push):
    turn, right, down = push
    height, width = given.image.shape[:2]
    pushed = cv2.getRotationMatrix2D((width / 2, height / 2), turn, 1.0)
    pushed[:, 2] += (right, down)
    after = cv2.warpAffine(given.image, pushed, (width, height), borderMode=cv2.BORDER_REFLECT)
    reader = given.reader()
    before = stream(reader, [noisy(given.image, i) for i in range(2)])
    found = stream(reader, [noisy(after, i) for i in range(int(FOUND_S * FPS))], start=2)
    assert found[-1].ok
    for reading in found:
        assert not reading.ok or abs(reading.divisions - before[0].divisions) < NEAR


def test_a_dial_that_goes_round_is_read_at_its_stops(given):
    """The orbiting layout: refused on its way, read within a few pictures of standing."""
    height, width = given.image.shape[:2]
    angles = [0.0] * 4 + list(np.linspace(0, 15, 7)[1:]) + [15.0] * 5
    reader, truth = given.reader(), None
    for i, angle in enumerate(angles):
        shift = cv2.getRotationMatrix2D((width / 2, 1.6 * height), angle, 1.0)
        image = cv2.warpAffine(given.image, shift, (width, height), borderMode=cv2.BORDER_REFLECT)
        reading = reader.read(Frame(noisy(image, i), i / FPS, i, "orbit"))
        truth = reading.divisions if truth is None else truth
        moving = 0 < angle < 15
        assert not (moving and reading.ok), i
        assert not reading.ok or abs(reading.divisions - truth) < NEAR
    assert reading.ok
