"""Write the sample book of the present format that later versions must be able to open.

Run once when a format is released, never by the tests::

    python tests/make_kept_book.py tests/data

It writes ``book_v<format>.sqlite3``, the photos beside it and what the book says as
JSON, and refuses to touch a kept book that is there.
"""

import shutil
import sys
import tempfile
from pathlib import Path

import msgspec
from records_kit import (
    START,
    batch,
    begin_setup,
    import_another,
    open_book,
    pair_plan,
    tiny_jpeg,
    whole_setup,
)

from records import BookReader, book_path
from records.plans import newest_plans
from records.tables import FORMAT


def write_scenes(home, elsewhere):
    with open_book(home) as book:
        first = whole_setup(book, verdict="outside", tolerance_source="the owner's drawing")
        second = whole_setup(book, machine="bench mill", again_of=first)
        book.supersede(first, second, "the part had moved under the clamp")
        given_up = begin_setup(book, part="gear-case end 2")
        book.begin_sweep(given_up, "rough", None, START, kind="stops")
        book.abandon_setup(given_up, "the casting is cracked")
        cut_short = begin_setup(book, part="gear-case end 2")
        book.add_tick(cut_short, "before-hands", "isolated", "the machinist", True)
        book.add_tick(cut_short, "before-hands", "isolated", "the machinist", False)
        book.add_photo(cut_short, tiny_jpeg(60), "dial as read", "annotated", {"value_mm": 0.4})
        sweep = book.begin_sweep(cut_short, "fine", "clockwise", START)
        book.append_samples(sweep, 0, batch(0))
        book.resume_setup(cut_short, {"why": "restart"})
        book.put_session_state("live", b'{"step":2}')
        import_another(book, elsewhere)
        plan = book.keep_plan(pair_plan("winding gear of the lower lock"), None)
        book.keep_plan(pair_plan("winding gear of the lower lock", parts=4), plan)


def what_it_says(home):
    """Everything a reader shows, without where the files stand."""
    with BookReader.open(home) as reader:
        lines = reader.list_setups()
        setups = [reader.show_setup(line.id) for line in lines]
        with reader.reading() as connection:
            plans = newest_plans(connection)
    for setup in setups:
        for photo in setup["photos"]:
            del photo["path"]
    return {"lines": msgspec.to_builtins(lines), "setups": setups, "plans": to_plain(plans)}


def to_plain(plans):
    return msgspec.json.decode(msgspec.json.encode(plans))


def main(folder):
    name = f"book_v{FORMAT}"
    kept = folder / f"{name}.sqlite3"
    if kept.exists():
        sys.exit(f"{kept} is kept as it is: remove nothing, add the next format beside it")
    with tempfile.TemporaryDirectory() as made:
        home = Path(made) / "home"
        write_scenes(home, Path(made))
        says = msgspec.json.format(msgspec.json.encode(what_it_says(home)))
        folder.mkdir(exist_ok=True)
        shutil.copytree(home / "photos", folder / f"{name}_photos")
        (folder / f"{name}.json").write_bytes(says + b"\n")
        shutil.copy(book_path(home), kept)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
