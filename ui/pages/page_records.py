"""The Records page: the book's setups, and one of them whole."""

import msgspec
import streamlit as st

from readings import (
    BadInputError,
    BookError,
    flag_sentence,
    format_length,
    format_with_uncertainty,
)
from records import BookReader, SetupLine
from records.plain import Json, minute
from records.traces import newest_pair
from setups import CHECKLISTS, Found
from setups.words import VERDICT_WORDS, history_line, number_rows
from ui.server import dashboard
from ui.trace_chart import trace_figure

MOST_FACTS = 4
STATES = {"open": "under way", "finished": "finished", "abandoned": "given up"}


def list_page(reader: BookReader) -> None:
    """Show the newest setups, one broad button each."""
    lines = reader.list_setups(limit=50)
    if not lines:
        st.subheader("The book is empty: the first setup begins it.")
    for line in lines:
        if st.button(_label(line), key=f"open-{line.id}", width="stretch"):
            st.session_state.record = line.id
            st.rerun()


def _label(line: SetupLine) -> str:
    verdict = f": {line.verdict}" if line.verdict else ""
    what = ", ".join(_plain(w) for w in (line.job, line.part, line.operation) if w)
    state = STATES.get(line.state, line.state)
    return f"{line.id}  ·  {what}  ·  {state}{verdict}  ·  {minute(line.began_utc)}"


def _plain(text: str) -> str:
    """Return what a person typed so that a label shows it as typed: no markup."""
    return "".join(f"\\{c}" if c in "\\`*_{}[]()#+-.!|:$~<>" else c for c in text)


def record_page(reader: BookReader, setup_id: int) -> None:
    """Show one setup whole."""
    setup = reader.show_setup(setup_id)
    if st.button("All records", key="all-records"):
        del st.session_state.record
        st.rerun()
    st.header(f"Setup {setup['id']}: {setup['title']}")
    parts = (setup["job"], setup["part"], setup["operation"] or "")
    st.text(", ".join(part for part in parts if part))
    found = [one for result in setup["results"] if (one := _found(result)) is not None]
    _verdict(setup, found)
    numbers, chart = st.columns(2)
    with numbers:
        _numbers(setup, found)
    with chart:
        _chart(setup)
    _photos(setup)
    _history(setup, found)
    _ticks(setup)


def _found(result: Json) -> Found | None:
    """Return the numbers of a pair of turns, None for other results and other forms of them."""
    try:
        return msgspec.convert(result["body"]["found"], Found)
    except (KeyError, msgspec.ValidationError):
        return None


def _verdict(setup: Json, found: list[Found]) -> None:
    state = STATES.get(setup["state"], setup["state"])
    within = format_length(setup["tolerance_mm"]) if setup["tolerance_mm"] else "not stated"
    word = found[-1].verdict if found else setup["verdict"]
    if word is None:
        st.subheader(f"No verdict; tolerance {within}")
    else:
        st.subheader(f"{VERDICT_WORDS.get(word, word)} of {within}")
    if found:
        last = found[-1]
        off = format_with_uncertainty(last.eccentricity_mm, last.u_eccentricity_mm)
        st.text(f"Off centre {off}.")
    st.text(f"Setup {state}, {minute(setup['ended_utc'] or setup['began_utc'])}")
    if setup["superseded_by"] is not None:
        st.text(f"Superseded by setup {setup['superseded_by']}: that one counts.")


def _numbers(setup: Json, found: list[Found]) -> None:
    if found:
        st.table(dict(number_rows(found[-1])))
        for name in found[-1].flags:
            st.text(flag_sentence(name))
    facts = {"Begun": minute(setup["began_utc"]), "Ended": minute(setup["ended_utc"])}
    for instrument in setup["instruments"]:
        facts[instrument["kind"].capitalize()] = _in_words(instrument["body"])
    facts["Program"] = str(setup["program_version"])
    st.table(facts)


def _in_words(body: Json) -> str:
    """Return the first few plain facts about an instrument."""
    plain = [(k, v) for k, v in body.items() if isinstance(v, str | int | float)]
    words = (
        f"{k.replace('_', ' ')} {v:.6g}" if isinstance(v, float) else f"{k.replace('_', ' ')} {v}"
        for k, v in plain
    )
    return ", ".join(list(words)[:MOST_FACTS])


def _chart(setup: Json) -> None:
    figure = trace_figure(setup, newest_pair(setup))
    if figure is None:
        st.text("No complete turn was kept.")
        return
    st.markdown("**The last turns, as the work lies, seen from above**")
    st.plotly_chart(figure, key=f"trace-{setup['id']}", config={"displaylogo": False})


def _photos(setup: Json) -> None:
    photos = setup["photos"]
    if not photos:
        return
    st.subheader("Photos")
    columns = st.columns(2)
    for number, photo in enumerate(photos):
        with columns[number % 2]:
            _photo(photo)


def _photo(photo: Json) -> None:
    kind = "as it was" if photo["kind"] == "raw" else "with what was read"
    if photo["there"]:
        # the name is 64 hex digits from the book: nothing that a person typed
        st.html(f'<div class="sh-photo"><img alt="{kind}" src="/photo/{photo["sha256"]}"></div>')
    else:
        st.text("The file of this photo is missing: run sparehand records check.")
    st.text(f"{photo['caption']}, {kind}")


def _history(setup: Json, found: list[Found]) -> None:
    st.subheader("Sweeps and corrections")
    for number, one in enumerate(found, start=1):
        st.text(history_line(number, one))
    st.table(
        [
            {
                "Sweep": sweep["id"],
                "Purpose": sweep["purpose"],
                "Turning, seen from above": sweep["sense"] or "not known",
                "State": sweep["state"],
                "Samples": sweep["count"],
                "Refused": sweep["refused"],
                "What stood out": " ".join(flag_sentence(name) for name in sweep["flags"]),
            }
            for sweep in setup["sweeps"]
        ]
    )


def _ticks(setup: Json) -> None:
    if not setup["ticks"]:
        return
    st.subheader("Checklists as touched")
    st.table(
        [
            {
                "When": minute(tick["at_utc"]),
                "Line": _line_text(tick["list_name"], tick["line_id"]),
                "Who": tick["who"],
                "Mark": "ticked" if tick["ticked"] else "taken back",
            }
            for tick in setup["ticks"]
        ]
    )


def _line_text(checklist: str, line: str) -> str:
    known = CHECKLISTS.get(checklist)
    lines = known.lines if known else ()
    return next((one.text for one in lines if one.key == line), line)


try:
    with BookReader.open(dashboard().home) as book:
        if "record" in st.session_state:
            record_page(book, st.session_state.record)
        else:
            list_page(book)
except (BookError, BadInputError) as error:
    st.session_state.pop("record", None)
    st.info(str(error))
