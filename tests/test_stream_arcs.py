"""Arcs left out by hand in the live session: a paper mill whose bore is worn on one side."""

from dataclasses import replace

import numpy as np
import pytest
from stream_paper import PaperSession, mill_for

from records import BookReader
from records.report.content import setup_report
from setups import LeftOut, advance, advise
from setups.arcs import BEGUN, NO_CENTRE, NO_TURNS, changed, in_arcs, move_stop
from stream.keeping import RESTARTED
from sweeps import TOO_MUCH_BY_HAND

WORN = (330.0, 70.0, 0.06)
LEFT_OUT = {"from_deg": 325, "to_deg": 75}


def swept(home):
    """One turn each way over a worn bore; the stylus has come to rest."""
    paper = PaperSession(home, mill_for(5, oval_mm=0.002, worn=WORN)).begun()
    paper.until("turns")
    paper.act()
    paper.act()
    assert paper.view.step == "moves"
    return paper


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    """What is told before, with the arc left out, taken back and left out again; then the end."""
    paper = swept(tmp_path_factory.mktemp("arcs"))
    paper.off = paper.mill.x_mm, paper.mill.y_mm
    paper.told = [paper.view]
    for out in (True, False, True):
        answer = paper.command("leave-out", **LEFT_OUT, out=out)
        assert answer.ok, answer.said
        paper.told.append(paper.view)
    paper.said = answer.said
    paper.rest(0.2)
    paper.until("done")
    yield paper
    paper.book.close()


def miss_in_u(found, off):
    """How far the offset told lies from the truth, in its own standard uncertainties."""
    away = np.array([found.offset_x_mm, found.offset_y_mm]) - off
    return float(np.max(np.abs(away) / (found.u_x_mm, found.u_y_mm)))


def record_of(paper):
    with BookReader.open(paper.home) as reader:
        return reader.show_setup(paper.view.setup_id)


def test_leaving_the_worn_arc_out_brings_the_centre_back_within_its_uncertainty(walked):
    before, after = walked.told[0].found, walked.told[1].found
    assert miss_in_u(before, walked.off) > 6
    assert miss_in_u(after, walked.off) < 2
    assert miss_in_u(replace(after, offset_x_mm=after.offset_x_mm + 0.015), walked.off) > 2
    assert "arcs left out" in after.flags
    assert "tir at least" in after.flags
    assert after.left_out == ((325, 75),)
    assert walked.said == "325° to 75° is left out."
    assert "Left out by hand: 325° to 75°." in walked.told[1].sentences
    assert walked.told[1].left_out == ((325, 75),)


def test_taking_it_back_tells_the_old_numbers(walked):
    before, _, back, again = walked.told
    assert back.found == before.found
    assert again.found == walked.told[1].found
    assert [len(view.history) for view in walked.told] == [1, 1, 1, 1]


def test_the_trace_tells_where_the_reading_falls_away(walked):
    ((start, end),) = walked.told[0].trace.falls
    assert 325 < start < 350
    assert 50 < end < 75
    assert walked.told[0].arcs_offered


def test_the_move_is_made_where_the_wall_counts(walked):
    stops = [
        {move.axis: move.stylus for move in view.advice.moves}["x"] for view in walked.told[:2]
    ]
    assert stops == ["right", "left"]


def test_the_arc_stays_out_to_the_end_and_the_bore_is_centred(walked):
    assert walked.mill.off_mm < 0.005
    assert walked.view.found.verdict == "inside"
    assert walked.view.found.left_out == ((325, 75),)
    assert not walked.view.arcs_offered


def test_the_book_tells_which_arcs_and_which_numbers_were_found_anew(walked):
    record = record_of(walked)
    pairs = [r["body"] for r in record["results"] if r["kind"] == "centring"]
    assert [bool(body.get("again")) for body in pairs[:5]] == [False, True, True, True, False]
    assert [body["found"]["left_out"] for body in pairs[:3]] == [[], [[325, 75]], []]
    names = [line["name"] for line in pairs[1]["centring"]["budget"]]
    assert "arcs" in names
    complete = [s for s in record["sweeps"] if s["state"] == "complete"]
    told = [s["settings"].get("left_out_deg") for s in complete]
    assert told == [None, None] + [[[325, 75]]] * (len(complete) - 2)
    assert all(s["count"] > 140 for s in complete)  # whole: what is left out is kept too
    photos = [p for p in record["photos"] if p["caption"] == "at the result"]
    assert len(photos) == 2 * len(walked.view.history)


def test_the_report_tells_which_arcs_and_counts_no_round_for_them(walked):
    report = setup_report(record_of(walked))
    anew = [line for line in report.rounds if line.startswith("The same turns, found anew.")]
    told = "The same turns, found anew. Left out by hand: 325° to 75°."
    assert anew == [told, "The same turns, found anew. Every arc counts.", told]
    assert ("Left out by hand", "325° to 75°") in report.numbers
    assert "Left out by hand: 325° to 75°." in report.remarks
    last = [line for line in report.rounds if "Off centre" in line][-1]
    assert last.startswith(f"{len(walked.view.history)}. ")


