"""The pages' own parts, run by Streamlit's test runner: the form, the list, one record."""

import dataclasses
import shutil
import sys
from pathlib import Path

import pytest
from dashboard_stand_in import moving_view
from records_kit import measured, open_book, pair_plan
from streamlit.testing.v1 import AppTest
from test_jobs import JOB, do

import ui
from records import BookReader, book_path
from records.tables import FORMAT
from stream.job_desk import plan_order
from stream.messages import Answer, SessionView
from ui import server
from ui.beside import beside_words
from ui.job_orders import board_of
from ui.job_views import board_shown
from ui.server import Dashboard

PAGES = Path(ui.__file__).parent / "pages"
DATA = Path(__file__).parent / "data"


class StubBridge:
    def __init__(self, view):
        self.view = view
        self.commands = []
        self.answer = Answer(ok=True, said="done")

    def command_now(self, name, **args):
        self.commands.append((name, args))
        return self.answer


@pytest.fixture
def serve(tmp_path, monkeypatch):
    """Return a function that runs a page over a stub of the bridge."""
    # the test runner leaves the page as __main__, which processes started later would run anew
    monkeypatch.setitem(sys.modules, "__main__", sys.modules["__main__"])

    def run(page, view=None):
        bridge = StubBridge(view or SessionView(1))
        server._RUNNING.append(Dashboard(tmp_path, bridge))
        shown = AppTest.from_file(str(PAGES / page), default_timeout=20).run()
        assert not shown.exception
        return shown, bridge

    yield run
    server._RUNNING.clear()


@pytest.fixture
def kept_book(tmp_path):
    shutil.copy(DATA / f"book_v{FORMAT}.sqlite3", book_path(tmp_path))
    shutil.copytree(DATA / f"book_v{FORMAT}_photos", tmp_path / "photos")


def test_a_setup_begins_without_typing(serve):
    page, bridge = serve("page_setup.py")
    page.button[0].click().run()
    assert not page.exception
    assert bridge.commands == [
        (
            "begin",
            {
                "guide": "centre-bore",
                "job": "Lock paddle winding gear",
                "part": "Gear-case end 1",
                "operation": "Bore 52 mm seat",
                "tolerance_mm": 0.005,
                "diameter_mm": 52.0,
            },
        )
    ]


def test_machine_and_source_of_the_tolerance_go_on_record(serve):
    page, bridge = serve("page_setup.py")
    page.text_input(key="machine").set_value("bench mill")
    page.text_input(key="tolerance-source").set_value("drawing LP-14")
    page.button[0].click().run()
    order = bridge.commands[0][1]
    assert (order["machine"], order["tolerance_source"]) == ("bench mill", "drawing LP-14")


def test_what_the_service_refuses_is_shown_as_its_sentence(serve):
    page, bridge = serve("page_setup.py")
    bridge.answer = Answer(ok=False, said="job is '': give it a name of 1 to 200 characters.")
    page.text_input(key="job").set_value("")
    page.button[0].click().run()
    assert page.error[0].value == bridge.answer.said


def test_a_running_setup_can_be_given_up_and_no_form_is_shown(serve):
    page, bridge = serve("page_setup.py", moving_view())
    assert not page.text_input
    page.button(key="give-up").click().run()
    assert bridge.commands == [("abandon", {})]


def test_an_empty_home_says_that_there_is_no_book_yet(serve):
    page, _ = serve("page_records.py")
    assert "no record book" in page.info[0].value


def test_the_list_opens_a_record_and_closes_it(serve, kept_book):
    page, _ = serve("page_records.py")
    labels = [button.label for button in page.button]
    assert [label[0] for label in labels] == ["5", "4", "3", "2", "1"]
    assert "gear" in labels[4]
    assert "outside, superseded by 2" in labels[4]
    assert "under way" in labels[1]
    page.button(key="open-1").click().run()
    assert not page.exception
    assert page.header[0].value == "Setup 1: Centre the spindle on a bore"
    assert page.subheader[0].value == "OUTSIDE the tolerance of 0.010 mm"
    shown = [text.value for text in page.text]
    assert "Tolerance: 0.010 mm (the owner's drawing)" in shown
    assert any("superseded by setup 2" in text for text in shown)
    assert any(text.startswith("not completed: 1 of 4") for text in shown)
    page.button(key="all-records").click().run()
    assert [button.label for button in page.button] == labels


