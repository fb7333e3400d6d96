"""A guide by places in the live session: no collar in sight, the real book, simulated time."""

import numpy as np
import pytest
from paper_works import PaperJacks
from stream_kit import DIAL, Clocks, picture, reading

from calibration.handwheels import Handwheel
from records import Book, BookReader
from setups.measuring import wanted_place
from stream.messages import Command
from stream.session import Session, Tools

FPS = 20.0
BEGIN = {
    "guide": "level-jacks",
    "job": "Lock paddle winding gear",
    "part": "Gear-case end 1",
    "operation": "Face to be bored",
}
SIZES = {"jacks_apart": 200.0, "jack_behind": 150.0, "pitch": 1.5}


class JackSession:
    """One session, one casting on paper jacks, one pair of hands."""

    def __init__(self, home):
        self.time = Clocks(10.0)
        self.book = Book.open(home, program_version="test", now=self.time.now)
        tools = Tools(DIAL, (Handwheel("x", 5.0, 250),), source="paper")
        self.session = Session(
            self.book, tools, lambda *a: None, clock=self.time.clock, now=self.time.now
        )
        rng = np.random.default_rng(4)
        self.work = PaperJacks(rng, heights_mm=np.array([0.05, -0.08, 0.11]), noise_mm=0.0002)

    def command(self, name, **args):
        return self.session.command(Command(name, args, "hands", 0))

    def rest(self, seconds=1.5, *, dark=False):
        for _ in range(round(seconds * FPS)):
            self.time.t_s += 1.0 / FPS
            value = None if dark else self.work.reading_mm()
            seen = reading(self.time.t_s, value, 0.0002)
            self.session.observe(picture(self.time.t_s), seen, None)
            self.session.tick(self.time.t_s)

    def ticks(self):
        view = self.session.view()
        for line in view.lines:
            self.command("touch", checklist=view.checklist, line=line.key, who="hands")

    def at_next_place(self):
        self.work.at_mm = wanted_place(self.session.state).at_mm

    def go_round(self):
        while self.session.view().kind == "places":
            self.at_next_place()
            self.rest()
            assert self.command("next").ok
            self.rest(0.3)


@pytest.fixture
def jacks(tmp_path):
    session = JackSession(tmp_path)
    assert session.command("begin", **BEGIN, sizes=SIZES).ok
    session.rest(0.2)
    session.work.load()
    yield session
    session.book.close()


def to_heights(jacks):
    assert jacks.command("next").ok
    assert jacks.command("size", key="pitch", value=2.0).ok
    assert jacks.command("size", key="pitch", value=1.5).ok
    assert jacks.command("next").ok
    jacks.ticks()
    assert jacks.session.view().step == "heights"


def test_a_face_on_jacks_from_begin_to_recorded(jacks, tmp_path):
    to_heights(jacks)
    jacks.go_round()
    view = jacks.session.view()
    assert view.kind == "todo"
    assert view.measured.verdict == "outside"
    while jacks.session.view().kind == "todo":
        jacks.work.do(jacks.session.view().advice.todo)
        jacks.rest(0.3)
        assert jacks.command("next").ok
    jacks.go_round()
    assert jacks.session.view().kind == "lock"
    assert jacks.command("next").ok
    jacks.go_round()
    view = jacks.session.view()
    assert view.finished
    assert view.measured.verdict == "inside"
    assert view.measured.locked
    assert jacks.work.off_mm() < view.tolerance_mm
    with BookReader.open(tmp_path) as reader:
        shown = reader.show_setup(view.setup_id)
        assert reader.check() == []
    assert (shown["state"], shown["verdict"]) == ("finished", "inside")
    kept = [r for r in shown["results"] if r["kind"] == "jacks"]
    assert len(kept) == len(view.rounds)
    assert len(kept[-1]["body"]["runs"][0]["seen"]) == 7


def test_a_place_counts_once_and_only_by_a_person_s_word(jacks):
    to_heights(jacks)
    jacks.at_next_place()
    jacks.rest(3.0)
    assert jacks.session.state.task.seen == ()
    jacks.command("next")
    jacks.rest(0.5)
    assert len(jacks.session.state.task.seen) == 1
    jacks.at_next_place()
    jacks.rest(4.0)
    assert len(jacks.session.state.task.seen) == 1, "moving the dial alone takes no place"


def test_a_hidden_dial_is_told_and_takes_no_place(jacks):
    to_heights(jacks)
    jacks.command("next")
    jacks.rest(2.0, dark=True)
    assert jacks.session.state.task.seen == ()
    assert "cannot read" in jacks.session.view().advice.note


def test_a_restart_goes_on_where_it_was(jacks, tmp_path):
    to_heights(jacks)
    jacks.at_next_place()
    jacks.rest()
    jacks.command("next")
    jacks.rest(0.5)
    jacks.session.close()
    again = Session(
        jacks.book,
        Tools(DIAL, (), source="paper"),
        lambda *a: None,
        clock=jacks.time.clock,
        now=jacks.time.now,
    )
    assert again.view().step == "heights"
    assert len(again.state.task.seen) == 1


@pytest.mark.parametrize(
    ("sizes", "says"),
    [
        ({"pitch": 0}, "give 0.3 to 6 mm"),
        ({"pitch": "1.5"}, "give 0.3 to 6 mm"),
        ({"arm": 100}, "asks for jacks_apart, jack_behind, pitch"),
        ([1, 2], "asks for jacks_apart"),
    ],
)
def test_sizes_that_cannot_be_are_answered(tmp_path, sizes, says):
    session = JackSession(tmp_path)
    try:
        answer = session.command("begin", **BEGIN, sizes=sizes)
        assert not answer.ok
        assert says in answer.said
    finally:
        session.book.close()
