"""A guide's own picture and the rounds so far, as the page gets them to draw."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from guide_agent import GuideAgent, begun
from paper_scenes import SCENES

from setups import GUIDES, Advice
from stream.keeping import Kept
from stream.messages import SessionView
from stream.views import session_view
from ui.live.schemes import scheme_of
from ui.live.wording import show_state


def view_at(guide, step, seed=3, most=60):
    """What the page sees when an obeying agent has come to a step."""
    scene = SCENES[guide]
    work = scene.make(np.random.default_rng(seed))
    agent = GuideAgent(work, begun(guide, scene.sizes), scene.at, scene.changed)
    for _ in range(most):
        if agent.state.step == step:
            break
        agent.act()
    assert agent.state.step == step
    kept = Kept(agent.state, 1, "job", 0, 0.0, datetime(2026, 11, 25, tzinfo=UTC))
    return session_view(kept, (), camera_lost=False), work


def scheme(guide, step, **how):
    view, work = view_at(guide, step, **how)
    return show_state(view).scheme, view, work


@pytest.mark.parametrize("guide", ["tram-head", "tram-head-stops"])
def test_a_head_is_drawn_leaning_the_way_it_does_with_its_numbers(guide):
    shown, view, work = scheme(guide, "todo")
    right, back = shown.leans
    assert (right.seen_from, back.seen_from) == ("from the front", "from the right")
    assert np.sign(right.share) == np.sign(work.lean[0])
    assert np.sign(back.share) == np.sign(work.lean[1])
    assert max(abs(right.share), abs(back.share)) <= 1.0
    assert right.share / back.share == pytest.approx(work.lean[0] / work.lean[1], rel=0.1)
    assert right.limit == pytest.approx(abs(right.share) * 0.02 / abs(300 * work.lean[0]), rel=0.2)
    assert "over 300 mm" in shown.title
    way = "right" if work.lean[0] > 0 else "left"
    number = view.measured.number("lean_x").value
    assert right.words == f"{abs(number):.3f} mm {way}"


def test_at_the_end_what_was_judged_stands_largest():
    view, _ = view_at("tram-head", "done")
    value, words = show_state(view).result
    assert value == f"{view.measured.size_mm:.4f}"
    assert 0 < float(value) <= 0.02
    assert words == "mm lean over 300 mm"


def test_a_bar_s_far_end_is_drawn_high_and_to_the_front_as_it_lies():
    shown, _, work = scheme("between-centres", "todo")
    above, beside = shown.leans
    assert not above.upright
    assert np.sign(above.share) == np.sign(work.up_mm)
    assert np.sign(beside.share) == -np.sign(work.front_mm), "the front is down, seen from above"


def test_jacks_from_above_have_their_turns_and_the_one_in_hand():
    shown, view, _ = scheme("level-jacks", "todo")
    assert [mark.name for mark in shown.marks] == ["1", "2", "3"]
    told = {todo.what: todo for todo in view.advice.todos}
    for mark in shown.marks:
        todo = told.get(f"jack {mark.name}")
        assert mark.words == ("" if todo is None else f"{abs(todo.turns):.2f} turn")
        assert mark.way == (0 if todo is None else 1 if todo.turns > 0 else -1)
        assert mark.now == (todo is not None and todo == view.advice.todo)
    assert shown.marks[0].x < shown.marks[2].x < shown.marks[1].x
    assert shown.marks[2].y > shown.marks[0].y


def test_where_the_dial_goes_next_is_marked():
    shown, _, _ = scheme("level-jacks", "heights")
    assert [mark.name for mark in shown.marks if mark.now] == ["1"]
    stops, _, _ = scheme("centre-bore-stops", "there")
    assert [mark.name for mark in stops.marks if mark.now] == ["right"]


def test_jaws_are_told_apart():
    shown, view, _ = scheme("four-jaw", "todo")
    words = {mark.words: mark.name for mark in shown.marks if mark.words}
    headline = f"Slacken {words['slacken']}, tighten {words['tighten']}"
    assert headline == view.advice.headline


def test_the_side_to_tap_is_shown_and_no_other():
    shown, view, work = scheme("dividing-head", "todo")
    [told] = [mark for mark in shown.marks if mark.words]
    assert (told.words, told.way, told.now) == ("tap", 1, True)
    assert view.advice.headline.startswith(f"Tap side {told.name} in by ")
    assert np.dot(work.off, (told.x, told.y)) > 0, "the side that lies out is tapped"


def test_the_stops_of_an_orbit_stand_where_they_were_taken():
    taken = (10.0, 100.0, 190.0)
    told = Advice("", "", "", "stop", stops_deg=taken)
    view = SessionView(1, guide="rotation-axis", step="orbit", kind="orbit", advice=told)
    marks = scheme_of(view).marks
    assert [mark.name for mark in marks if mark.now] == ["3"]
    ways = [np.degrees(np.arctan2(mark.y, mark.x)) % 360 for mark in marks]
    assert ways == pytest.approx(taken)
    names = [mark.name for mark in scheme_of(replace(view, kind="change")).marks]
    assert names == ["target 1", "target 0"]


def test_shims_stand_at_their_corners():
    shown, view, _ = scheme("face-square", "todo")
    for todo in view.advice.todos:
        corner = todo.what.removeprefix("shim, ")
        mark = next(mark for mark in shown.marks if mark.name == corner)
        assert mark.words == f"{todo.amount_mm:.3f} mm"
        assert (mark.x > 0) == ("right" in corner)
        assert (mark.y > 0) == ("back" in corner)


def test_a_hung_castings_jacks_say_tighten_and_slacken():
    shown, _, _ = scheme("hung-casting", "todo")
    assert {mark.words.split()[0] for mark in shown.marks} == {"tighten", "slacken"}


@pytest.mark.parametrize("guide", SCENES)
def test_no_picture_of_its_own_hides_a_turn_or_a_list(guide):
    for step in GUIDES[guide].steps:
        if step.key in ("before-hands", "sizes", "turns"):
            assert scheme(guide, step.key)[0] is None


def test_the_rounds_so_far_stand_in_tolerances():
    view, _ = view_at("four-jaw", "done")
    shown = show_state(view)
    assert [off for off, _, _ in shown.rounds] == [f"{one.size_mm:.3f}" for one in view.rounds]
    assert [share for _, share, _ in shown.rounds] == pytest.approx(
        [one.size_mm / view.tolerance_mm for one in view.rounds]
    )
    assert shown.rounds[0][1] > 1.0 > shown.rounds[-1][1]
    assert shown.rounds[-1][2]


def test_the_places_of_a_run_follow_the_sizes_that_were_entered():
    view, _ = view_at("level-jacks", "heights")
    shown = dict(show_state(view).places)
    assert shown["over jack 2"] == (200.0, 0.0)
    assert shown["between jacks 1 and 2"] == (100.0, 0.0)
    wider = replace(
        view,
        sizes=tuple(replace(s, value=300.0) for s in view.sizes if s.key == "jacks_apart")
        + tuple(s for s in view.sizes if s.key != "jacks_apart"),
    )
    assert dict(show_state(wider).places)["over jack 2"] == (300.0, 0.0)
    assert show_state(view_at("four-jaw", "turns")[0]).places == ()
