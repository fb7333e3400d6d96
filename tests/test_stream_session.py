"""The live session on paper mills: no sockets, simulated time, the real book."""

from dataclasses import replace

import msgspec
import numpy as np
import pytest
from stream_kit import DIAL
from stream_paper import BEGIN, PaperSession, mill_for

from readings import FLAGS, BadInputError
from records import BookFullError, BookReader
from stream.keeping import RESTARTED
from stream.messages import Command, Live, Saved, SessionView


@pytest.fixture
def paper(tmp_path):
    paper = PaperSession(tmp_path, mill_for(3)).begun()
    yield paper
    paper.book.close()


def shown(paper):
    with BookReader.open(paper.home) as reader:
        return reader.show_setup(paper.view.setup_id)


# the whole guide


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    """One setup walked from begin to recorded; nothing below changes it."""
    paper = PaperSession(tmp_path_factory.mktemp("walked"), mill_for(3)).begun()
    paper.until("done")
    yield paper
    paper.book.close()


def test_the_guide_is_walked_from_begin_to_recorded(walked):
    assert walked.mill.off_mm < 0.005
    assert walked.view.finished
    assert walked.view.found.verdict == "inside"
    assert walked.view.found.locked
    record = shown(walked)
    assert (record["state"], record["verdict"]) == ("finished", "inside")
    assert (record["job"], record["part"]) == (BEGIN["job"], BEGIN["part"])
    ticked = [tick["list_name"] for tick in record["ticks"]]
    assert ticked == ["before-hands"] * 4 + ["before-power"] * 9
    with BookReader.open(walked.home) as reader:
        assert reader.check() == []


def test_what_is_found_is_on_record_with_its_budget(walked):
    record = shown(walked)
    rounds = len(walked.view.history)
    complete = [s for s in record["sweeps"] if s["state"] == "complete"]
    assert len(complete) == 2 * rounds
    assert {s["sense"] for s in complete} == {"clockwise", "anticlockwise"}
    assert [s["purpose"] for s in complete[-2:]] == ["check", "check"]
    assert all(s["count"] > 140 for s in complete)
    results = [r for r in record["results"] if r["kind"] == "centring"]
    assert len(results) == rounds
    found = results[-1]["body"]["found"]
    assert found == msgspec.json.decode(msgspec.json.encode(walked.view.found))
    budget = results[-1]["body"]["centring"]["budget"]
    assert {line["name"] for line in budget} >= {"fit", "reader", "roundness"}
    assert record["instruments"][0]["body"]["name"] == DIAL.name


def test_each_result_and_the_finish_are_on_record_with_photos(walked):
    record = shown(walked)
    pair = [("raw", "at the result"), ("annotated", "at the result")]
    last = [("raw", "at the finish"), ("annotated", "at the finish")]
    photos = [(p["kind"], p["caption"]) for p in record["photos"]]
    assert photos == pair * len(walked.view.history) + last
    assert all(photo["there"] for photo in record["photos"])


def test_a_sweep_in_the_book_holds_the_collars_angles_and_its_mark(walked):
    record = shown(walked)
    sweep = next(s for s in record["sweeps"] if s["state"] == "complete")
    settings = sweep["settings"]
    theta = settings["collar_sense"] * (
        np.array(sweep["samples"]["angle_rad"]) - settings["collar_zero_rad"]
    )
    assert np.ptp(theta) * 180 / np.pi > 372
    rising = theta[-1] > theta[0]
    assert sweep["sense"] == ("anticlockwise" if rising else "clockwise")
    columns = [f(n * theta) for n in (1, 2, 3) for f in (np.cos, np.sin)]
    table = np.column_stack([np.ones_like(theta), *columns])
    fit = np.linalg.lstsq(table, np.array(sweep["samples"]["value_mm"]))[0]
    body = next(r for r in record["results"] if r["sweep_id"] == sweep["id"])["body"]
    high_deg = np.degrees(np.arctan2(fit[2], fit[1]))
    assert (body["high_spot_deg"] - high_deg + 180) % 360 - 180 == pytest.approx(0.0, abs=0.5)


# acknowledged means committed


def test_samples_are_in_the_book_before_they_are_told_saved(paper):
    paper.until("turns")
    behind = []

    def on_publish(topic, body):
        if topic == "saved":
            with BookReader.open(paper.home) as reader:
                behind.append(len(reader.samples(body.sweep_id)) - body.samples)

    paper.on_publish = on_publish
    paper.act()
    assert len(behind) > 10
    assert set(behind) == {0}
    last = paper.of("saved")[-1]
    assert isinstance(last, Saved)
    assert last.complete