def test_setups_are_looked_for_without_typing(serve, kept_book):
    page, _ = serve("page_records.py")
    page.selectbox(key="part-wanted").set_value("gear-case end 2").run()
    assert [button.label[0] for button in page.button] == ["4", "3"]
    page.selectbox(key="verdict-wanted").set_value("outside").run()
    assert [button.label for button in page.button] == []
    assert page.subheader[0].value == "No setup is like that."


def test_one_leafs_to_the_setups_before_and_after(serve, kept_book):
    page, _ = serve("page_records.py")
    page.button(key="open-4").click().run()
    page.button(key="later").click().run()
    assert page.header[0].value.startswith("Setup 5:")
    assert page.button(key="later").disabled
    for number in "4321":
        page.button(key="earlier").click().run()
        assert page.header[0].value.startswith(f"Setup {number}:")
    assert page.button(key="earlier").disabled
    assert not page.exception


def test_two_setups_stand_side_by_side(serve, kept_book):
    page, _ = serve("page_records.py")
    page.button(key="open-1").click().run()
    beside = page.selectbox(key="beside-of-1")
    assert [option[0] for option in beside.options] == ["c", "5", "4", "3", "2"]
    beside.select_index(4).run()
    assert not page.exception
    assert [head.value for head in page.header] == [
        "Setup 1: gear-case end 1",
        "Setup 2: gear-case end 1",
    ]
    assert [head.value for head in page.subheader] == [
        "OUTSIDE the tolerance of 0.010 mm",
        "INSIDE the tolerance of 0.010 mm",
    ]
    table = page.table[0].value
    assert list(table.columns) == ["", "Setup 1", "Setup 2"]
    machine = table[table[""] == "Machine"]
    assert machine.iloc[0].tolist()[1:] == ["–", "bench mill"]
    page.button(key="one-alone").click().run()
    assert page.header[0].value.startswith("Setup 1:")


def test_the_same_setup_begins_for_the_next_part(serve, kept_book):
    page, bridge = serve("page_records.py")
    page.button(key="open-2").click().run()
    assert page.button(key="again").label == "Again for gear\\-case end 2"
    page.button(key="again").click().run()
    ((name, order),) = bridge.commands
    assert (name, order["part"], order["again_of"]) == ("begin", "gear-case end 2", 2)
    assert order["machine"] == "bench mill"
    assert page.success[0].value == "done Go on at Setup."
    bridge.answer = Answer(ok=False, said="A setup is running: finish it first.")
    page.button(key="again").click().run()
    assert page.error[0].value == bridge.answer.said


def test_photos_that_are_gone_are_told_and_the_rest_is_shown(serve, kept_book, tmp_path):
    shutil.rmtree(tmp_path / "photos")
    page, _ = serve("page_records.py")
    page.button(key="open-1").click().run()
    assert not page.exception
    assert any("run sparehand records check" in text.value for text in page.text)


def test_the_machine_is_followed_on_the_page(serve, tmp_path):
    with open_book(tmp_path) as book:
        for lean_mm in (0.01, 0.014, 0.018):
            part = book.ensure_part("machines", "bench mill")
            setup = book.begin_setup(part, "tram-head", "Tram", 0.02, {}, machine="bench mill")
            book.add_result(setup, "tram", 1, measured("lean_x", lean_mm, unit="mm per 300"))
            book.finish_setup(setup, {"verdict": "inside"})
    page, _ = serve("page_records.py")
    page.toggle(key="months").set_value(True).run()
    assert page.selectbox(key="machine-followed").options == ["all", "bench mill"]
    assert any("Head leans to the right" in one.value for one in page.markdown)
    assert any("more than its scatter" in one.value for one in page.text)
    page.selectbox(key="machine-followed").set_value("bench mill").run()
    assert not page.exception


