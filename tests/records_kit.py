"""A clock that can be told, a small setup of the demo's scenario, and a tiny JPEG."""

import itertools
import math
from datetime import UTC, datetime, timedelta

import cv2
import numpy as np

from readings import Sample
from records import Book, BookReader, Size
from records.exporting import export_job
from records.importing import import_job
from setups import Do, Found, Measured
from setups.jobs import JobPlan, PlannedOperation, parts_by_count
from setups.measured import Number
from stream.keeping import plain

START = datetime(2026, 3, 2, 8, 0, 0, tzinfo=UTC)
VERSION = "0.1.0"


class TickingClock:
    """Every look at it is a quarter of a second later."""

    def __init__(self, start=START):
        self._moments = (start + timedelta(seconds=0.25 * n) for n in itertools.count())

    def __call__(self):
        return next(self._moments)


def counted_uids(first=1):
    numbers = itertools.count(first)
    return lambda: f"{next(numbers):032x}"


def open_book(home, clock=None, first_uid=1):
    return Book.open(
        home, program_version=VERSION, now=clock or TickingClock(), new_uid=counted_uids(first_uid)
    )


def batch(batch_no, count=30, offset_mm=0.12):
    """One second of a turn at 30 pictures a second, 12 s a turn, no noise."""
    places = [n + batch_no * count for n in range(count)]
    return [_sample(n / 30, math.tau * n / 360, offset_mm) for n in places]


def _sample(t_s, angle_rad, offset_mm):
    return Sample(t_s, 0.4 + offset_mm * math.cos(angle_rad), 0.0004, angle_rad, 0.002)


def tiny_jpeg(shade=120):
    picture = np.full((12, 16, 3), shade, dtype=np.uint8)
    cv2.circle(picture, (8, 6), 4, (255, 255, 255), 1)
    return cv2.imencode(".jpg", picture)[1].tobytes()


def begin_setup(book, part="gear-case end 1", **more):
    part_id = book.ensure_part("winding gear of the lower lock", part)
    operation = book.ensure_operation(part_id, "bore the 52 mm seat")
    return book.begin_setup(
        part_id,
        "bore-centre",
        "Centre the spindle on a bore",
        0.01,
        {"diameter_mm": 52.0, "layout": "riding"},
        operation_id=operation,
        **more,
    )


def whole_sweep(book, setup_id, batches=3, sense="anticlockwise"):
    sweep_id = book.begin_sweep(setup_id, "fine", sense, START, settings={"source": "bench"})
    for number in range(batches):
        book.append_samples(sweep_id, number, batch(number))
    book.end_sweep(
        sweep_id,
        "complete",
        {"eccentricity_mm": 0.12, "u_eccentricity_mm": 0.0006},
        refused=2,
        flags=("one way only",),
    )
    return sweep_id


def centred(offset_x_mm, *, locked=False, offset_y_mm=0.0, verdict="inside", flags=()):
    """The kept body of a pair of turns."""
    found = Found(
        offset_x_mm=offset_x_mm, offset_y_mm=offset_y_mm, u_x_mm=0.0003, u_y_mm=0.0004,
        eccentricity_mm=math.hypot(offset_x_mm, offset_y_mm), u_eccentricity_mm=0.0005,
        u_dial_mm=None, mean_mm=0.4, lobes=(), sideways_mm=0.0, ovality_mm=0.004, tir_mm=0.01,
        return_mm=0.0002, verdict=verdict, guard_mm=0.0008, least_provable_mm=0.002,
        locked=locked, flags=flags,
    )  # fmt: skip
    budget = [{"name": "reader", "u_mm": 0.0004}, {"name": "fit", "u_mm": 0.0003}]
    return {"found": plain(found), "centring": {"budget": budget}}


def measured(key, value, *, unit="mm", label="", verdict="inside", u=0.001, locked=False, todo=()):
    """The kept body of a round of another guide."""
    told = Measured(
        (Number(key, label or key, value, unit, u),), f"Found {key}.", value, u, verdict, 0.002,
        0.002, todo=tuple(Do("the head", words, words) for words in todo), locked=locked,
        budget=(("slope", 0.001),),
    )  # fmt: skip
    return {"measured": plain(told), "runs": []}


def whole_setup(book, verdict="inside", **more):
    """One setup with one of everything, finished."""
    setup_id = begin_setup(book, **more)
    book.add_tick(setup_id, "before-hands", "isolated", "the machinist", True)
    book.add_instrument(setup_id, "dial", {"name": "dev1", "division_mm": 0.01, "checked": None})
    book.add_sizes(setup_id, [Size("diameter", "Diameter of the bore", 52.0, "mm", "bore gauge")])
    sweep_id = whole_sweep(book, setup_id)
    book.add_photo(setup_id, tiny_jpeg(), "at the first turn", "raw", {}, sweep_id=sweep_id)
    book.add_result(setup_id, "centring", 1, {"offset_x_mm": -0.12, "offset_y_mm": 0.0})
    book.finish_setup(setup_id, {"verdict": verdict, "eccentricity_mm": 0.003})
    return setup_id


def import_another(book, folder):
    """Bring in a job of one setup from another book, made and exported in `folder`."""
    with open_book(folder / "another", first_uid=1000) as other:
        whole_setup(other, part="gear-case end 4")
    job = "winding gear of the lower lock"
    with BookReader.open(folder / "another") as reader:
        export_job(reader, job, folder / "job.zip", exported_utc="", program_version=VERSION)
    return import_job(book, folder / "job.zip")


def pair_plan(job="Lock paddle winding gear", *, parts=2, **more):
    """Two seats on one axis: the first bored, the second told beforehand, both proven."""
    operations = (
        PlannedOperation("bore the 52 mm seat", "centre-bore", 0.01, "back face", diameter_mm=52.0),
        PlannedOperation("second end", "second-end", 0.05, "plug", sizes=(("clearance", 0.008),)),
        PlannedOperation("prove both seats", "prove-pair", 0.05, "52 mm seat"),
    )
    return JobPlan(job, parts_by_count("gear-case end {}", parts), operations, **more)
