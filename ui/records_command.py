"""`records list`, `show` and `check`: the book on the terminal, as tables or strict JSON."""

import sys
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from readings import BadInputError, format_length
from records import BookReader, Damage, SetupLine, Wanted, check_book
from records.plain import Json, minute
from ui.output import json_text, put_json, put_table, tell


def list_records(home: Path, wanted: Wanted, *, as_json: bool) -> None:
    """Write the wanted setups of the book in `home` to stdout, the newest first.

    Raises
    ------
    BookError
        If there is no book or it cannot be read.
    """
    with BookReader.open(home) as reader:
        lines = reader.list_setups(wanted=wanted)
    if as_json:
        put_json(lines)
        return
    if not lines:
        tell("The book has no such setup.")
        return
    put_table("Setups, newest first", _LIST_COLUMNS, [_list_row(line) for line in lines])
    if len(lines) == wanted.limit:
        tell(f"These are the newest {wanted.limit}: narrow the list, or ask for more with --limit.")


def one_of(option: str, given: str | None, allowed: Sequence[str]) -> str | None:
    """Return what was given, refused where it is none of `allowed`."""
    if given is None or given in allowed:
        return given
    msg = f"{option} is {given!r}: give one of {', '.join(allowed)}."
    raise BadInputError(msg)


def day(option: str, given: str | None) -> str | None:
    """Return a day, refused where it is none of the calendar."""
    if given is None:
        return None
    try:
        return date.fromisoformat(given).isoformat()
    except ValueError as error:
        msg = f"{option} is {given!r}, which is no day: give it as year-month-day, like 2026-03-31."
        raise BadInputError(msg) from error


def check_record_book(home: Path, *, as_json: bool) -> bool:
    """Say what is damaged in the book of `home`; return whether it is whole."""
    damages = check_book(home)
    if as_json:
        put_json(damages)
    elif damages:
        put_table("Damage", ("what", "where", ""), damage_rows(damages))
    else:
        tell("The book is whole: database, chain of hashes and photos.")
    return not damages


def damage_rows(damages: Iterable[Damage]) -> list[tuple[str, str, str]]:
    """Return what is damaged as rows of a table."""
    return [(damage.kind, damage.where, damage.sentence) for damage in damages]


def show_record(home: Path, setup_id: int, *, as_json: bool) -> None:
    """Write one setup to stdout; JSON has every sample, the tables count them.

    Raises
    ------
    BadInputError
        If there is no such setup.
    BookError
        If there is no book or it cannot be read.
    """
    with BookReader.open(home) as reader:
        setup = reader.show_setup(setup_id, with_samples=as_json)
    if as_json:
        put_json(setup, indent=True)
        return
    for title, columns, rows in _sheets(setup):
        put_table(title, columns, rows)
    for number, photo in enumerate(setup["photos"], start=1):
        sys.stdout.write(f"photo {number}: {_file(photo)}\n")


_LIST_COLUMNS = ("no.", "begun", "job: part", "setup", "within", "state")
_Sheet = tuple[str, Sequence[str], Iterable[Sequence[str]]]


def _list_row(line: SetupLine) -> list[str]:
    state = _state(line.state, line.superseded_by)
    return _cells(
        line.id,
        minute(line.began_utc),
        f"{line.job}: {line.part}",
        line.title,
        _tolerance(line.tolerance_mm),
        state if line.verdict is None else f"{state}: {line.verdict}",
    )


def _cells(*values: object) -> list[str]:
    return ["–" if value is None else str(value) for value in values]


def _tolerance(tolerance_mm: float | None) -> str | None:
    return None if tolerance_mm is None else format_length(tolerance_mm)


def _state(state: str, superseded_by: int | None) -> str:
    return state if superseded_by is None else f"{state}, superseded by {superseded_by}"


