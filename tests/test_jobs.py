"""A job: its plan kept and changed, what is done of it, what comes next, the part before."""

import dataclasses
from datetime import timedelta

import pytest
from records_kit import START, VERSION, TickingClock, centred, measured, open_book, pair_plan

from readings import BadInputError
from records import BookReader, check_book
from records.exporting import export_job
from records.importing import import_job
from records.job_board import job_board, part_before
from records.plans import newest_plans, plan_of
from setups.jobs import next_place
from stream.job_desk import plan_order

JOB = "Lock paddle winding gear"
BORE, SECOND, PROVE = "bore the 52 mm seat", "second end", "prove both seats"


def do(book, part, operation=BORE, *, verdict="inside", body=None, tolerance_mm=None, end=True):
    """Begin a setup of the plan and, unless it is left in hand, finish it."""
    planned = pair_plan().operation(operation)
    part_id = book.ensure_part(JOB, part)
    setup = book.begin_setup(
        part_id,
        planned.guide,
        planned.guide,
        tolerance_mm or planned.tolerance_mm,
        {},
        operation_id=book.ensure_operation(part_id, operation),
    )
    if end:
        body = body or centred(0.003, verdict=verdict, locked=True)
        book.add_result(setup, "centring", 1, body)
        book.finish_setup(setup, {"verdict": verdict})
    return setup


def board_of(home, job=JOB):
    with BookReader.open(home) as reader, reader.reading() as connection:
        return job_board(connection, plan_of(connection, job))


@pytest.fixture
def book(tmp_path):
    with open_book(tmp_path) as book:
        book.keep_plan(pair_plan(), None)
        yield book


def at(cell):
    return None if cell is None else (cell.part, cell.operation.name)


def test_a_batch_takes_one_operation_after_another_or_each_part_through_all():
    plan = pair_plan()
    first, second = plan.parts
    assert next_place(plan, {}) == (first, BORE)
    assert next_place(plan, {(first, BORE): "done"}) == (second, BORE)
    assert next_place(plan, {(first, BORE): "in hand"}) == (second, BORE)
    by_part = dataclasses.replace(plan, part_by_part=True)
    assert next_place(by_part, {(first, BORE): "done"}) == (first, SECOND)
    assert next_place(plan, dict.fromkeys(plan.places(), "done")) is None


def test_what_is_done_in_hand_and_next(book, tmp_path):
    assert at(board_of(tmp_path).next) == ("gear-case end 1", BORE)
    done = do(book, "gear-case end 1")
    in_hand = do(book, "gear-case end 2", end=False)
    board = board_of(tmp_path)
    one, two = (board.cells[f"gear-case end {n}", BORE] for n in (1, 2))
    assert (one.state, one.setup_id, two.state, two.setup_id) == ("done", done, "in hand", in_hand)
    assert one.verdict.word == "inside"
    assert one.verdict.value == "off centre 0.0030 ± 0.0010 mm (k = 2)"
    assert at(board.in_hand) == ("gear-case end 2", BORE)
    assert at(board.next) == ("gear-case end 1", SECOND)
    assert (board.done, board.not_inside) == (1, ())


def test_given_up_superseded_and_another_guide_count_for_nothing(book, tmp_path):
    book.abandon_setup(do(book, "gear-case end 1", end=False), "cracked")
    assert at(board_of(tmp_path).next) == ("gear-case end 1", BORE)
    first, again = do(book, "gear-case end 1"), do(book, "gear-case end 1", verdict="outside")
    book.supersede(again, do(book, "gear-case end 2"), "another part was swept")
    assert board_of(tmp_path).cells["gear-case end 1", BORE].setup_id == first
    part = book.ensure_part(JOB, "gear-case end 1")
    operation = book.ensure_operation(part, SECOND)
    stray = book.begin_setup(part, "tram-head", "Tram", 0.02, {}, operation_id=operation)
    book.finish_setup(stray, {"verdict": "inside"})
    board = board_of(tmp_path)
    assert board.cells["gear-case end 1", SECOND].state == "not yet"
    assert board.outside == 1


