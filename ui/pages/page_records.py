"""The Records page: the book leafed through, one setup whole, two side by side."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from readings import BadInputError, BookError
from records import BookReader, Wanted
from records.plain import Json, utc_text
from records.report.content import SetupReport, setup_report
from records.trends import TREND_LABELS, by_key, trend_line, trend_points
from setups import GUIDES
from ui import records_views as views
from ui.records_again import next_order
from ui.records_trends import NOTHING_FOLLOWED, line_words
from ui.server import dashboard
from ui.trend_chart import trend_figure

if TYPE_CHECKING:
    from records.report.making import Report

EVERY, MOST_NAMES, A_PAGE = "all", 1000, 25
VERDICTS = ("inside", "outside", "cannot tell")


def list_page(reader: BookReader) -> None:
    """Show the setups that are wanted, the newest first, one broad button each."""
    known = reader.list_setups(wanted=Wanted(limit=MOST_NAMES))
    if not known:
        st.subheader("The book is empty: the first setup begins it.")
        return
    wanted = _wanted(list(dict.fromkeys(line.part for line in known)))
    lines = reader.list_setups(wanted=wanted)
    photos = reader.last_photos([line.id for line in lines])
    if not lines:
        st.subheader("No setup is like that.")
    for line in lines:
        picture, words = st.columns([1, 6], vertical_alignment="center")
        with picture:
            views.thumbnail(photos.get(line.id))
        label = views.line_label(line)
        if words.button(label, key=f"open-{line.id}", width="stretch", wrap=True):
            _open(line.id)
    _over_the_months(reader)
    if len(lines) == A_PAGE:
        st.text(f"These are the newest {A_PAGE}: choose a part, a setup or a verdict for others.")


def _over_the_months(reader: BookReader) -> None:
    """Show how the machine changes, where it is asked for: every result is looked through."""
    if not st.toggle("The machine over the months", key="months"):
        return
    with reader.reading() as connection:
        points = trend_points(connection, None)
    if not points:
        st.text(NOTHING_FOLLOWED)
        return
    machines = list(dict.fromkeys(point.machine for point in points if point.machine))
    machine = st.selectbox("Machine", [EVERY, *machines], key="machine-followed")
    chosen = [point for point in points if machine in (EVERY, point.machine)]
    for key, some in by_key(chosen).items():
        label = TREND_LABELS[key]
        st.markdown(f"**{label[:1].upper()}{label[1:]}**")
        config = {"displaylogo": False}
        st.plotly_chart(trend_figure(some), key=f"trend-{key}", config=config)
        st.text(line_words(trend_line(some)))


def _wanted(parts: list[str]) -> Wanted:
    """Ask what is looked for; nothing needs to be typed."""
    columns = st.columns(3)
    part = columns[0].selectbox("Part", [EVERY, *parts], key="part-wanted")
    guide = columns[1].selectbox(
        "Setup",
        [EVERY, *GUIDES],
        format_func=lambda key: GUIDES[key].title if key in GUIDES else EVERY,
        key="guide-wanted",
    )
    verdict = columns[2].selectbox("Verdict", [EVERY, *VERDICTS], key="verdict-wanted")
    return Wanted(limit=A_PAGE, part=_if_one(part), guide=_if_one(guide), verdict=_if_one(verdict))


def _if_one(chosen: str) -> str | None:
    return None if chosen == EVERY else chosen


def _open(setup_id: int | None) -> None:
    """Turn the leaf: to a setup, or (None) back to the list."""
    st.session_state.pop("beside", None)
    if setup_id is None:
        st.session_state.pop("record", None)
    else:
        st.session_state.record = setup_id
    st.rerun()


def record_page(reader: BookReader, setup_id: int) -> None:
    """Show one setup whole: the photos first, and large."""
    setup = reader.show_setup(setup_id)
    report = setup_report(setup)
    _leaf(reader, setup_id)
    st.header(f"Setup {report.id}: {report.title}")
    st.text(report.heading)
    views.verdict_part(report)
    views.large_photos(report.photos[-2:])
    numbers, chart = st.columns(2)
    with numbers:
        views.rows_part(report.numbers)
    with chart:
        views.trace_part(setup)
    _found_and_moved(report)
    _kept_with(report)
    _checklists(report)
    if len(report.photos) > 2:
        st.subheader("Photos of the beginning")
        views.large_photos(report.photos[:-2])
    _take_along(reader, setup)


def _leaf(reader: BookReader, setup_id: int) -> None:
    """Offer the list, the setups before and after, and another of the same kind beside."""
    back, earlier, later = st.columns(3)
    if back.button("All records", key="all-records", width="stretch"):
        _open(None)
    before, after = reader.neighbours(setup_id)
    if earlier.button("Earlier", key="earlier", width="stretch", disabled=before is None):
        _open(before)
    if later.button("Later", key="later", width="stretch", disabled=after is None):
        _open(after)
    alike = [line for line in reader.alike(setup_id) if line.id != setup_id]
    if not alike:
        return
    key = f"beside-of-{setup_id}"
    st.selectbox(
        "Beside",
        [None, *alike],
        format_func=lambda line: "choose one" if line is None else views.line_label(line),
        key=key,
        on_change=_lay_beside,
        args=(key,),
    )


def _lay_beside(key: str) -> None:
    """Set the chosen setup beside, and forget the choice: turned back, it is chosen anew."""
    chosen = st.session_state[key]
    if chosen is not None:
        st.session_state.beside = chosen.id
        st.session_state[key] = None


def _found_and_moved(report: SetupReport) -> None:
    if report.rounds:
        st.subheader("What was found, and what was moved")
        st.text("\n".join(report.rounds))


def _kept_with(report: SetupReport) -> None:
    st.subheader("Made with")
    instruments = [
        (one.kind, f"{one.words}; {one.check}" if one.check else one.words)
        for one in report.instruments
    ]
    views.rows_part([*instruments, *report.sizes, *report.facts])


def _checklists(report: SetupReport) -> None:
    st.subheader("Checklists")
    for column, shown in zip(st.columns(len(report.checklists)), report.checklists, strict=True):
        with column:
            views.list_part(shown)


def _take_along(reader: BookReader, setup: Json) -> None:
    """Offer the report, and the same setup for the next part."""
    st.subheader("To take along")
    paper, page, again = st.columns(3)
    setup_id, home = setup["id"], reader.home
    paper.download_button(
        "Report to print",
        lambda: _report(home, setup_id).pdf,
        file_name=f"setup-{setup_id}.pdf",
        mime="application/pdf",
        on_click="ignore",
        width="stretch",
    )
    page.download_button(
        "Report as a page",
        lambda: _report(home, setup_id).html,
        file_name=f"setup-{setup_id}.html",
        mime="text/html",
        on_click="ignore",
        width="stretch",
    )
    with again:
        _again(reader, setup)


def _report(home: Path, setup_id: int) -> "Report":
    """Make the report when it is asked for; the page itself needs no drawing."""
    from records.report.making import report_of_setup

    with BookReader.open(home) as reader:
        return report_of_setup(reader, setup_id, made_utc=utc_text(datetime.now(UTC)))


def _again(reader: BookReader, setup: Json) -> None:
    try:
        order = next_order(reader, setup)
    except BadInputError:
        return  # another operation is next, or the name has no number: the pages Job and Setup ask
    if not st.button(f"Again for {views.as_typed(order['part'])}", key="again", width="stretch"):
        return
    answer = dashboard().bridge.command_now("begin", **order)
    if answer.ok:
        st.success(f"{answer.said} Go on at Setup.")
    else:
        st.error(answer.said)


def two_page(reader: BookReader, setup_id: int, beside_id: int) -> None:
    """Show two setups side by side: verdicts, photos, numbers, traces, checklists."""
    setups = [reader.show_setup(one) for one in (setup_id, beside_id)]
    reports = [setup_report(setup) for setup in setups]
    if st.button("One alone", key="one-alone", width="stretch"):
        _open(setup_id)
    for column, setup, report in zip(st.columns(2), setups, reports, strict=True):
        with column:
            st.header(f"Setup {report.id}: {setup['part']}")
            st.text(f"{report.title}, {report.heading}")
            views.verdict_part(report)
            for photo in report.photos[-1:]:
                views.one_photo(photo)
            views.trace_part(setup)
            for shown in report.checklists:
                st.text(f"{shown.title}: {shown.status}")
    names = (f"Setup {setup_id}", f"Setup {beside_id}")
    left, right = ([*report.numbers, *report.sizes, *report.facts] for report in reports)
    views.beside_part(names, left, right)


try:
    with BookReader.open(dashboard().home) as book:
        if "record" not in st.session_state:
            list_page(book)
        elif "beside" in st.session_state:
            two_page(book, st.session_state.record, st.session_state.beside)
        else:
            record_page(book, st.session_state.record)
except (BookError, BadInputError) as error:
    st.session_state.pop("record", None)
    st.session_state.pop("beside", None)
    st.info(str(error))
