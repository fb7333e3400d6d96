"""A palm before the lens, a key or a command: begins and ends a turn, and takes it back."""

import cv2
import numpy as np
import pytest
from stream_paper import PaperSession, mill_for

from records import BookReader
from stream.marks import BOUNCE_S, UNDO_S
from stream.palm import PalmWatch

FPS = 15.0


class Lens:
    """A camera's pictures of a dial, with what is held before it."""

    def __init__(self, picture, seed=1):
        self.scene = cv2.resize(cv2.imread(str(picture)), (480, 270))
        self.rng = np.random.default_rng(seed)
        self.noise = self.rng.normal(0.0, 2.0, self.scene.shape).astype(np.float32)
        self.watch = PalmWatch()
        self.t_s = 0.0
        self.seen = 0

    def show(self, seconds, covered=None):
        """Show the scene, or what covers it, for some seconds."""
        for _ in range(max(1, round(seconds * FPS))):
            self.t_s += 1.0 / FPS
            image = self.scene if covered is None else covered(self.scene)
            noisy = image + np.roll(self.noise, int(self.rng.integers(1000)))
            self.seen += self.watch.look(np.clip(noisy, 0, 255).astype(np.uint8), self.t_s)

    def palm(self, seconds=0.4, share=1.0, tone=(110, 135, 175)):
        """A palm comes in from the side, stays, and goes; out of focus."""

        def held(scene, part):
            mask = np.zeros(scene.shape[:2], np.float32)
            mask[:, : round(part * scene.shape[1])] = 1.0
            mask = cv2.GaussianBlur(mask, (0, 0), 15.0)[..., None]
            lines = 12.0 * np.sin(np.arange(scene.shape[1]) / 34.0)[None, :, None]
            skin = np.array(tone, np.float32) + lines
            return scene * (1 - mask) + skin * mask

        for part in (0.3, 0.7):
            self.show(1 / FPS, lambda scene, part=part: held(scene, part * share))
        self.show(seconds, lambda scene: held(scene, 1.2 * share))
        for part in (0.7, 0.3):
            self.show(1 / FPS, lambda scene, part=part: held(scene, part * share))


@pytest.fixture
def lens(faces_dir):
    lens = Lens(faces_dir / "dev1" / "frames" / "000.jpg")
    lens.show(1.0)
    return lens


@pytest.mark.parametrize("tone", [(110, 135, 175), (60, 75, 100), (150, 170, 205), (45, 45, 45)])
@pytest.mark.parametrize("held_s", [0.2, 0.5, 0.9])
def test_a_palm_twice_within_three_seconds_is_a_signal_once(lens, held_s, tone):
    lens.palm(held_s, tone=tone)
    assert lens.seen == 0
    lens.show(0.4)
    lens.palm(held_s, tone=tone)
    lens.show(2.0)
    assert lens.seen == 1


def test_the_same_again_is_another_signal(lens):
    for _ in range(4):
        lens.palm(0.3)
        lens.show(0.3)
    assert lens.seen == 2


def once(lens):
    lens.palm(0.5)


def too_slow(lens):
    lens.palm(0.5)
    lens.show(3.0)
    lens.palm(0.5)


def too_long(lens):
    lens.palm(2.5)
    lens.show(0.3)
    lens.palm(2.5)


def hand_at_the_dial(lens):
    for _ in range(3):
        lens.palm(0.4, share=0.45)
        lens.show(0.3)


def lens_cap(lens):
    for _ in range(3):
        lens.show(0.4, lambda scene: scene * 0.01)
        lens.show(0.3)


def lamp(lens):
    for _ in range(3):
        lens.show(0.4, lambda scene: scene * 0.45)
        lens.show(0.3)


def knocks(lens):
    for _ in range(3):
        lens.show(0.3, lambda scene: np.roll(scene, 24, axis=1))
        lens.show(0.3)


def camera_turned_away(lens):
    lens.show(3.0, lambda scene: np.full_like(scene, 120))
    lens.show(3.0, lambda scene: scene[::-1])


@pytest.mark.parametrize(
    "what",
    [
        once,
        too_slow,
        too_long,
        hand_at_the_dial,
        lens_cap,
        lamp,
        knocks,
        camera_turned_away,
    ],
)
def test_what_is_no_palm_twice_is_no_signal(lens, what):
    what(lens)
    lens.show(1.0)
    assert lens.seen == 0
    lens.show(1.0)
    for _ in range(2):  # and a palm is seen afterwards
        lens.palm(0.4)
        lens.show(0.4)
    assert lens.seen == 1


# what a mark does


@pytest.fixture
def paper(tmp_path):
    paper = PaperSession(tmp_path, mill_for(3)).begun()
    yield paper
    paper.book.close()


def signals(paper):
    return [body.did for body in paper.of("signal")]


def mark(paper, by="pedal"):
    paper.rest(2 * BOUNCE_S)
    return paper.command("mark", by=by)


def test_a_mark_goes_on_and_the_same_again_takes_it_back(paper):
    first = paper.view.step
    assert mark(paper).ok
    second = paper.view.step
    assert second != first
    assert mark(paper).said == "Taken back."
    assert paper.view.step == first
    assert mark(paper).ok
    assert paper.view.step == second
    assert signals(paper) == ["next", "undone", "next"]


def test_a_pedal_that_bounces_is_one_touch(paper):
    first = paper.view.step
    paper.command("mark", by="pedal")
    paper.command("mark", by="pedal")
    assert paper.view.step != first
    assert signals(paper) == ["next", "nothing"]


def test_a_step_that_waits_for_ticks_is_not_passed_by_a_mark(paper):
    paper.until("before-hands")
    paper.rest(UNDO_S + 1)
    assert not mark(paper).ok
    assert paper.view.step == "before-hands"
    assert signals(paper)[-1] == "nothing"


def sweeps(paper):
    with BookReader.open(paper.home) as reader:
        return [(s["state"], s["count"]) for s in reader.show_setup(paper.view.setup_id)["sweeps"]]


def test_a_turn_begun_and_ended_by_hand_counts(paper):
    paper.until("turns")
    paper.turn(40, 2.0)
    paper.rest(UNDO_S + 1)
    assert mark(paper).said.startswith("The turn ends here")  # too short: given up
    paper.rest(UNDO_S + 1)
    assert sweeps(paper)[-1][0] == "incomplete"
    assert mark(paper).said == "The turn begins here."
    paper.turn(330, 10.0)
    assert mark(paper).ok
    before = len(paper.of("result"))
    paper.rest(UNDO_S + 1)
    turned = paper.of("result")[before:]
    assert [one.kind for one in turned] == ["turn"]
    assert sweeps(paper)[-1][0] == "complete"


def test_an_end_that_is_taken_back_lets_the_turn_go_on(paper):
    paper.until("turns")
    paper.turn(300, 10.0)
    assert mark(paper).ok
    assert mark(paper).said == "Taken back."
    paper.turn(85, 4.0)
    assert sweeps(paper)[-1][0] == "complete"
    assert sweeps(paper)[-1][1] > 250


def test_a_beginning_that_is_taken_back_is_given_up(paper):
    paper.until("turns")
    assert mark(paper).ok
    paper.turn(40, 2.0)
    assert mark(paper).said == "Taken back."
    assert sweeps(paper)[-1][0] == "incomplete"
    paper.rest(1.0)
    paper.turn(385, 12.0)
    assert sweeps(paper)[-1][0] == "complete"