def test_a_sample_waits_half_a_second_at_most(paper):
    paper.until("turns")
    paper.turn(paper.sense * 200.0, 6.0)
    told = [(t, b) for t, b in paper.published if t in ("reading", "saved")]
    taken_s, waiting = [], 0.0
    for topic, body in told:
        if topic == "reading":
            taken_s.extend([body.t_s] * max(0, body.samples - len(taken_s)))
        elif body.samples < len(taken_s):
            waiting = max(waiting, taken_s[-1] - taken_s[body.samples])
    assert len(taken_s) > 110
    assert waiting <= 0.5


def test_a_full_disk_is_told_nothing_is_told_saved_and_nothing_is_lost(paper, monkeypatch):
    paper.until("turns")
    append = paper.book.append_samples

    def full(*args):
        raise BookFullError("The disk with the record book is full: make room.")

    paper.turn(paper.sense * 60.0, 2.0)
    before = len(paper.of("saved"))
    monkeypatch.setattr(paper.book, "append_samples", full)
    paper.turn(paper.sense * 100.0, 3.0)
    assert len(paper.of("saved")) == before
    assert "The disk with the record book is full: make room." in paper.view.sentences
    monkeypatch.setattr(paper.book, "append_samples", append)
    paper.turn(paper.sense * 220.0, 6.0)
    paper.rest(6.0)
    assert paper.view.sentences == ()
    done = paper.of("saved")[-1]
    assert done.complete
    with BookReader.open(paper.home) as reader:
        sweep = reader.samples(done.sweep_id)
    assert len(sweep) == done.samples
    assert np.diff(sweep.t_s).max() < 0.051


def test_a_turn_that_could_not_be_begun_in_the_book_gives_no_number(paper, monkeypatch):
    paper.until("turns")

    def full(*args, **kwargs):
        raise BookFullError("The disk with the record book is full: make room.")

    with monkeypatch.context() as patch:
        patch.setattr(paper.book, "begin_sweep", full)
        paper.turn(paper.sense * 20.0, 1.0)
    paper.turn(paper.sense * 360.0, 8.0)
    assert paper.session.state.fine.first is None
    assert any("did not get into the book" in said for said in paper.view.sentences)


# what voids and what is cut short


def test_a_turn_too_fast_is_void_in_the_book_and_has_no_result(paper):
    paper.until("turns")
    paper.turn(40.0, 1.5)
    paper.turn(500.0, 0.8)
    paper.rest(1.0)
    sweep = shown(paper)["sweeps"][-1]
    assert (sweep["state"], sweep["flags"]) == ("void", ["turning too fast"])
    assert sweep["count"] > 20
    assert paper.view.advice.note == FLAGS["turning too fast"].sentence
    assert not [r for r in shown(paper)["results"] if r["sweep_id"] == sweep["id"]]


def test_turning_back_early_leaves_an_incomplete_sweep(paper):
    paper.until("turns")
    paper.turn(200.0, 5.0)
    paper.turn(-380.0, 8.0)
    states = [s["state"] for s in shown(paper)["sweeps"]]
    assert states[-2:] == ["incomplete", "complete"]


def test_a_list_that_lapses_in_the_middle_of_a_turn_leaves_it_incomplete(paper):
    paper.until("turns")
    paper.turn(100.0, 3.0)
    paper.clocks.t_s += 700.0
    paper.session.tick()
    assert paper.view.step == "before-hands"
    assert shown(paper)["sweeps"][-1]["state"] == "incomplete"


def test_a_lost_camera_is_told_within_two_seconds_and_comes_back(paper):
    paper.until("turns")
    for _ in range(21):
        paper.clocks.t_s += 0.1
        paper.session.tick()
    assert paper.view.camera_lost
    assert paper.view.advice.note == FLAGS["camera gone"].sentence
    paper.rest(0.2)
    assert not paper.view.camera_lost


def out_of_reach(paper, seconds):
    """Let time pass while a node that keeps its pictures is away."""
    for _ in range(round(seconds / 0.1)):
        paper.clocks.t_s += 0.1
        paper.session.tell_troubles((), away=True)
        paper.session.tick()


def test_a_node_out_of_reach_keeps_a_turn_going(paper):
    paper.until("turns")
    paper.turn(paper.sense * 100.0, 3.0)
    out_of_reach(paper, 5.0)
    assert paper.view.step == "turns"
    assert not paper.session.state.camera_lost


