"""A book of many setups, each as a session keeps it: written through the book's own pen."""

import math
from datetime import UTC, datetime, timedelta

import cv2
import numpy as np

from readings import Sample
from records import Book
from records import tables as t
from records.packing import pack
from records.photos import keep_photo
from records.plain import to_json_text, utc_text
from setups import BEFORE_HANDS, BEFORE_POWER, Found
from stream.keeping import plain

SWEEPS, BATCHES, A_BATCH = 2, 10, 15
SAMPLES_A_SETUP = SWEEPS * BATCHES * A_BATCH
START = datetime(2024, 1, 8, 8, 0, tzinfo=UTC)
GUIDES = ("centre-bore", "tram-head", "centre-boss", "four-jaw")
VERDICTS = ("inside", "inside", "inside", "outside", "cannot tell")
DIALS = ("bench dial", "old dial", "lever")
A_COMMIT = 50


def open_book(home):
    return Book.open(home, program_version="bench", now=lambda: START)


def jpeg(shade):
    image = np.full((120, 160, 3), shade % 200, np.uint8)
    cv2.putText(image, str(shade), (10, 70), cv2.FONT_HERSHEY_SIMPLEX, 1.0, (255, 255, 255))
    return cv2.imencode(".jpg", image)[1].tobytes()


class Filler:
    """Adds setups to an open book, `A_COMMIT` of them in a transaction."""

    def __init__(self, book):
        self.book, self.pen = book, book.pen
        self.parts = {}
        self.blobs = [[self._blob(turn, n) for n in range(BATCHES)] for turn in range(SWEEPS)]
        self.photos = [keep_photo(book.home, jpeg(n)) for n in range(20)]

    @staticmethod
    def _blob(turn, number):
        sense = 1 - 2 * turn
        total = BATCHES * A_BATCH
        samples = []
        for i in range(number * A_BATCH, (number + 1) * A_BATCH):
            angle = sense * math.tau * 1.05 * i / total
            samples.append(Sample(i / 30, 0.4 + 0.01 * math.cos(angle), 2e-4, angle, 2e-3))
        return pack(samples)

    def add(self, first, count):
        """Add the setups from number `first` on."""
        for begin in range(first, first + count, A_COMMIT):
            with self.pen.transaction():
                for number in range(begin, min(begin + A_COMMIT, first + count)):
                    self._setup(number)

    def _part(self, number, at):
        """Twenty parts a job, four setups a part."""
        name = (number // 80, number // 4 % 20)
        if name not in self.parts:
            if name[1] == 0:
                self.job = self.pen.insert(t.job, name=f"job {name[0]}", at_utc=at)
            self.parts[name] = self.pen.insert(
                t.part, job_id=self.job, name=f"gear-case end {name[1] + 1}", at_utc=at
            )
        return self.parts[name]

    def _setup(self, number):
        at = utc_text(START + timedelta(hours=2 * number))
        part = self._part(number, at)
        guide, verdict = GUIDES[number % 4], VERDICTS[number % 5]
        setup = self.pen.insert(
            t.setup, uid=f"{number:032x}", part_id=part, operation_id=None, guide=guide,
            title="Centre the spindle on a bore", tolerance_mm=0.005,
            tolerance_source="drawing", settings='{"diameter_mm":52.0}',
            program_version="bench", at_utc=at, machine="bench mill", station=None,
            again_of_uid=None,
        )  # fmt: skip
        dial = DIALS[number % 3]
        body = to_json_text({"name": dial, "checked": None, "graduation": 0.01})
        self.pen.insert(t.instrument_snapshot, setup_id=setup, kind="dial", body=body, at_utc=at,
                        name=dial)  # fmt: skip
        self.pen.insert(t.size, setup_id=setup, key="diameter", label="Diameter", value=52.0,
                        unit="mm", tool="bore gauge", at_utc=at)  # fmt: skip
        for checklist in (BEFORE_HANDS, BEFORE_POWER):
            for line in checklist.lines:
                self.pen.insert(t.tick, setup_id=setup, list_name=checklist.key, line_id=line.key,
                                who="the machinist", ticked=1, at_utc=at)  # fmt: skip
        for turn in range(SWEEPS):
            self._sweep(setup, turn, at)
        self._ending(setup, number, verdict, at)

    def _sweep(self, setup, turn, at):
        settings = to_json_text({"angle": "collar", "collar_zero_rad": 0.0, "collar_sense": 1})
        sense = ("anticlockwise", "clockwise")[turn]
        sweep = self.pen.insert(t.sweep, setup_id=setup, purpose="turns", kind="turn", sense=sense,
                                settings=settings, at_utc=at)  # fmt: skip
        for number, blob in enumerate(self.blobs[turn]):
            self.pen.insert(t.samples, sweep_id=sweep, batch_no=number, count=A_BATCH, blob=blob)
        self.pen.insert(t.sweep_end, sweep_id=sweep, state="complete", refused=0, flags="[]",
                        at_utc=at)  # fmt: skip
        self.pen.insert(t.result, setup_id=setup, sweep_id=sweep, kind="sweep", schema_version=1,
                        body=to_json_text({"eccentricity_mm": 0.01, "u_eccentricity_mm": 0.0005}),
                        at_utc=at)  # fmt: skip

    def _ending(self, setup, number, verdict, at):
        found = Found(
            offset_x_mm=0.001, offset_y_mm=0.002, u_x_mm=3e-4, u_y_mm=4e-4, eccentricity_mm=0.0022,
            u_eccentricity_mm=5e-4, u_dial_mm=None, mean_mm=0.4, lobes=((2, 0.001, 0.0),),
            sideways_mm=0.0, ovality_mm=0.004, tir_mm=0.01, return_mm=2e-4, verdict=verdict,
            guard_mm=8e-4, least_provable_mm=0.002, locked=True,
        )  # fmt: skip
        budget = [{"name": name, "u_mm": 3e-4} for name in ("reader", "fit", "retrace")]
        body = {"found": plain(found), "centring": {"budget": budget}}
        self.pen.insert(t.result, setup_id=setup, sweep_id=None, kind="centring", schema_version=1,
                        body=to_json_text(body), at_utc=at)  # fmt: skip
        for kind in ("raw", "annotated"):
            self.pen.insert(t.photo, setup_id=setup, sweep_id=None, kind=kind, size_bytes=2000,
                            sha256=self.photos[number % 20], caption="at the result",
                            meta=f'{{"index":{number}}}', at_utc=at)  # fmt: skip
        self.pen.insert(t.setup_event, setup_id=setup, state="finished", verdict=verdict,
                        body=to_json_text({"verdict": verdict, "found": plain(found)}),
                        at_utc=at)  # fmt: skip
