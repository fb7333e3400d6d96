"""Setups as a session keeps them, with all that a report shows."""

from records_kit import START, batch, begin_setup, centred, tiny_jpeg

from records import Size
from setups import BEFORE_HANDS

JOB = "winding gear of the lower lock"
MADE = "2026-03-05T00:00:00Z"


def tick_all(book, setup, checklist):
    for line in checklist.lines:
        book.add_tick(setup, checklist.key, line.key, "the machinist", True)


def turn(book, setup, sense, purpose="turns"):
    settings = {"angle": "collar", "collar_zero_rad": 0.0, "collar_sense": 1}
    sweep = book.begin_sweep(setup, purpose, sense, START, settings=settings)
    for number in range(12):
        book.append_samples(sweep, number, batch(number, offset_mm=0.01))
    book.end_sweep(sweep, "complete")


def bored(book, part="gear-case end 1", *, verdict="inside", flags=(), **more):
    """Three pairs of turns with a move and the lock between, as a session keeps them."""
    setup = begin_setup(book, part, **more)
    tick_all(book, setup, BEFORE_HANDS)
    dial = {"name": "dev1", "graduation": 0.01, "unit": "mm", "marks_per_turn": 100,
            "checked": "2026-02-01T10:00:00+00:00", "check": 2, "judged_by": "shop class 2",
            "verdict": "pass"}  # fmt: skip
    book.add_instrument(setup, "dial", dial)
    book.add_sizes(setup, [Size("diameter", "Diameter of the bore", 52.0, "mm", "bore gauge")])
    book.add_photo(setup, tiny_jpeg(90), "at the first turn", "raw", {"index": 1})
    for offset, locked in ((0.123, False), (0.002, False), (0.004, True)):
        turn(book, setup, "anticlockwise")
        turn(book, setup, "clockwise")
        body = centred(offset, locked=locked, verdict=verdict, flags=flags)
        book.add_result(setup, "centring", 1, body)
    book.finish_setup(setup, {"verdict": verdict})
    return setup
