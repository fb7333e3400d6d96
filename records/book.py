"""The single writer of the record book."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

import msgspec

from records import queries, rules, scratch
from records import tables as t
from records.photos import keep_photo
from records.plain import name_text, to_object_text
from records.queries import SetupLine
from records.sweep_book import SweepBook

if TYPE_CHECKING:
    from setups.jobs import JobPlan


class Size(msgspec.Struct, frozen=True):
    """A size as a person entered it, and what it was taken with."""

    key: str
    label: str
    value: float
    unit: str
    tool: str


class Book(SweepBook):
    """The one writer of the book in a home folder: one connection, one thread, insert only.

    A method that returns has committed: what it wrote outlives a killed process
    and, as far as the disk keeps its word, a power cut. One that raises has
    written nothing. Numbers returned are the records' own.

    Use it as a context manager, or call `close`.
    """

    # ---- jobs, parts, operations

    def ensure_job(self, name: str) -> int:
        """Return the job of this name, made where it is not there."""
        return self._ensure(t.job, name=name_text("job", name))

    def ensure_part(self, job: str, name: str) -> int:
        """Return the part of this name of a job, both made where they are not there."""
        job_id = self.ensure_job(job)
        return self._ensure(t.part, t.job, job_id=job_id, name=name_text("part", name))

    def ensure_operation(self, part_id: int, name: str) -> int:
        """Return the operation of this name on a part, made where it is not there."""
        return self._ensure(t.operation, t.part, part_id=part_id, name=name_text("operation", name))

    def keep_plan(self, plan: "JobPlan", after: int | None) -> int:
        """Keep a job's plan, which counts from now on; return its number.

        Raises
        ------
        BadInputError
            If the plan that it changes, `after` (None: there was none), is not the newest.
        """
        job_id = self.ensure_job(plan.job)
        with self._pen.transaction() as connection:
            rules.require_newest_plan(connection, job_id, plan.job, after)
            body = to_object_text(msgspec.to_builtins(plan))
            return self._pen.insert(t.plan, job_id=job_id, body=body, at_utc=self.stamp())

    # ---- setups

    def begin_setup(
        self,
        part_id: int,
        guide: str,
        title: str,
        tolerance_mm: float | None,
        settings: Mapping[str, Any],
        *,
        operation_id: int | None = None,
        tolerance_source: str | None = None,
        machine: str | None = None,
        again_of: int | None = None,
    ) -> int:
        """Begin a setup of a part; `settings` is what the guide was started with.

        `again_of` is the setup that this one repeats on another part.
        """
        with self._pen.transaction() as connection:
            rules.require_record(connection, t.part, part_id)
            if operation_id is not None:
                rules.require_record(connection, t.operation, operation_id)
            return self._pen.insert(
                t.setup,
                uid=self._new_uid(),
                part_id=part_id,
                operation_id=operation_id,
                guide=guide,
                title=title,
                tolerance_mm=tolerance_mm,
                tolerance_source=tolerance_source,
                settings=to_object_text(settings),
                program_version=self._program_version,
                at_utc=self.stamp(),
                machine=machine,
                station=self.station,
                again_of_uid=rules.uid_of_setup(connection, again_of),
            )

    def resume_setup(self, setup_id: int, body: Mapping[str, Any]) -> None:
        """Note that an open setup was taken up again after a restart."""
        with self._pen.transaction() as connection:
            rules.require_open_setup(connection, setup_id)
            self._event(setup_id, "resumed", body)

    def finish_setup(self, setup_id: int, verdict: Mapping[str, Any]) -> None:
        """Close a setup for good; the word under "verdict" is kept apart for finding.

        Raises
        ------
        BookFinishedError
            If it is closed already.
        BookError
            If one of its sweeps was not ended.
        """
        with self._pen.transaction() as connection:
            rules.require_open_setup(connection, setup_id)
            rules.require_no_open_sweep(connection, setup_id)
            self._event(setup_id, "finished", verdict)

    def abandon_setup(self, setup_id: int, reason: str) -> None:
        """Close a setup that came to nothing; its open sweeps end as incomplete."""
        with self._pen.transaction() as connection:
            rules.require_open_setup(connection, setup_id)
            for sweep in queries.open_sweeps(connection, setup_id):
                self._end(sweep.id, "incomplete", 0, ("incomplete",))
            self._event(setup_id, "abandoned", {"reason": reason})

    def supersede(self, setup_id: int, by_setup_id: int, reason: str) -> None:
        """Say that a closed setup no longer counts because of a later one.

        Raises
        ------
        BadInputError
            If there is no such setup, it is still open, it is not the earlier of
            the two, or it was superseded before.
        """
        with self._pen.transaction() as connection:
            rules.require_supersedable(connection, setup_id, by_setup_id)
            self._pen.insert(
                t.superseded_by,
                setup_id=setup_id,
                by_setup_id=by_setup_id,
                reason=reason,
                at_utc=self.stamp(),
            )

    def open_setups(self) -> list[SetupLine]:
        """Return this home's setups that are neither finished nor abandoned, the newest first."""
        wanted = queries.Wanted(limit=1_000_000, state="open", station=self.station)
        with self._pen.transaction() as connection:
            return queries.setup_lines(connection, wanted)

    # ---- what belongs to a setup

    def add_instrument(self, setup_id: int, kind: str, snapshot: Mapping[str, Any]) -> int:
        """Keep an instrument as it was known when it was used; found by its "name"."""
        name = snapshot.get("name")
        return self._add(
            t.instrument_snapshot,
            setup_id,
            kind=kind,
            body=to_object_text(snapshot),
            name=name if isinstance(name, str) else None,
        )

    def add_sizes(self, setup_id: int, sizes: Sequence[Size]) -> None:
        """Keep sizes that were taken by hand; of one key the last one kept counts."""
        with self._pen.transaction() as connection:
            rules.require_open_setup(connection, setup_id)
            for size in sizes:
                self._pen.insert(
                    t.size, setup_id=setup_id, **msgspec.structs.asdict(size), at_utc=self.stamp()
                )

    def add_result(
        self,
        setup_id: int,
        kind: str,
        schema: int,
        body: Mapping[str, Any],
        *,
        sweep_id: int | None = None,
    ) -> int:
        """Keep a result as JSON with the version of its schema."""
        return self._add(
            t.result,
            setup_id,
            sweep_id=sweep_id,
            kind=kind,
            schema_version=schema,
            body=to_object_text(body),
        )

    def add_tick(self, setup_id: int, list_name: str, line_id: str, who: str, ticked: bool) -> int:
        """Keep one touch of one line of a checklist: on, or off again.

        A finished setup still takes those of the list before power, which is touched last.
        """
        with self._pen.transaction() as connection:
            rules.require_tickable(connection, setup_id, list_name)
            return self._pen.insert(
                t.tick,
                setup_id=setup_id,
                list_name=list_name,
                line_id=line_id,
                who=who,
                ticked=ticked,
                at_utc=self.stamp(),
            )

    def add_photo(
        self,
        setup_id: int,
        jpeg: bytes,
        caption: str,
        kind: Literal["raw", "annotated"],
        meta: Mapping[str, Any],
        *,
        sweep_id: int | None = None,
    ) -> str:
        """Keep a photo and return its SHA-256, which is also the file's name.

        Raises
        ------
        BadInputError
            If the bytes are no JPEG.
        """
        with self._pen.transaction() as connection:
            rules.require_open_setup(connection, setup_id)
        sha256 = keep_photo(self.home, jpeg)
        self._add(
            t.photo,
            setup_id,
            sweep_id=sweep_id,
            sha256=sha256,
            size_bytes=len(jpeg),
            kind=kind,
            caption=caption,
            meta=to_object_text(meta),
        )
        return sha256

    # ---- scratch

    def put_session_state(self, key: str, state: bytes) -> None:
        """Keep what a live session needs to go on; overwrites, and is no record."""
        with self._pen.transaction() as connection:
            scratch.put(connection, self._own(key), state, self.stamp())

    def get_session_state(self, key: str) -> bytes | None:
        """Return what was kept under `key`, None where nothing was.

        Raises
        ------
        BookDamagedError
            If it is not what was kept.
        """
        with self._pen.transaction() as connection:
            return scratch.get(connection, self._own(key))

    def _own(self, key: str) -> str:
        """Return the key of this home's scratch, apart from others' in a shared book."""
        return key if self.station is None else f"{self.station}: {key}"
