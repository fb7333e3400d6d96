"""The Setup page: start a setup, then walk it; the numbers found stand below the live block."""

import streamlit as st

from setups import GUIDES
from stream.messages import SessionView
from ui.asking import ask
from ui.beside import beside_words
from ui.job_next import next_of_job
from ui.live.component import live_block
from ui.live.wording import show_state
from ui.server import dashboard

JOB, PART, OPERATION = "Lock paddle winding gear", "Gear-case end 1", "Bore 52 mm seat"
SEAT_MM = 52.0
"""What the form holds at first, so that the demo needs no typing."""


def start_page(view: SessionView) -> None:
    """Show the form beside the live picture."""
    form, live = st.columns([1, 1.1])
    with live:
        live_block(key="live-start", revision=view.revision, compact=True)
    with form:
        next_of_job()
        _start_form()


def _start_form() -> None:
    key = st.selectbox(
        "Setup", list(GUIDES), format_func=lambda name: GUIDES[name].title, key="guide"
    )
    guide = GUIDES[key]
    st.caption(guide.purpose)
    with st.form(f"start-{key}", border=False):
        job = st.text_input("Job", JOB, key="job")
        part = st.text_input("Part", PART, key="part")
        operation = st.text_input("Operation", OPERATION, key="operation")
        left, right = st.columns(2)
        tolerance_mm = left.number_input(
            f"Tolerance: {guide.tolerance_words}, within (mm)",
            0.001,
            1.0,
            guide.default_tolerance_mm,
            0.001,
            format="%.3f",
            key=f"tolerance-{key}",
        )
        more: dict[str, float | str] = {}
        if guide.task == "centre":
            more["diameter_mm"] = right.number_input(
                "Diameter of the seat (mm)", 5.0, 1000.0, SEAT_MM, 0.5, key="diameter"
            )
        more |= _for_the_record()
        if not st.form_submit_button("Start this setup", type="primary", width="stretch"):
            return
    if ask(
        "begin",
        guide=key,
        job=job,
        part=part,
        operation=operation,
        tolerance_mm=tolerance_mm,
        **more,
    ):
        st.rerun()


def _for_the_record() -> dict[str, str]:
    """Ask what the report tells and no measurement needs; what is left empty is not kept."""
    with st.expander("For the record"):
        machine = st.text_input("Machine", key="machine")
        source = st.text_input("Where the tolerance comes from", key="tolerance-source")
    given = {"machine": machine, "tolerance_source": source}
    return {name: text for name, text in given.items() if text.strip()}


def step_page(view: SessionView) -> None:
    """Show the live step on one screen, and below it what was found so far."""
    block = live_block(key="live", revision=view.revision, beside=_beside(view))
    if block.wish == "record" and view.setup_id is not None:
        st.session_state.record = view.setup_id
        st.switch_page("pages/page_records.py")
    if block.wish == "another" and view.kind == "done":
        st.session_state.another = view.setup_id
        st.rerun()
    _numbers(view)
    _give_up(view)


def _beside(view: SessionView) -> str:
    """Return datum and the part before, read once a setup: neither changes while it runs."""
    if view.setup_id is None:
        return ""
    kept = st.session_state.get("beside-setup")
    if kept is None or kept[0] != view.setup_id:
        kept = (view.setup_id, beside_words(dashboard().home, view.setup_id))
        st.session_state["beside-setup"] = kept
    return str(kept[1])


def _numbers(view: SessionView) -> None:
    shown = show_state(view)
    if not shown.numbers:
        return
    st.subheader(shown.verdict)
    found, history = st.columns(2)
    found.table(dict(shown.numbers))
    history.markdown("**Corrections so far**")
    for line in shown.history:
        history.text(line)
    for sentence in shown.flags:
        history.text(sentence)


def _give_up(view: SessionView) -> None:
    if view.finished:
        return
    with st.expander("Give this setup up"):
        st.text("It stays in the book as given up; its numbers are kept.")
        if st.button("Yes, give it up", key="give-up") and ask("abandon"):
            st.rerun()


view = dashboard().bridge.view
leaves = view.setup_id is not None and st.session_state.get("another") == view.setup_id
if view.guide is None or (view.finished and leaves):
    start_page(view)
else:
    step_page(view)
