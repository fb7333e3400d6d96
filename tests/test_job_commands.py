"""A job from the command line: planned, changed, told; begun anew as the plan says."""

import json

import numpy as np
import pytest
from guide_agent import GuideAgent, begun
from paper_scenes import DEPTHS
from paper_works import PaperChuck, PaperPair
from records_kit import measured, open_book, pair_plan
from stream_process import running
from test_jobs import BORE, JOB, PROVE, SECOND, do

from records import BookReader
from records.job_board import job_board
from records.pair_told import pair_told
from records.plans import plan_of
from setups import Measured
from setups.measured import Number
from stream.client import Client
from stream.keeping import plain
from ui.cli import main
from ui.job_orders import board_of, cell_order


@pytest.fixture
def run(tmp_path, capsys):
    """Run `job` on a home; return the exit code, JSON where there is any, and stderr."""

    def call(*arguments):
        code = main(["--home", str(tmp_path), "job", *arguments])
        out, err = capsys.readouterr()
        return code, json.loads(out) if out.startswith(("{", "[")) else out, err

    return call


def test_a_job_is_planned_changed_and_told(run):
    assert run("new", "Gear", "--count", "2", "--pattern", "End {}")[0] == 0
    add = ("add", "Gear", "Bore", "--guide", "centre-bore", "--datum", "back face")
    assert run(*add, "--diameter-mm", "52")[0] == 0
    assert run("add", "Gear", "Bore", "--tolerance-mm", "0.01")[0] == 0
    assert run("add", "Gear", "Tram", "--guide", "tram-head", "--before", "Bore")[0] == 0
    assert run("add", "Gear", "--part", "End 3", "--part", "End 4")[0] == 0
    assert run("drop", "Gear", "--part", "End 3")[0] == 0
    _, told, _ = run("show", "Gear", "--json")
    assert told["parts"] == ["End 1", "End 2", "End 4"]
    assert told["operations"] == ["Tram", "Bore"]
    bore = told["planned"][1]
    assert (bore["datum"], bore["diameter_mm"], bore["tolerance_mm"]) == ("back face", 52.0, 0.01)
    assert told["next"] == {"part": "End 1", "operation": "Tram"}
    assert run("list", "--json")[1][0]["places"] == 6
    assert "Tram on End 1" in run("show", "Gear")[1]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["new", "Gear"], "one part or more"),
        (["new", JOB, "--count", "2"], "has a plan already"),
        (["add", "Nothing", "Bore"], "no plan of a job 'Nothing'"),
        (["add", JOB, "Bore"], "The guide of 'Bore' is missing"),
        (["add", JOB], "Nothing was given"),
        (["add", JOB, "Bore", "--guide", "centre-bore", "--before", "Moon"], "no other operation"),
        (["add", JOB, BORE, "--size", "arm=long"], "is no size"),
        (["drop", JOB, "--operation", "Moon"], "no operation 'Moon'"),
        (["show", "Nothing"], "there are: 'Lock paddle winding gear'"),
        (["next", JOB], "No service runs"),
    ],
)
def test_a_mistake_is_a_sentence(run, tmp_path, arguments, told):
    with open_book(tmp_path) as book:
        book.keep_plan(pair_plan(), None)
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert told in err
    assert err.count("\n") == 1


def test_again_the_command_and_the_board_agree_on_what_is_next(run, tmp_path, capsys):
    """Through a real service: planned there, begun there, with everything filled in."""
    again = ["--home", str(tmp_path), "records", "again"]
    with open_book(tmp_path) as book:
        book.keep_plan(pair_plan(parts=3), None)
        first = do(book, "gear-case end 2")
    with running(tmp_path):
        assert run("add", JOB, BORE, "--machine", "bench mill")[0] == 0
        code, begun, err = run("next", "--json")
        assert (code, begun["part"], begun["operation"]) == (0, "gear-case end 1", BORE), err
        with Client(tmp_path) as client:
            assert client.command("abandon").ok
            assert main([*again, str(first), "--json"]) == 0
            assert json.loads(capsys.readouterr().out)["part"] == "gear-case end 1"
            assert client.command("abandon").ok
    with BookReader.open(tmp_path) as reader:
        kept = reader.show_setup(begun["setup"])
        assert kept["settings"]["datum"] == "back face"
        assert (kept["settings"]["diameter_mm"], kept["machine"]) == (52.0, "bench mill")
        assert kept["again_of_uid"] == reader.show_setup(first)["uid"]


def test_again_says_so_where_another_operation_is_next(tmp_path, capsys):
    with open_book(tmp_path) as book:
        book.keep_plan(pair_plan(), None)
        done = [do(book, part) for part in pair_plan().parts]
    assert main(["--home", str(tmp_path), "records", "again", str(done[0])]) == 2
    assert "the next is second end on gear-case end 1" in capsys.readouterr().err


