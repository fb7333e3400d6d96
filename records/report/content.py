"""What the report of one setup says: words and numbers, before anything is laid out."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from readings import flag_sentence, move_word
from records.photos import photo_is_whole
from records.plain import Json, minute
from records.quantities import budget_of, found_of, measured_of
from records.report.checklists import ListShown, lists_of
from records.report.instruments import InstrumentShown, instrument_shown
from records.report.verdict import STATES, Verdict, fine_length, verdict_shown
from records.traces import RoundTrace, StraightTrace, newest_pair, round_trace, straight_trace
from setups import Found, Measured, flag_lines
from setups.checklists import CAUTION
from setups.words import history_line, left_out_words, measured_rows, number_rows

Rows = tuple[tuple[str, str], ...]

MISSING = "The photo's file is missing or not as it was taken: run sparehand records check."
CAUTIONS = f"{CAUTION} This report says what was measured, and no more."

_LEAST_SHOWN_MM = 5e-6
"""Less is shown as nothing."""


@dataclass(frozen=True, slots=True)
class PhotoShown:
    """One photo; `path` is None where its file is missing or not as it was taken."""

    path: Path | None
    caption: str


@dataclass(frozen=True, slots=True)
class SetupReport:
    """Everything that the two pages of a setup say."""

    id: int
    uid: str
    title: str
    heading: str
    facts: Rows
    verdict: Verdict
    numbers: Rows
    budget: Rows
    remarks: tuple[str, ...]
    rounds: tuple[str, ...]
    round_trace: RoundTrace | None
    straight_trace: StraightTrace | None
    sizes: Rows
    instruments: tuple[InstrumentShown, ...]
    checklists: tuple[ListShown, ...]
    sweeps: tuple[tuple[str, ...], ...]
    photos: tuple[PhotoShown, ...]
    photos_left_out: int
    seal: str


SWEEP_COLUMNS = ("sweep", "purpose", "turning, from above", "state", "samples", "refused")


def setup_report(setup: Json, *, seal: str = "") -> SetupReport:
    """Return what the report of a setup says.

    `setup` is as `BookReader.show_setup` returns it, with samples; `seal` the hash that its
    last record carries in the chain.
    """
    last = last_measure(setup)
    photos = _moments(setup)
    shown = tuple(_photo(photo) for photo in photos)
    return SetupReport(
        id=setup["id"],
        uid=setup["uid"],
        title=setup["title"],
        heading=", ".join(p for p in (setup["job"], setup["part"], setup["operation"]) if p),
        facts=tuple(_facts(setup)),
        verdict=verdict_shown(setup, last),
        numbers=_numbers(last),
        budget=tuple(_budget(setup)),
        remarks=tuple(_remarks(setup, last)),
        rounds=tuple(_rounds(setup)),
        round_trace=round_trace(setup, newest_pair(setup)),
        straight_trace=straight_trace(setup),
        sizes=tuple(
            (s["label"], f"{s['value']:g} {s['unit']}, {s['tool']}") for s in _sizes(setup)
        ),
        instruments=tuple(instrument_shown(one) for one in setup["instruments"]),
        checklists=lists_of(setup),
        sweeps=tuple(_sweep_row(sweep) for sweep in setup["sweeps"]),
        photos=shown,
        photos_left_out=len(setup["photos"]) - len(photos),
        seal=seal,
    )


def last_measure(setup: Json) -> Found | Measured | None:
    """Return the last numbers of a setup, None where it has none of a known form."""
    found = [found_of(result) or measured_of(result) for result in setup["results"]]
    return next((one for one in reversed(found) if one is not None), None)


def _facts(setup: Json) -> Iterator[tuple[str, str]]:
    facts = (
        ("Job", setup["job"]),
        ("Part", setup["part"]),
        ("Operation", setup["operation"]),
        ("Machine", setup["machine"]),
        ("Datum", setup["settings"].get("datum")),
        ("Diameter", _diameter(setup)),
        ("Begun", minute(setup["began_utc"])),
        ("Ended", minute(setup["ended_utc"])),
        ("State", STATES.get(setup["state"], setup["state"])),
        ("Sparehand", setup["program_version"]),
    )
    yield from ((name, str(value)) for name, value in facts if value)


def _diameter(setup: Json) -> str | None:
    """Return the diameter that the setup was begun with: entered by hand, like every size."""
    diameter = setup["settings"].get("diameter_mm")
    return None if diameter is None else f"{diameter:g} mm, as entered"


def _numbers(last: Found | Measured | None) -> Rows:
    if last is None:
        return ()
    return number_rows(last) if isinstance(last, Found) else measured_rows(last)


def _budget(setup: Json) -> Iterator[tuple[str, str]]:
    """Yield the last result's contributions, the largest first, those of nothing left out."""
    told = [result for result in setup["results"] if found_of(result) or measured_of(result)]
    lines = budget_of(told[-1]) if told else ()
    for name, u_mm in sorted(lines, key=lambda line: -line[1]):
        if u_mm >= _LEAST_SHOWN_MM:
            yield name, f"{1000 * u_mm:.2f} µm"