def test_without_a_turn_a_node_out_of_reach_is_a_lost_camera(paper):
    paper.until("turns")
    out_of_reach(paper, 5.0)
    assert paper.session.state.camera_lost
    assert paper.view.step == "before-hands"


# a restarted service


def test_a_restarted_session_stands_at_its_step_and_the_half_turn_is_incomplete(paper):
    paper.until("turns")
    paper.turn(paper.sense * 150.0, 5.0)
    saved = paper.of("saved")[-1]
    before = paper.view
    paper.crash()
    paper.clocks.t_s += 5.0
    paper.open()
    assert paper.view.step == "turns"
    assert paper.view.setup_id == before.setup_id
    assert paper.view.revision > before.revision
    assert paper.view.advice.note == RESTARTED
    record = shown(paper)
    cut = next(s for s in record["sweeps"] if s["id"] == saved.sweep_id)
    assert (cut["state"], cut["flags"]) == ("incomplete", ["incomplete"])
    assert cut["count"] >= saved.samples > 50
    assert record["events"][-1]["state"] == "resumed"
    paper.until("moves")


def test_a_step_that_measured_nothing_is_resumed_as_it_stood(paper):
    for step in ("before-hands", "point-back", "before-power", "done"):
        paper.until(step)
        before = paper.view
        paper.crash()
        paper.open()
        assert replace(paper.view, revision=0) == replace(before, revision=0)
    assert paper.mill.off_mm < 0.005


def test_what_was_half_measured_is_measured_anew(paper):
    """Nobody saw the machine while the service was down: old rests and turns do not hold."""
    paper.until("rough")
    while paper.session.state.rough.near_mm is None:
        paper.act()
    for step, then in (("rough", "rough"), ("moves", "turns"), ("lock", "lock")):
        paper.until(step)
        paper.crash()
        paper.open()
        assert paper.view.step == then
        assert paper.view.advice.note == RESTARTED
        rough = paper.session.state.rough
        assert rough.near_mm is rough.far_mm is rough.goal_mm is None
        assert paper.session.state.fine.axes == () or then == "lock"
    paper.until("done")
    assert paper.mill.off_mm < 0.005


def test_lists_lapse_by_the_walls_clock_while_the_service_is_down(paper):
    paper.until("rough")
    paper.crash()
    paper.clocks.t_s += 700.0
    paper.open()
    paper.session.tick()
    assert paper.view.step == "before-hands"
    assert not any(line.ticked for line in paper.view.lines)


def test_a_session_that_cannot_be_read_is_closed_in_the_book(paper):
    setup_id = paper.view.setup_id
    paper.book.put_session_state("session", b"another version's")
    paper.crash()
    paper.open()
    assert paper.view.guide is None
    with BookReader.open(paper.home) as reader:
        record = reader.show_setup(setup_id)
    assert record["state"] == "abandoned"
    assert paper.command("begin", **BEGIN).ok


# commands


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            {"guide": "centre-moon"},
            "There is no guide 'centre-moon'; there are centre-bore, centre-boss,",
        ),
        ({"tolerance_mm": 0}, "tolerance_mm is 0: give a length in mm above 0 and up to 10000."),
        ({"tolerance_mm": float("nan")}, "tolerance_mm is nan: give a length"),
        ({"tolerance_mm": "five"}, "tolerance_mm is 'five': give a length"),
        ({"tolerance_mm": True}, "tolerance_mm is True: give a length"),
        ({"diameter_mm": 1.5}, "diameter_mm is 1.5, smaller than the stylus tip"),
        ({"part": "  "}, "part is '  ': give it a name of 1 to 200 characters."),
        ({"job": "x" * 300}, "give it a name of 1 to 200 characters."),
    ],
)
def test_a_bad_begin_is_answered_with_a_sentence_and_nothing_is_written(tmp_path, change, said):
    paper = PaperSession(tmp_path, mill_for(1))
    answer = paper.command("begin", **{**BEGIN, **change})
    assert not answer.ok
    assert said in answer.said
    assert paper.view.guide is None
    with BookReader.open(tmp_path) as reader:
        assert reader.list_setups() == []
    paper.book.close()


def test_one_setup_at_a_time_and_giving_up_is_on_record(paper):
    again = paper.command("begin", **BEGIN)
    assert not again.ok
    assert "A setup is running" in again.said
    setup_id = paper.view.setup_id
    assert paper.command("abandon").ok
    assert paper.view.guide is None
    with BookReader.open(paper.home) as reader:
        assert reader.show_setup(setup_id)["state"] == "abandoned"
    assert paper.command("next").said == "No setup is running: begin one first."
    assert paper.command("begin", **BEGIN).body == setup_id + 1