def test_what_is_not_inside_or_was_held_to_more_is_told(book, tmp_path):
    do(book, "gear-case end 1", verdict="outside")
    do(book, "gear-case end 2", tolerance_mm=0.02)
    board = board_of(tmp_path)
    assert [at(cell) for cell in board.not_inside] == [("gear-case end 1", BORE)]
    assert board.cells["gear-case end 1", BORE].looser_mm is None
    assert board.cells["gear-case end 2", BORE].looser_mm == 0.02


def test_the_same_setup_of_the_part_before(book, tmp_path):
    first = do(book, "gear-case end 1")
    do(book, "gear-case end 1", SECOND, body=measured("coaxiality_bound", 0.02))
    second, third = do(book, "gear-case end 2"), do(book, "gear-case end 3", end=False)
    with BookReader.open(tmp_path) as reader, reader.reading() as connection:
        assert part_before(connection, first) is None
        assert part_before(connection, second).id == first
        assert part_before(connection, third).id == second
        assert board_of(tmp_path).last_of(BORE, but="gear-case end 2").setup_id == first


def test_a_plan_is_changed_only_by_who_saw_the_newest(book, tmp_path):
    with pytest.raises(BadInputError, match="has a plan already"):
        book.keep_plan(pair_plan(), None)
    longer = pair_plan(parts=4)
    newest = book.keep_plan(longer, 1)
    with pytest.raises(BadInputError, match="was changed meanwhile"):
        book.keep_plan(pair_plan(parts=3), 1)
    with BookReader.open(tmp_path) as reader, reader.reading() as connection:
        assert [(one.id, one.plan) for one in newest_plans(connection)] == [(newest, longer)]
    assert check_book(tmp_path) == []


def test_a_plan_goes_with_its_job_into_another_book(book, tmp_path):
    do(book, "gear-case end 1")
    book.keep_plan(pair_plan(parts=3), 1)
    with BookReader.open(tmp_path) as reader:
        export_job(reader, JOB, tmp_path / "job.zip", exported_utc="", program_version=VERSION)
    there = tmp_path / "there"
    with open_book(there, TickingClock(START + timedelta(days=1)), first_uid=500) as other:
        import_job(other, tmp_path / "job.zip")
        assert board_of(there).kept.plan == pair_plan(parts=3)
        changed = other.keep_plan(pair_plan(parts=5), board_of(there).kept.id)
        import_job(other, tmp_path / "job.zip")  # older plans do not come back
    assert board_of(there).kept.id == changed
    assert check_book(there) == []


OPERATION = {"name": BORE, "guide": "centre-bore", "tolerance_mm": 0.01, "diameter_mm": 52.0}


def test_a_command_s_plan_is_what_is_kept():
    args = {"job": " Lock  gear ", "parts": ["End 1"], "operations": [OPERATION], "after": 3}
    plan, after = plan_order(args)
    assert (plan.job, plan.parts, after) == ("Lock gear", ("End 1",), 3)
    assert plan.operations[0].diameter_mm == 52.0


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"job": ""}, "job is ''"),
        ({"parts": []}, "one part or more"),
        ({"parts": "End 1"}, "parts is 'End 1'"),
        ({"parts": ["End 1", "End 1"]}, "'End 1' stands twice"),
        ({"operations": [OPERATION, OPERATION]}, "stands twice"),
        ({"operations": [{**OPERATION, "guide": "centre-moon"}]}, "There is no guide"),
        ({"operations": [{**OPERATION, "tolerance_mm": -1}]}, "tolerance_mm is -1"),
        ({"operations": [{**OPERATION, "sizes": {"arm": 1.0}}]}, "asks for none"),
        ({"operations": [7]}, "An operation is 7"),
        ({"after": "newest"}, "after is 'newest'"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_with_a_sentence(change, told):
    with pytest.raises(BadInputError, match=told):
        plan_order({"job": JOB, "parts": ["End 1"], "operations": [OPERATION], **change})
