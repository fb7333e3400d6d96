"""The part of the book that takes sweeps: begun, filled batch by batch, ended once."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Literal

from readings import BadInputError, Sample, Sense
from records import queries, rules
from records import tables as t
from records.packing import pack
from records.plain import to_object_text, utc_text
from records.queries import OpenSweep
from records.writer import Writer


class SweepBook(Writer):
    """What `records.Book` does with sweeps."""

    def begin_sweep(
        self,
        setup_id: int,
        purpose: str,
        sense: Sense | None,
        wall_time: datetime,
        *,
        kind: Literal["turn", "stops"] = "turn",
        settings: Mapping[str, Any] | None = None,
    ) -> int:
        """Begin a sweep; `wall_time` is when its source's clock stood at its first sample."""
        with self._pen.transaction() as connection:
            rules.require_open_setup(connection, setup_id)
            return self._pen.insert(
                t.sweep,
                setup_id=setup_id,
                purpose=purpose,
                kind=kind,
                sense=sense,
                settings=to_object_text(settings or {}),
                at_utc=utc_text(wall_time),
            )

    def append_samples(self, sweep_id: int, batch_no: int, samples: Sequence[Sample]) -> None:
        """Add the batch number 0, 1, 2, ... to a sweep; when this returns it is on the disk.

        The same batch sent once more is acknowledged and not doubled.

        Raises
        ------
        BadInputError
            If there is no sample, one is not finite, or there is no such sweep.
        BookFinishedError
            If the sweep was ended.
        BookError
            If a batch is missing before this one, or another of this number is in the book.
        """
        blob = pack(samples)
        with self._pen.transaction() as connection:
            if rules.is_repeated(connection, sweep_id, batch_no, blob):
                return
            self._pen.insert(
                t.samples, sweep_id=sweep_id, batch_no=batch_no, count=len(samples), blob=blob
            )

    def end_sweep(
        self,
        sweep_id: int,
        state: Literal["complete", "incomplete", "void"],
        result: Mapping[str, Any] | None = None,
        *,
        schema: int = 1,
        refused: int = 0,
        flags: Sequence[str] = (),
    ) -> None:
        """End a sweep, with its result (kind "sweep") where it has one.

        Raises
        ------
        BadInputError
            If a void sweep is handed in with a result: nothing may be read from it.
        BookFinishedError
            If it was ended before.
        """
        if state == "void" and result is not None:
            msg = f"Sweep {sweep_id} is void and has no result: say why in its flags."
            raise BadInputError(msg)
        with self._pen.transaction() as connection:
            rules.require_open_sweep(connection, sweep_id)
            if result is not None:
                self._pen.insert(
                    t.result,
                    setup_id=queries.setup_of_sweep(connection, sweep_id),
                    sweep_id=sweep_id,
                    kind="sweep",
                    schema_version=schema,
                    body=to_object_text(result),
                    at_utc=self.stamp(),
                )
            self._end(sweep_id, state, refused, flags)

    def open_sweeps(self) -> list[OpenSweep]:
        """Return this home's sweeps that were begun and not ended."""
        with self._pen.transaction() as connection:
            return queries.open_sweeps(connection, station=self.station)
