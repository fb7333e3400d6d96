"""What stands quietly beside a setup in hand: its datum, and the same of the part before."""

from pathlib import Path

from readings import BookError, format_length, move_word
from records import BookReader
from records.job_board import last_measure_of, part_before, verdict_of_line
from records.queries import SetupLine
from setups import Found, Measured


def beside_words(home: Path, setup_id: int) -> str:
    """Return the words, "" where the book tells nothing or cannot be read."""
    try:
        with BookReader.open(home) as reader:
            datum = reader.show_setup(setup_id, with_samples=False)["settings"].get("datum")
            with reader.reading() as connection:
                before = part_before(connection, setup_id)
                last = None if before is None else last_measure_of(connection, before.id)
    except BookError:
        return ""
    told = [f"Datum: {datum}." if datum else "", "" if before is None else _told(before, last)]
    return " ".join(words for words in told if words)


def _told(before: SetupLine, last: Found | Measured | None) -> str:
    """Say what was found on the part before.

    Offsets are of the work from the spindle, as the screen tells them of this one.
    """
    verdict = verdict_of_line(before, last)
    words = f"Part before, {before.part}: {verdict.value}"
    if isinstance(last, Found):
        x_mm, y_mm = last.offset_x_mm, last.offset_y_mm
        words += f", {format_length(abs(x_mm))} {move_word('x', x_mm)}"
        words += f", {format_length(abs(y_mm))} {move_word('y', y_mm)}"
    return f"{words}; {verdict.short}."