def test_commands_that_do_not_fit_are_answered(paper):
    assert "There is no command 'fly'" in paper.command("fly").said
    assert paper.command("next").ok
    assert paper.command("next").said == "This step does not wait for next."
    assert "There is no list" in paper.command("touch", checklist="moon", line="a").said
    unknown = paper.command("touch", checklist="before-hands", line="nothing")
    assert (unknown.ok, unknown.said) == (False, "There is no such line.")
    assert paper.session.command(Command("next", seq=7)).seq == 7


def test_next_at_a_pointing_step_takes_the_stylus_where_it_stands(paper):
    paper.until("point-right")
    paper.mill.theta_rad = 0.0
    paper.crash()
    paper.open()  # nothing has moved since the step was entered
    paper.rest(2.0)
    assert paper.view.step == "point-right"
    assert paper.command("next").ok
    paper.rest(0.3)
    assert paper.view.step == "point-back"


# what is shown


def test_the_view_and_the_reading_are_plain_json(walked):
    view = msgspec.json.decode(msgspec.json.encode(walked.view), type=SessionView)
    assert view == walked.view
    live = msgspec.json.decode(msgspec.json.encode(walked.session.live()), type=Live)
    assert live == walked.session.live()
    assert walked.command("view").body["step"] == "done"


def test_the_state_is_published_when_it_changes_and_only_then(paper):
    paper.until("turns")
    paper.rest(0.5)
    before = len(paper.of("state"))
    paper.rest(5.0)
    assert len(paper.of("state")) == before
    revisions = [view.revision for view in paper.of("state")]
    assert revisions == list(range(revisions[0], revisions[0] + len(revisions)))


def test_the_target_stands_only_while_the_stylus_is_where_the_move_wants_it(paper):
    paper.until("moves")
    move = paper.view.advice.moves[paper.view.advice.move]
    paper.point(move.stylus)
    assert paper.session.live().target_mm == pytest.approx(move.needle_mm, abs=0.02)
    paper.turn(45.0, 2.0)
    assert paper.session.live().target_mm is None


def test_the_trace_shows_both_turns_against_theta(walked):
    trace = walked.view.trace
    for points in (trace.anticlockwise, trace.clockwise):
        angles = [angle for angle, _ in points]
        assert 70 < len(points) <= 180
        assert max(angles) - min(angles) == pytest.approx(373, abs=6)


def test_a_refused_picture_says_why(paper):
    paper.rest(0.2, value_mm=None)
    live = paper.session.live()
    assert live.value_mm is None
    assert live.divisions is None
    assert live.sentences == (FLAGS["needle hidden"].sentence,)


def test_the_session_needs_no_running_setup_to_show_readings(tmp_path):
    paper = PaperSession(tmp_path, mill_for(2))
    paper.rest(0.5)
    assert paper.session.live().value_mm == pytest.approx(paper.mill.shown_mm, abs=0.001)
    with pytest.raises(BadInputError):
        paper.book.append_samples(1, 0, [])
    paper.book.close()


# what makes lists lapse


def test_the_first_list_says_where_a_pedal_must_not_stand(paper):
    paper.until("before-hands")
    assert "machine's own pedal" in paper.view.caution
    assert "no interlock" in paper.view.caution


def test_a_page_loaded_anew_shows_no_line_as_ticked(paper):
    paper.until("before-hands")
    paper.command("touch", checklist="before-hands", line="neutral", who="me")
    assert any(line.ticked for line in paper.view.lines)
    paper.command("changed", what="reload")
    assert not any(line.ticked for line in paper.view.lines)
    assert "loaded anew" in paper.view.advice.note


def test_a_changed_tool_asks_again_and_the_setup_goes_on_where_it_was(paper):
    paper.until("turns")
    paper.command("changed", what="tool")
    assert paper.view.step == "before-hands"
    assert [line.key for line in paper.view.lines if line.ticked] == ["feed-off"]
    paper.until("turns")
    refused = paper.session.command(Command("changed", {"what": "hat"}))
    assert not refused.ok
    assert "a person says tool" in refused.said


def test_a_nose_that_nobody_has_shown_is_not_told_bare(paper):
    """Least of all while the dial is read in the very pictures that were to be remembered."""
    paper.until("before-hands")
    paper.rest(2.0)
    assert paper.session.live().nose != "bare"
    answer = paper.session.command(Command("nose"))
    assert not answer.ok
    assert "I still see the dial" in answer.said
    paper.rest(2.0)
    assert paper.session.live().nose != "bare"
