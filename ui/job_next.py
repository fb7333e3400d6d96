"""The one touch on the Setup page that begins what is next of the job planned last."""

import streamlit as st

from readings import BookError
from records import BookReader
from records.job_board import job_board
from records.plans import newest_plans
from ui import records_views as views
from ui.asking import ask
from ui.job_orders import cell_order
from ui.server import dashboard


def next_of_job() -> None:
    """Offer it where a job is planned and something of it is next."""
    try:
        with BookReader.open(dashboard().home) as reader:
            _offer(reader)
    except BookError:
        return  # no book yet, or one that the page of records tells of


def _offer(reader: BookReader) -> None:
    with reader.reading() as connection:
        plans = newest_plans(connection)
        board = job_board(connection, plans[0]) if plans else None
    cell = None if board is None else board.next
    if board is None or cell is None:
        return
    words = f"{cell.part}, {cell.operation.name}"
    label = f"Next of the job: {views.as_typed(words)}"
    touched = st.button(label, key="next-of-job", type="primary", width="stretch", wrap=True)
    if touched and ask("begin", **cell_order(reader, board, cell)):
        st.rerun()