# ---- the Job page


@pytest.fixture
def planned(tmp_path):
    """A plan of two parts, the first operation of the first of them done."""
    with open_book(tmp_path) as book:
        book.keep_plan(pair_plan(JOB), None)
        do(book, "gear-case end 1")


def test_a_job_is_planned_without_typing(serve):
    page, bridge = serve("page_job.py")
    page.button[0].click().run()
    assert not page.exception
    ((name, order),) = bridge.commands
    assert (name, order["job"], order["after"]) == ("plan", "Lock paddle winding gear", None)
    assert list(order["parts"]) == [f"Gear-case end {n}" for n in range(1, 5)]
    plan, _ = plan_order(order)
    guides = [operation.guide for operation in plan.operations]
    assert guides == ["centre-bore", "centre-plug", "second-end", "prove-pair"]


def test_a_plan_is_changed_on_the_page(serve, planned):
    page, bridge = serve("page_job.py")
    page.text_input(key="datum-1-bore the 52 mm seat-centre-bore").set_value("the joint face")
    page.button[0].click().run()
    assert not page.exception
    plan, after = plan_order(bridge.commands[0][1])
    assert after == 1
    assert plan.operations[0] == dataclasses.replace(
        pair_plan().operations[0], datum="the joint face"
    )
    assert plan.operations[1:] == pair_plan().operations[1:]


def test_the_next_of_the_job_begins_on_the_setup_page_by_one_touch(serve, planned):
    page, bridge = serve("page_setup.py")
    button = page.button(key="next-of-job")
    assert "gear\\-case end 2, bore the 52 mm seat" in button.label
    button.click().run()
    ((name, order),) = bridge.commands
    assert name == "begin"
    assert (order["part"], order["operation"]) == ("gear-case end 2", "bore the 52 mm seat")
    assert (order["datum"], order["diameter_mm"], order["again_of"]) == ("back face", 52.0, 1)


def test_the_grid_tells_states_numbers_and_what_is_not_inside(tmp_path, planned):
    with open_book(tmp_path, first_uid=50) as book:
        do(book, "gear-case end 2", verdict="outside", tolerance_mm=0.02)
    with BookReader.open(tmp_path) as reader:
        board = board_of(reader, JOB)
    shown = board_shown(board, running=False)
    first, second = (row["cells"][0] for row in shown["rows"])
    assert (first["state"], first["number"]) == ("inside", "0.0030 mm")
    assert first["spread"] == "±\u00a00.0010\u00a0mm (k\u00a0=\u00a02)"
    assert (second["word"], second["remark"]) == ("OUTSIDE", "held to 0.020 mm")
    assert shown["rows"][0]["cells"][1]["state"] == "next"
    assert shown["progress"] == "2 of 6 done, 1 of them not inside."
    assert shown["begin"]["wish"] == "begin"
    assert board_shown(board, running=True)["begin"]["wish"] == ""


def test_the_part_before_stands_beside_with_its_numbers(tmp_path, planned):
    with open_book(tmp_path, first_uid=50) as book:
        part = book.ensure_part(JOB, "gear-case end 2")
        operation = book.ensure_operation(part, "bore the 52 mm seat")
        settings = {"datum": "back face"}
        setup = book.begin_setup(part, "centre-bore", "", 0.01, settings, operation_id=operation)
    words = beside_words(tmp_path, setup)
    assert words.startswith("Datum: back face. Part before, gear-case end 1: off centre 0.0030 ±")
    assert "0.003 mm right" in words
    assert words.endswith("inside.")
    assert beside_words(tmp_path, 1) == ""
    assert beside_words(tmp_path / "no home", 1) == ""
