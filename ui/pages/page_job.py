"""The Job page: parts against operations, what is done and what is next, one touch begins it."""

import streamlit as st

from readings import BadInputError, BookError
from records import BookMissingError, BookReader
from records.job_board import Board, job_board
from records.plans import newest_plans
from ui.asking import ask
from ui.job_block import job_block
from ui.job_forms import change_form, new_form
from ui.job_orders import cell_order
from ui.job_views import board_shown
from ui.server import dashboard


def job_page(reader: BookReader) -> None:
    """Show the job in hand, or the last one planned; others by choice."""
    with reader.reading() as connection:
        plans = newest_plans(connection)
    if not plans:
        empty_page()
        return
    names = [kept.plan.job for kept in plans]
    name = _chosen(names)
    with reader.reading() as connection:
        board = job_board(connection, plans[names.index(name)])
    view = dashboard().bridge.view
    running = view.guide is not None and not view.finished
    touched = job_block(board_shown(board, running=running), key="job").wish
    if touched:
        _do(reader, board, touched["what"], touched["value"])
    with st.expander("Change the plan"):
        change_form(board)
    with st.expander("Plan another job"):
        new_form(names)


def _chosen(names: list[str]) -> str:
    """Return the job on show; asked only where there are several."""
    if len(names) == 1:
        return names[0]
    in_hand = dashboard().bridge.view.job
    first = names.index(in_hand) if in_hand in names else 0
    return st.selectbox("Job", names, index=first, key="job-shown")


def _do(reader: BookReader, board: Board, what: str, value: object) -> None:
    """Do what was touched in the grid."""
    if what == "record":
        st.session_state.record = value
        st.session_state.pop("beside", None)
        st.switch_page("pages/page_records.py")
    if what == "begin" and isinstance(value, dict):
        cell = board.cells.get((value.get("part", ""), value.get("operation", "")))
        if cell is None or not ask("begin", **cell_order(reader, board, cell)):
            return
    st.switch_page("pages/page_setup.py")


def empty_page() -> None:
    """Say what a job is, and ask for the first."""
    st.header("No job is planned yet")
    st.text(
        "A job is a batch of parts and the operations each of them goes through, in order, with "
        "datum and tolerance. Planned once, each setup then begins by one touch."
    )
    new_form([])


try:
    with BookReader.open(dashboard().home) as book:
        job_page(book)
except BookMissingError:
    empty_page()
except (BookError, BadInputError) as error:
    st.info(str(error))
