"""The collar's angle on strips drawn by rays, and on a path-traced clip with known truth."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from collar_making import CAMERA, CollarPainter, Drawn

from calibration.camera import CameraModel, load_camera
from calibration.collars import Collar
from readings import BadInputError, Frame
from vision.collar_reader import CollarReader

CLIP = Path(__file__).parent.parent / "sample_images" / "clips" / "sweep_a"
CLEAN_DEG, TYPICAL_DEG, HARSH_DEG = 0.01, 0.02, 0.05
"""Rms against truth: sharp, path-traced through JPEG, soft or far away."""


def readings(drawn, angles_deg, *, camera="own", seed=1, spoil=None):
    """Read a strip drawn at each angle; returns the reader and one result a picture."""
    painter = CollarPainter(drawn, np.random.default_rng(seed))
    reader = CollarReader(Collar(drawn.markers), drawn.camera if camera == "own" else camera)
    sights = []
    for k, angle in enumerate(angles_deg):
        image = painter.paint(angle)
        if spoil is not None:
            spoil(k, image)
        sights.append(reader.look(Frame(image, k / 15, k, "drawn")))
    return reader, [reader.angle(s) if s is not None else None for s in sights]


def errors_deg(results, angles_deg):
    """Return errors about their mean, and the mean, in degrees."""
    away = [
        np.angle(np.exp(1j * (r.angle_rad - np.radians(a))))
        for r, a in zip(results, angles_deg, strict=True)
        if r is not None
    ]
    mean = np.angle(np.mean(np.exp(1j * np.array(away))))
    return np.degrees(np.array(away) - mean), float(np.degrees(mean))


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


ROUND = np.cumsum(np.random.default_rng(5).uniform(9, 26, 18))
SCENES = {
    "plain": (Drawn(), CLEAN_DEG),
    "nods away": (Drawn(nod_deg=-25), CLEAN_DEG),
    "lies down": (Drawn(roll_deg=90), CLEAN_DEG),
    "numbers rise to the left": (Drawn(roll_deg=184), CLEAN_DEG),
    "markers on their side": (Drawn(quarter_turns=1), CLEAN_DEG),
    "twelve small markers": (Drawn(markers=12, share=0.6), CLEAN_DEG),
    "thirty-two markers": (Drawn(markers=32, share=0.7, depth=3.2), CLEAN_DEG),
    "grainy": (Drawn(noise_grey=8), TYPICAL_DEG),
    "far": (Drawn(depth=7.0), HARSH_DEG),
    "soft": (Drawn(blur_px=1.8), HARSH_DEG),
}


@pytest.mark.parametrize("name", SCENES)
def test_angle_follows_the_truth(name):
    drawn, limit = SCENES[name]
    _, results = readings(drawn, ROUND)
    assert all(r is not None for r in results)
    away, mean = errors_deg(results, ROUND)
    assert rms(away) < limit
    assert abs(mean) < 0.15  # the number that faces the camera, not another one
    moved = np.array(ROUND)
    moved[::2] += 3 * limit
    assert rms(errors_deg(results, moved)[0]) > limit
    sigma = np.array([r.sigma_rad for r in results])
    assert 0.5 < rms(np.radians(away) / sigma) < 2.6


def random_scene(rng):
    """A collar of any make before any camera, blurred and grainy."""
    focal = float(rng.uniform(0.95, 1.3)) * 640
    middle = np.array([319.5, 199.5]) + rng.uniform(-6, 6, 2)
    camera = CameraModel(640, 400, focal, focal, *middle, k1=float(rng.uniform(-0.1, 0.04)))
    return Drawn(
        markers=int(rng.choice([12, 16, 16, 20, 24])),
        share=float(rng.uniform(0.6, 0.76)),
        roll_deg=float(rng.uniform(0, 360)),
        nod_deg=float(rng.uniform(-22, 22)),
        depth=float(rng.uniform(3.6, 6.0)),
        aside=float(rng.uniform(-0.25, 0.25)),
        noise_grey=float(rng.uniform(1, 6)),
        blur_px=float(rng.uniform(0.6, 1.5)),
        camera=camera,
    )


def random_views(seed, scenes, pictures=16):
    """Errors in degrees, the pose's share in them included, and errors over stated sigmas."""
    rng = np.random.default_rng(seed)
    errors, over = [], []
    for number in range(scenes):
        drawn, angles = random_scene(rng), np.cumsum(rng.uniform(9, 26, pictures))
        _, results = readings(drawn, angles, seed=number)
        away, mean = errors_deg(results, angles)
        sigma = np.degrees([r.sigma_rad for r in results if r is not None])
        errors.extend(away + mean)
        over.extend((away + mean) / sigma)
    return np.array(errors), np.array(over)


def test_angles_of_random_collars_are_right_to_a_tenth_of_a_degree():
    errors, over = random_views(11, 4)
    assert len(errors) == 4 * 16
    assert np.quantile(np.abs(errors), 0.95) < 0.1
    assert 0.5 < rms(over) < 1.6


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_300_views_of_collars_and_true_sigmas_over_2000():
    errors, over = random_views(12, 130)
    assert len(errors) >= 2000
    assert np.quantile(np.abs(errors[:300]), 0.95) < 0.1
    assert 0.9 < rms(over) < 1.1