def test_no_list_lapses_by_numbers_found_anew(walked):
    ticked = [t for t in record_of(walked)["ticks"] if t["list_name"] == "before-hands"]
    assert [t["ticked"] for t in ticked] == [True] * 4


def test_after_the_end_arcs_stay_as_they_are(walked):
    answer = walked.command("leave-out", **LEFT_OUT, out=False)
    assert not answer.ok
    assert "closed" in answer.said


# refused, and everything stays


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    paper = swept(tmp_path_factory.mktemp("refused"))
    yield paper
    paper.book.close()


@pytest.mark.parametrize(
    ("arc", "said"),
    [
        ({"from_deg": 20, "to_deg": 210}, TOO_MUCH_BY_HAND.reason),
        ({"from_deg": 0, "to_deg": 359}, TOO_MUCH_BY_HAND.reason),
        ({"from_deg": 50, "to_deg": 90, "out": False}, "changes nothing"),
        ({"from_deg": 30, "to_deg": 30}, "two different angles"),
        ({"from_deg": "x", "to_deg": 30}, "from_deg is 'x'"),
        ({"from_deg": 1, "to_deg": float("nan")}, "to_deg is nan"),
        ({"from_deg": True, "to_deg": 30}, "from_deg is True"),
        ({"from_deg": 1, "to_deg": 30, "out": 1}, "out is true"),
    ],
)
def test_what_cannot_be_left_out_is_answered_with_a_sentence(measured, arc, said):
    before = measured.view
    answer = measured.command("leave-out", **arc)
    assert not answer.ok
    assert said in answer.said
    assert (measured.view.found, measured.view.left_out) == (before.found, ())


def test_an_arc_with_both_stops_of_an_axis_leaves_no_move(measured):
    state = measured.session.state
    left, _ = advance(state, LeftOut((170, 190), out=True, at_s=1.0))
    assert left.left_out == ((170, 190),)
    refused, effects = advance(left, LeftOut((350, 10), out=True, at_s=2.0))
    assert refused.left_out == left.left_out
    assert "Neither right nor left" in refused.note
    assert effects == ()


def test_once_the_table_moved_numbers_found_anew_ask_for_turns(measured):
    """With a wide tolerance the first sweep would have been inside: where is the work now?"""
    state = replace(measured.session.state, tolerance_mm=1.0)
    moved = replace(state, fine=replace(state.fine, remaining_mm=0.01))
    here, _ = advance(state, LeftOut((325, 75), out=True, at_s=1.0))
    there, _ = advance(moved, LeftOut((325, 75), out=True, at_s=1.0))
    assert here.step == "lock"
    assert (there.step, there.note) == ("turns", BEGUN)


def test_from_the_lock_an_arc_that_shows_it_off_leads_back_to_the_moves(measured):
    state = replace(measured.session.state, step="lock")
    after, effects = advance(state, LeftOut((325, 75), out=True, at_s=1.0))
    assert after.step == "moves"
    assert after.fine.corrections == state.fine.corrections + 1
    assert [effect.again for effect in effects] == [True]
    assert advise(after).moves


def test_the_first_turn_of_a_pair_is_found_anew(measured):
    state = measured.session.state
    fine = replace(state.fine, sweeps=state.fine.sweeps[:1], first=object())
    after, effects = advance(
        replace(state, step="turns", fine=fine), LeftOut((325, 75), out=True, at_s=1.0)
    )
    assert "arcs left out" in after.fine.first.flags
    assert effects == ()


def test_a_guide_that_centres_nothing_refuses(measured):
    state = replace(measured.session.state, guide="test-bar", step="turns")
    after, _ = advance(state, LeftOut((325, 75), out=True, at_s=1.0))
    assert (after.left_out, after.note) == ((), NO_CENTRE)


def test_over_a_restart_arcs_stay_and_turns_are_turned_again(measured):
    assert measured.command("leave-out", **LEFT_OUT).ok
    measured.crash()
    measured.open()
    assert (measured.view.step, measured.view.advice.note) == ("turns", RESTARTED)
    assert measured.view.left_out == ((325, 75),)
    state = replace(measured.session.state, step="lock")
    after, _ = advance(state, LeftOut((325, 75), out=False, at_s=1.0))
    assert (after.step, after.note, after.left_out) == ("turns", NO_TURNS, ())


# arcs of whole degrees


@pytest.mark.parametrize("seed", range(3))
def test_arcs_joined_and_taken_apart_are_those_of_a_plain_ring(seed):
    rng, arcs, ring = np.random.default_rng(seed), (), np.zeros(360, dtype=bool)
    for _ in range(60):
        start, wide, out = int(rng.integers(360)), int(rng.integers(1, 120)), rng.random() < 0.5
        ring[np.arange(start, start + wide) % 360] = out
        if ring.all():
            break
        arcs = changed(arcs, (start, (start + wide) % 360), out=bool(out))
        told = [in_arcs(np.radians(deg + 0.5), arcs) for deg in range(360)]
        assert told == ring.tolist()


def test_a_move_is_read_at_the_usual_stop_where_both_count():
    assert (move_stop("x", ()), move_stop("y", ())) == ("right", "back")
    assert move_stop("y", ((60, 86),)) == "front"
    assert move_stop("y", ((60, 80),)) == "back"