def _sheets(setup: Json) -> Iterable[_Sheet]:
    yield f"Setup {setup['id']}: {setup['title']}", ("what", "value"), _facts(setup)
    if setup["instruments"]:
        rows = [_cells(i["kind"], _worded(i["body"])) for i in setup["instruments"]]
        yield "Instruments as they were", ("kind", "what was known"), rows
    if setup["sizes"]:
        rows = [
            _cells(s["label"], f"{s['value']:g} {s['unit']}", s["tool"]) for s in setup["sizes"]
        ]
        yield "Sizes taken by hand", ("size", "value", "with"), rows
    if setup["sweeps"]:
        columns = ("no.", "purpose", "turning", "state", "samples", "refused", "flags")
        yield "Sweeps", columns, [_sweep_row(sweep) for sweep in setup["sweeps"]]
    for result in setup["results"]:
        yield _result_title(result), ("number", "value"), _result_rows(result)
    if setup["ticks"]:
        yield (
            "Checklists",
            ("when", "list", "line", "who", "mark"),
            _tick_rows(setup["ticks"]),
        )
    if setup["photos"]:
        yield "Photos", ("no.", "kind", "caption"), _photo_rows(setup["photos"])


def _result_title(found: Json) -> str:
    if found["kind"] == "sweep":
        return f"Result of sweep {found['sweep_id']}"
    of_sweep = "" if found["sweep_id"] is None else f", from sweep {found['sweep_id']}"
    return f"Result: {found['kind']}{of_sweep}"


def _facts(setup: Json) -> list[list[str]]:
    facts = (
        ("job", setup["job"]),
        ("part", setup["part"]),
        ("operation", setup["operation"]),
        ("guide", setup["guide"]),
        ("machine", setup["machine"]),
        ("tolerance", _tolerance(setup["tolerance_mm"])),
        ("tolerance from", setup["tolerance_source"]),
        ("begun", minute(setup["began_utc"])),
        ("ended", minute(setup["ended_utc"]) or None),
        ("state", _state(setup["state"], setup["superseded_by"])),
        ("verdict", setup["verdict"]),
        ("supersedes", ", ".join(map(str, setup["supersedes"])) or None),
        ("Sparehand", setup["program_version"]),
    )
    return [_cells(name, value) for name, value in facts if value is not None]


def _sweep_row(sweep: Json) -> list[str]:
    return _cells(
        sweep["id"],
        sweep["purpose"],
        sweep["sense"],
        sweep["state"],
        sweep["count"],
        sweep["refused"],
        ", ".join(sweep["flags"]),
    )


def _tick_rows(ticks: list[Json]) -> list[list[str]]:
    return [
        _cells(
            minute(tick["at_utc"]),
            tick["list_name"],
            tick["line_id"],
            tick["who"],
            "ticked" if tick["ticked"] else "taken back",
        )
        for tick in ticks
    ]


def _photo_rows(photos: list[Json]) -> list[list[str]]:
    return [_cells(n, p["kind"], p["caption"]) for n, p in enumerate(photos, start=1)]


def _file(photo: Json) -> str:
    return photo["path"] if photo["there"] else f"{photo['path']} is missing"


def _result_rows(result: Json) -> list[tuple[str, str]]:
    """Return a result's numbers in words; every detail of it is in the JSON."""
    # late: the list of setups needs no mathematics
    from records.quantities import found_of, measured_of, quantities_of
    from setups.words import measured_rows, number_rows

    if (found := found_of(result)) is not None:
        return [*number_rows(found), ("Verdict", found.verdict)]
    if (measured := measured_of(result)) is not None:
        return [*measured_rows(measured), ("Verdict", measured.verdict or "none")]
    return [
        (one.label, f"{one.value:.6g} {one.unit}" + ("" if one.u is None else f", u {one.u:.2g}"))
        for one in quantities_of(result)
    ]


def _worded(value: Any) -> str:  # noqa: ANN401 - JSON is any
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, str | int) and not isinstance(value, bool):
        return str(value)
    return json_text(value)
