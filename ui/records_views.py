"""Parts of the Records page: a setup's verdict, photos, numbers and lists, as they are shown."""

from collections.abc import Sequence

import streamlit as st

from records import SetupLine
from records.plain import Json, minute
from records.report.checklists import ListShown
from records.report.content import PhotoShown, SetupReport
from records.report.verdict import STATES
from records.traces import newest_pair
from ui.trace_chart import trace_figure

Rows = Sequence[tuple[str, str]]
NO_FILE = "The file of this photo is missing or not as it was taken: run sparehand records check."


def as_typed(text: str) -> str:
    """Return what a person typed so that a label or a table shows it as typed: no markup."""
    return "".join(f"\\{c}" if c in "\\`*_{}[]()#+-.!|:$~<>" else c for c in text)


def line_label(line: SetupLine) -> str:
    """Return a setup as one line of the list."""
    state = STATES.get(line.state, line.state)
    how = line.verdict if line.state == "finished" and line.verdict else state
    if line.superseded_by is not None:
        how = f"{how}, superseded by {line.superseded_by}"
    what = ", ".join(as_typed(w) for w in (line.part, line.operation) if w)
    title, job = as_typed(line.title), as_typed(line.job)
    return f"{line.id}  ·  {how}  ·  {what}  ·  {title}  ·  {job}, {minute(line.began_utc)[:10]}"


def thumbnail(sha256: str | None) -> None:
    """Show a small photo; nothing where there is none."""
    if sha256 is not None:
        _picture(sha256, "the last photo", "lazy")


def _picture(sha256: str, words: str, loading: str = "eager") -> None:
    # the name is 64 hex digits from the book, the words are ours: nothing that a person typed
    image = f'<img loading="{loading}" alt="{words}" src="/photo/{sha256}">'
    st.html(f'<div class="sh-photo">{image}</div>')


def verdict_part(report: SetupReport) -> None:
    """Show the verdict, its value, and what it means."""
    verdict = report.verdict
    st.subheader(verdict.headline)
    st.text(f"{verdict.value[:1].upper()}{verdict.value[1:]}")
    st.text(f"Tolerance: {verdict.tolerance}")
    if verdict.meaning:
        with st.expander("What this means"):
            st.text(verdict.meaning)
    for remark in report.remarks:
        st.text(remark)


def rows_part(rows: Rows) -> None:
    """Show names and what belongs to them."""
    st.table({as_typed(name): as_typed(value) for name, value in rows})


def beside_part(names: tuple[str, str], left: Rows, right: Rows) -> None:
    """Show two setups' rows in one table, a column each; what one lacks is a dash."""
    here, there = dict(left), dict(right)
    every = list(dict.fromkeys([*here, *there]))
    st.table(
        [
            {
                "": as_typed(name),
                names[0]: as_typed(here.get(name, "–")),
                names[1]: as_typed(there.get(name, "–")),
            }
            for name in every
        ]
    )


def trace_part(setup: Json) -> None:
    """Show the last turns, as the work lies."""
    figure = trace_figure(setup, newest_pair(setup))
    if figure is None:
        st.text("No complete turn was kept.")
        return
    st.markdown("**The last turns, as the work lies, seen from above**")
    st.plotly_chart(figure, key=f"trace-{setup['id']}", config={"displaylogo": False})


def large_photos(photos: Sequence[PhotoShown]) -> None:
    """Show photos two in a row, as large as the page is wide."""
    for row in range(0, len(photos), 2):
        columns = st.columns(2)
        for column, photo in zip(columns, photos[row : row + 2], strict=False):
            with column:
                one_photo(photo)


def one_photo(photo: PhotoShown) -> None:
    """Show one photo with its caption."""
    if photo.path is None:
        st.text(NO_FILE)
    else:
        _picture(photo.path.stem, "a photo of this setup")
    st.text(photo.caption)


def list_part(shown: ListShown) -> None:
    """Show a checklist as it stood."""
    st.markdown(f"**{shown.title}**")
    lines = [f"{'☑' if line.touched else '☐'} {line.text}" for line in shown.lines]
    st.text("\n".join([shown.status, *lines]))