def test_sizes_are_the_plan_s_and_then_those_given_last(tmp_path):
    with open_book(tmp_path) as book:
        book.keep_plan(pair_plan(), None)
        part = book.ensure_part(JOB, "gear-case end 1")
        settings = {"sizes": {"clearance": 0.5, "plug_tir": 0.002}}
        operation = book.ensure_operation(part, SECOND)
        setup = book.begin_setup(part, "second-end", "", 0.05, settings, operation_id=operation)
        book.finish_setup(setup, {"verdict": "inside"})
    with BookReader.open(tmp_path) as reader:
        board = board_of(reader, JOB)
        order = cell_order(reader, board, board.cells["gear-case end 2", SECOND])
    assert order["sizes"] == {"clearance": 0.008, "plug_tir": 0.002}
    assert order["again_of"] == setup


# ---- the pair


def to_come(bound_mm, known_mm=0.006):
    numbers = (
        Number("coaxiality_bound", "95 % of such", bound_mm, "mm"),
        Number("coaxiality", "known part of it", known_mm, "mm"),
    )
    budget = (("end face square to bore", 0.007), ("plug clearance", 0.003), ("lock", 0.001))
    told = Measured(numbers, "", bound_mm, 0.01, "inside", 0.0, 0.01, budget=budget)
    return {"measured": plain(told), "runs": []}


def proven(size_mm, u_mm=0.002):
    numbers = (Number("bound", "surely", size_mm + 2 * u_mm, "mm"),)
    told = Measured(numbers, "", size_mm, u_mm, "inside", 0.0, 0.01)
    return {"measured": plain(told), "runs": []}


@pytest.fixture
def told(tmp_path):
    """Return a function that keeps what was found on a part and returns what is told of it."""
    with open_book(tmp_path) as book:
        book.keep_plan(pair_plan(), None)

        def tell(*found):
            for operation, body in found:
                do(book, "gear-case end 1", operation, body=body)
            with BookReader.open(tmp_path) as reader, reader.reading() as connection:
                board = job_board(connection, plan_of(connection, JOB))
            return pair_told(board, "gear-case end 1")

        yield tell


def test_before_boring_and_after_the_proof_both_with_uncertainty(told):
    one = told((SECOND, to_come(0.021)))
    assert one.before == "0.021 mm (95 % of such)"
    assert one.known == "0.006 mm of it is known"
    assert "end face square to bore 0.0070 mm, plug clearance 0.0030 mm" in one.weighs
    assert one.missing == (f"not measured yet: {PROVE}",)
    assert one.after == ""
    both = told((PROVE, proven(0.012)))
    assert both.after == "0.0120 ± 0.0040 mm (k = 2)"
    assert both.surely == "surely within 0.016 mm (95 %)"
    assert (both.compared, both.missing) == ("as told beforehand", ())
    assert both.after_verdict.word == "inside"


@pytest.mark.parametrize(
    ("size_mm", "words"),
    [(0.017, "as told"), (0.020, "cannot tell"), (0.026, "more than was told")],
)
def test_the_proof_against_what_was_told(told, size_mm, words):
    one = told((SECOND, to_come(0.021)), (PROVE, proven(size_mm)))
    assert one.compared.startswith(words)


def test_what_the_records_do_not_hold_is_said_and_no_number_stands_for_it(told):
    assert [words.split(":")[0] for words in told().missing] == ["not measured yet"] * 2
    one = told((SECOND, measured("another", 0.02)), (PROVE, {"measured": None}))
    assert (one.before, one.after, one.compared) == ("", "", "")
    assert any("does not hold the zone that is to come" in words for words in one.missing)
    assert any("without a number" in words for words in one.missing)


def test_a_proof_from_before_the_plug_sweep_proves_nothing_of_it(told):
    one = told((PROVE, proven(0.012)), (SECOND, to_come(0.021)))
    assert one.compared == ""
    assert any("older than the sweep on the plug" in words for words in one.missing)


def deeper(work, key):
    if key in DEPTHS:
        work.z_mm, work.on_second = DEPTHS[key], "second" in key


def walked(guide, work, changed=None):
    """What a guide keeps, walked on paper."""
    state = GuideAgent(work, begun(guide), None, changed).run().state
    return {"measured": plain(state.task.found), "runs": []}, state.task.found


def test_what_the_guides_themselves_keep_is_what_is_told(told):
    """The plug swept on paper, the pair proven on paper: through the book to the words."""
    rng = np.random.default_rng(5)
    before, come = walked("second-end", PaperChuck(rng, noise_mm=0.0002))
    held = rng.uniform(-0.1, 0.1, 2)
    pair = PaperPair(
        rng, first=(held, np.zeros(2)), second=(held + 0.004, np.zeros(2)), noise_mm=0.0002
    )
    after, proof = walked("prove-pair", pair, deeper)
    one = told((SECOND, before), (PROVE, after))
    bound_mm = come.number("coaxiality_bound").value
    assert one.before == f"{bound_mm:.3f} mm (95 % of such)"
    assert one.after == f"{proof.size_mm:.4f} ± {2 * proof.u_size_mm:.4f} mm (k = 2)"
    assert one.known
    assert one.weighs
    assert one.compared
    assert one.missing == ()
