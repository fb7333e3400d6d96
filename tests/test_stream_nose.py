"""What the camera says of the spindle nose, on drawn pictures of the bench."""

from dataclasses import replace

import numpy as np
import pytest

from simulator import Bench, BenchSpec
from stream.nose import EVIDENCE_S, NoseWatch

SPEC = BenchSpec(image_width=640, image_height=360, layout="still", surface="bar", noise_grey=2.0)
STEP_S = 0.1


class Watched:
    """A bench with its indicator off, and a watch on its pictures; noise is fresh in each."""

    def __init__(self, **changes):
        self.rng = np.random.default_rng(5)
        bench = Bench(replace(SPEC, **changes), np.random.default_rng(3))
        self.fitted = bench.render().image
        bench.fit_indicator(False)
        bench.advance(0.1)
        self.bare = bench.render().image
        bench.cover(True)
        bench.advance(0.1)
        self.covered = bench.render().image
        self.watch, self.t_s = NoseWatch(), 0.0

    def see(self, image, seconds=2.0, *, fitted=False, noise=2.0, step_s=STEP_S):
        """Look for a while; return the answers."""
        answers = []
        for _ in range(round(seconds / step_s)):
            self.t_s += step_s
            if image is not None:
                noisy = image + self.rng.normal(0, noise, image.shape)
                shown = np.clip(noisy, 0, 255).astype(np.uint8)
            answers.append(
                self.watch.look(None if image is None else shown, self.t_s, fitted=fitted)
            )
        return answers


@pytest.fixture
def watched():
    return Watched()


def test_a_dial_in_sight_is_fitted_at_once(watched):
    watched.watch.teach(watched.bare)
    assert set(watched.see(watched.fitted, fitted=True)) == {"fitted"}


def test_bare_wants_a_second_of_the_scene_that_was_shown(watched):
    assert watched.watch.teach(watched.bare)
    answers = watched.see(watched.bare)
    first = answers.index("bare")
    assert first * STEP_S == pytest.approx(EVIDENCE_S, abs=1.5 * STEP_S)
    assert set(answers[:first]) == {"cannot see"}
    assert set(answers[first:]) == {"bare"}


def test_nothing_is_bare_before_a_person_has_shown_it(watched):
    assert set(watched.see(watched.bare)) == {"cannot see"}


def test_a_dial_that_was_not_recognised_is_never_bare(watched):
    """Whatever stands where the dial stood differs from the scene."""
    watched.watch.teach(watched.bare)
    assert set(watched.see(watched.fitted)) == {"cannot see"}


def test_a_picture_with_the_dial_in_sight_is_not_taken_for_bare(watched):
    watched.see(watched.fitted, fitted=True)
    assert watched.watch.fitted
    assert not watched.watch.teach(watched.fitted)
    assert not watched.watch.taught
    assert set(watched.see(watched.fitted)) == {"cannot see"}  # not recognised, and not bare
    assert watched.watch.teach(watched.bare)


def test_a_small_thing_left_on_the_nose_is_never_bare(watched):
    watched.watch.teach(watched.bare)
    image = watched.bare.copy()
    image[90:140, 470:540] = 30  # an arm, a hundredth of the picture
    assert set(watched.see(image)) == {"cannot see"}


@pytest.mark.parametrize("share", [0.0, 0.12])
def test_a_dark_picture_is_never_bare(watched, share):
    watched.watch.teach(watched.bare)
    dark = (watched.bare * share).astype(np.uint8)
    assert set(watched.see(dark)) == {"cannot see"}
    assert not watched.watch.teach(dark)


def test_a_brighter_lamp_leaves_the_scene_known(watched):
    watched.watch.teach(watched.bare)
    brighter = np.clip(watched.bare * 1.15, 0, 255).astype(np.uint8)
    assert watched.see(brighter)[-1] == "bare"


def test_a_hand_before_the_lens_is_never_bare(watched):
    watched.watch.teach(watched.bare)
    assert set(watched.see(watched.covered)) == {"cannot see"}


def test_a_frozen_picture_is_never_bare(watched):
    watched.watch.teach(watched.bare)
    answers = [watched.watch.look(watched.bare.copy(), 0.1 * i, fitted=False) for i in range(1, 30)]
    assert "bare" not in answers


def test_a_lost_camera_and_a_gap_begin_the_second_anew(watched):
    watched.watch.teach(watched.bare)
    assert watched.see(watched.bare)[-1] == "bare"
    assert watched.see(None, 0.2) == ["cannot see"] * 2
    assert set(watched.see(watched.bare, EVIDENCE_S - STEP_S)) == {"cannot see"}
    assert watched.see(watched.bare, 1.0)[-1] == "bare"
    assert watched.see(watched.bare, 0.8, step_s=0.8) == ["cannot see"]


def test_another_camera_forgets_the_scene(watched):
    watched.watch.teach(watched.bare)
    watched.watch.forget()
    assert not watched.watch.taught
    assert set(watched.see(watched.bare)) == {"cannot see"}