def _remarks(setup: Json, last: Found | Measured | None) -> Iterator[str]:
    """Yield what a reader must know beside the numbers."""
    if setup["superseded_by"] is not None:
        yield f"This setup was superseded by setup {setup['superseded_by']}: that one counts."
    if setup["supersedes"]:
        yield f"It counts in place of setup {', '.join(map(str, setup['supersedes']))}."
    for event in setup["events"]:
        if event["state"] == "abandoned" and event["body"].get("reason"):
            yield f"Given up: {event['body']['reason']}."
        if event["state"] == "resumed":
            yield f"Taken up again after a restart, {minute(event['at_utc'])}."
    if isinstance(last, Found):
        yield from flag_lines(last)
    for name in last.flags if isinstance(last, Measured) else ():
        yield flag_sentence(name)
    if isinstance(last, Measured) and not last.locked and setup["state"] == "finished":
        yield "Measured before anything was locked."


def _rounds(setup: Json) -> Iterator[str]:
    """Yield what each round found, and what was moved before the next."""
    before: Found | None = None
    number = 0
    for result in setup["results"]:
        found, measured = found_of(result), measured_of(result)
        if found is None and measured is None:
            continue
        again = bool(result["body"].get("again"))
        number += not again
        if found is not None:
            if again:
                yield _found_anew(found)
            elif before is not None:
                yield _moved(before, found)
            before = found
            yield history_line(number, found)
        elif measured is not None:
            yield from _measured_round(number, measured)


def _found_anew(found: Found) -> str:
    """Say that no sweep was made: other arcs of the same one count."""
    return f"The same turns, found anew. {left_out_words(found.left_out)}"


def _moved(before: Found, after: Found) -> str:
    """Say how far the work went from one pair of turns to the next, as they tell it."""
    right, back = after.offset_x_mm - before.offset_x_mm, after.offset_y_mm - before.offset_y_mm
    how = "Locking moved the work" if after.locked and not before.locked else "The work was moved"
    return (
        f"{how} {fine_length(abs(right))} {move_word('x', right)} "
        f"and {fine_length(abs(back))} {move_word('y', back)}."
    )


def _measured_round(number: int, measured: Measured) -> Iterator[str]:
    locked = " (locked)" if measured.locked else ""
    verdict = "" if measured.verdict is None else f" {measured.verdict.capitalize()}{locked}."
    yield f"{number}. {measured.sentence}{verdict}"
    if measured.todo:
        yield f"Put right: {'; '.join(do.headline for do in measured.todo)}."


def _sizes(setup: Json) -> list[Json]:
    """Return each size as it was entered last."""
    return list({size["key"]: size for size in setup["sizes"]}.values())


def _sweep_row(sweep: Json) -> tuple[str, ...]:
    return (
        str(sweep["id"]),
        sweep["purpose"],
        sweep["sense"] or "not known",
        sweep["state"],
        str(sweep["count"]),
        str(sweep["refused"]),
    )


def _moments(setup: Json) -> list[Json]:
    """Return the photos of the first and of the last moment: as it was, and as it was read."""
    moments: dict[tuple[str, str], list[Json]] = {}
    for photo in setup["photos"]:
        index = str(photo["meta"].get("index", photo["at_utc"]))
        moments.setdefault((photo["caption"], index), []).append(photo)
    every = list(moments.values())
    chosen = every if len(every) <= 2 else [every[0], every[-1]]
    return [photo for moment in chosen for photo in moment[:2]]


def _photo(photo: Json) -> PhotoShown:
    kind = "as it was" if photo["kind"] == "raw" else "with what was read"
    path = Path(photo["path"])
    caption = f"{photo['caption']}, {kind}, {minute(photo['at_utc'])}"
    whole = photo_is_whole(path, photo["sha256"])
    return PhotoShown(path if whole else None, caption)
