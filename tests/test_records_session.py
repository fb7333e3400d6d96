"""What a live session leaves in the book beside its numbers: lapses, sizes, where it was."""

import pytest
from stream_paper import BEGIN, PaperSession, mill_for
from test_stream_places import BEGIN as JACKS
from test_stream_places import SIZES, JackSession

from records import LAPSED, BookReader
from records.report.checklists import lists_of


@pytest.fixture
def paper(tmp_path):
    paper = PaperSession(tmp_path, mill_for(3)).begun()
    yield paper
    paper.book.close()


def shown(home, setup_id=1):
    with BookReader.open(home) as reader:
        return reader.show_setup(setup_id)


def statuses(home):
    return [one.status.split(":")[0].split(" by")[0] for one in lists_of(shown(home))]


def test_a_list_that_lapsed_does_not_stand_as_completed_in_the_book(paper):
    paper.until("turns")
    assert statuses(paper.home) == ["completed", "not completed"]
    paper.clocks.t_s += 700.0
    paper.session.tick()
    assert statuses(paper.home) == ["not completed", "not completed"]
    last = shown(paper.home)["ticks"][-4:]
    assert {(tick["who"], tick["ticked"]) for tick in last} == {(LAPSED, False)}
    paper.until("turns")
    assert statuses(paper.home) == ["completed", "not completed"]


def test_a_changed_tool_takes_back_in_the_book_what_it_takes_back_in_the_session(paper):
    paper.until("turns")
    paper.command("changed", what="tool")
    standing = {line.key for line in paper.view.lines if line.ticked}
    last = {tick["line_id"]: tick["ticked"] for tick in shown(paper.home)["ticks"]}
    assert {key for key, ticked in last.items() if ticked} == standing


def test_a_tick_that_a_person_takes_back_is_not_kept_twice(paper):
    paper.until("before-hands")
    for _ in range(2):
        paper.command("touch", checklist="before-hands", line="neutral", who="me")
    ticks = [(tick["who"], tick["ticked"]) for tick in shown(paper.home)["ticks"]]
    assert ticks == [("me", True), ("me", False)]


def test_the_list_before_power_lapses_in_the_book_after_the_finish(paper):
    paper.until("before-power")
    for line in paper.view.lines[:5]:
        paper.command("touch", checklist="before-power", line=line.key, who="me")
    assert shown(paper.home)["state"] == "finished"
    paper.clocks.t_s += 700.0
    paper.session.tick()
    record = shown(paper.home)
    assert lists_of(record)[1].status == "not completed: 0 of 9 lines touched"
    with BookReader.open(paper.home) as reader:
        assert reader.check() == []


def test_a_list_touched_at_the_screen_says_so(paper):
    paper.until("before-hands")
    for line in paper.view.lines:
        paper.command("touch", checklist="before-hands", line=line.key, who="at the screen")
    assert lists_of(shown(paper.home))[0].status.startswith("completed at the screen, ")


def test_a_whole_list_that_lapses_afterwards_was_completed(paper):
    """Ten minutes after the power came on no tick stands, and the report says when they did."""
    paper.until("done")
    assert statuses(paper.home) == ["completed", "completed"]
    paper.clocks.t_s += 700.0
    paper.session.tick()
    hands, power = lists_of(shown(paper.home))
    assert hands.completed
    assert power.completed
    assert power.status.startswith("completed by me, ")
    assert "; lapsed " in power.status
    assert all(line.touched for line in power.lines)


def test_sizes_are_kept_with_their_tools_as_they_were_entered_last(tmp_path):
    session = JackSession(tmp_path)
    more = {"machine": "bench mill", "tolerance_source": "the owner's drawing"}
    assert session.command("begin", **JACKS, **more, sizes=SIZES).ok
    session.rest(0.2)
    session.work.load()
    assert session.command("next").ok
    assert session.command("size", key="pitch", value=2.0).ok
    assert session.command("next").ok
    record = shown(tmp_path)
    session.book.close()
    kept = {size["key"]: (size["value"], size["unit"], size["tool"]) for size in record["sizes"]}
    assert kept == {
        "jacks_apart": (200.0, "mm", "rule"),
        "jack_behind": (150.0, "mm", "rule"),
        "pitch": (2.0, "mm", "thread gauge"),
    }
    assert (record["machine"], record["tolerance_source"]) == tuple(more.values())


def test_what_cannot_be_a_setups_number_is_refused(paper):
    paper.command("abandon")
    answer = paper.command("begin", **BEGIN, again_of="the last one")
    assert not answer.ok
    assert "give the number of a record" in answer.said
    answer = paper.command("begin", **BEGIN, again_of=77)
    assert not answer.ok
    assert "There is no setup 77" in answer.said