def test_no_camera_model_costs_little():
    _, results = readings(Drawn(), ROUND, camera=None)
    assert rms(errors_deg(results, ROUND)[0]) < TYPICAL_DEG


def test_first_picture_already_says_the_angle_and_later_ones_say_it_better():
    painter = CollarPainter(Drawn(), np.random.default_rng(2))
    reader = CollarReader(Collar(16), CAMERA)
    results = [reader.read(painter.frame(a, k)) for k, a in enumerate(ROUND)]
    assert abs(np.angle(np.exp(1j * (results[0].angle_rad - np.radians(ROUND[0]))))) < 0.01
    assert results[-1].sigma_rad < 0.3 * results[0].sigma_rad
    assert results[0].corners_px.shape == (results[0].markers, 4, 2)
    assert 0 <= min(r.angle_rad for r in results) <= max(r.angle_rad for r in results) < 2 * np.pi


def test_a_hand_over_half_the_strip_costs_precision_not_truth():
    def hand(k, image):
        if k >= 8:
            image[:, : image.shape[1] // 2 + 10] = (90, 120, 170)

    _, results = readings(Drawn(), ROUND, spoil=hand)
    away, _ = errors_deg(results, ROUND)
    assert all(r is not None for r in results)
    assert rms(away) < HARSH_DEG
    assert max(r.markers for r in results[8:]) < max(r.markers for r in results[:8])


def test_one_marker_is_enough_once_the_collar_is_known_and_none_is_refused():
    def hand(k, image):
        if k == 17:
            image[:, :305] = 90
            image[:, 402:] = 90
        if k > 17:
            image[:] = 90

    _, results = readings(Drawn(), np.append(ROUND[:17], [2.0, 9.0, 16.0]), spoil=hand)
    assert results[17] is not None
    assert results[17].markers == 1
    assert abs(np.angle(np.exp(1j * (results[17].angle_rad - np.radians(2.0))))) < 0.003
    assert results[18:] == [None, None]


def test_a_knocked_camera_is_noticed_and_learned_anew():
    before = CollarPainter(Drawn(), np.random.default_rng(3))
    after = CollarPainter(Drawn(nod_deg=20, aside=-0.3, roll_deg=-4), np.random.default_rng(4))
    reader = CollarReader(Collar(16), CAMERA)
    for k, angle in enumerate(ROUND[:12]):
        reader.read(before.frame(angle, k))
    results = [reader.read(after.frame(angle, k)) for k, angle in enumerate(ROUND)]
    away, _ = errors_deg(results[8:], ROUND[8:])
    assert rms(away) < HARSH_DEG


def test_other_numbers_and_an_empty_picture_are_no_collar():
    painter = CollarPainter(Drawn(markers=32, depth=3.2), np.random.default_rng(1))
    small = CollarReader(Collar(8), CAMERA)
    assert small.read(painter.frame(180.0)) is None  # numbers 14 to 18: none of its eight
    blank = Frame(np.full((400, 640, 3), 128, np.uint8), 0.0, 0, "blank")
    assert CollarReader(Collar(16), CAMERA).read(blank) is None
    assert CollarReader(Collar(16), CAMERA).read(Frame(None, 0.0, 0, "gone")) is None


def test_path_traced_clip():
    """Frames rendered outside this project with their truth (up to one constant)."""
    truth = json.loads((CLIP / "truth.json").read_text())
    reader = CollarReader(Collar(truth["markers"]), load_camera(CLIP / "camera.json"))
    angles, sights = [], []
    for k, entry in enumerate(truth["frames"]):
        image = cv2.imread(str(CLIP / "frames" / f"{entry['frame']:04d}.jpg"))
        sights.append(reader.look(Frame(image, entry["time_s"], k, "clip")))
        angles.append(entry["collar_deg"])
    results = [reader.angle(s) for s in sights]
    away, _ = errors_deg(results, angles)
    assert len(away) == len(angles)
    assert rms(away) < TYPICAL_DEG
    assert not rms(away + 3 * TYPICAL_DEG * np.sign(np.arange(len(away)) - 20)) < TYPICAL_DEG


def test_works_at_another_size_of_picture():
    camera = CameraModel(1280, 720, 1300.0, 1300.0, 639.5, 359.5)
    _, results = readings(Drawn(camera=camera, depth=6.0), ROUND[:8])
    assert rms(errors_deg(results, ROUND[:8])[0]) < TYPICAL_DEG


@pytest.mark.parametrize(("markers", "name"), [(3, "4x4_50"), (51, "4x4_50"), (16, "5x5_9")])
def test_a_collar_that_cannot_be_is_refused_in_words(markers, name):
    with pytest.raises(BadInputError, match=r"markers|dictionary") as caught:
        Collar(markers, name)
    assert str(caught.value).endswith(".")
