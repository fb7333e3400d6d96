"""What the session puts in the book: the sweep being captured, results, ticks, photos.

A method that returns has committed. The book is never behind what was told.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from readings import Sample, Sense
from records import LAPSED, Book, Size
from setups import (
    BEFORE_POWER,
    GUIDES,
    Finish,
    KeepMeasured,
    KeepResult,
    KeepTick,
    KeepTurn,
    SetupState,
)
from setups.checklists import Tick
from setups.state import Effect
from stream.given import Publish, Seen
from stream.keeping import plain, result_body
from stream.messages import Result, Saved
from stream.photos import photo_pair

RETRY_S = 1.0
BATCH_S = 0.4
"""Samples wait no longer than this for their commit (half a second is promised)."""

RESULT_SCHEMA = 1


@dataclass(slots=True)
class OpenTurn:
    """The sweep being captured: what is committed, and what waits."""

    sweep_id: int
    batch_no: int = 0
    committed: int = 0
    waiting: list[Sample] = field(default_factory=list)
    batch: tuple[Sample, ...] = ()
    """The batch in hand; kept until it is committed, so that a retry sends the same."""
    since_s: float | None = None


@dataclass(frozen=True, slots=True)
class SetupCard:
    """What a setup is begun with."""

    job: str
    part: str
    operation: str
    guide: str
    title: str
    tolerance_mm: float
    settings: Mapping[str, Any]
    tolerance_source: str | None = None
    machine: str | None = None
    again_of: int | None = None


class Ledger:
    """Writes one setup after the other into the book."""

    def __init__(self, book: Book, now: Callable[[], datetime], publish: Publish) -> None:
        self._book = book
        self._now = now
        self._publish = publish
        self._turn: OpenTurn | None = None
        self._retry_s: float | None = None
        self.setup_id = 0

    @property
    def book(self) -> Book:
        """The book written to."""
        return self._book

    @property
    def turn_open(self) -> bool:
        """Whether a sweep is being captured."""
        return self._turn is not None

    @property
    def kept(self) -> tuple[int, int] | None:
        """The sweep being captured and how many of its samples are committed."""
        return None if self._turn is None else (self._turn.sweep_id, self._turn.committed)

    # setups

    def begin(self, card: SetupCard, snapshots: Mapping[str, Mapping[str, Any]]) -> int:
        """Begin a setup with its instruments as they are known now; return its number."""
        part_id = self._book.ensure_part(card.job, card.part)
        operation_id = self._book.ensure_operation(part_id, card.operation)
        self.setup_id = self._book.begin_setup(
            part_id,
            card.guide,
            card.title,
            card.tolerance_mm,
            card.settings,
            operation_id=operation_id,
            tolerance_source=card.tolerance_source,
            machine=card.machine,
            again_of=card.again_of,
        )
        for kind, snapshot in snapshots.items():
            self._book.add_instrument(self.setup_id, kind, snapshot)
        return self.setup_id

    def resume(self, setup_id: int, step: str) -> None:
        """Take an open setup up again; sweeps that were cut short end as incomplete."""
        self.setup_id = setup_id
        for sweep in self._book.open_sweeps():
            self._book.end_sweep(sweep.id, "incomplete", flags=("incomplete",))
        self._book.resume_setup(setup_id, {"step": step})

    def abandon(self, reason: str) -> None:
        """Close the setup as come to nothing."""
        self._book.abandon_setup(self.setup_id, reason)
        self._turn = None

    # the sweep being captured

    def begin_turn(self, purpose: str, sense: Sense | None, state: SetupState) -> None:
        """Begin a sweep; its samples carry the collar's own angles."""
        mark = state.collar
        settings: dict[str, Any] = {
            "angle": "collar",
            "collar_zero_rad": mark.zero_rad if mark else None,
            "collar_sense": mark.sense if mark else None,
        }
        if state.left_out:
            settings["left_out_deg"] = [list(arc) for arc in state.left_out]
        sweep_id = self._book.begin_sweep(
            self.setup_id, purpose, sense, self._now(), settings=settings
        )
        self._turn = OpenTurn(sweep_id)

    def take(self, samples: tuple[Sample, ...], now_s: float) -> None:
        """Take samples of the sweep; they are committed with the next batch."""
        turn = self._turn
        if turn is None:
            return
        turn.waiting.extend(samples)
        if turn.since_s is None:
            turn.since_s = now_s

    def commit_due(self, now_s: float) -> None:
        """Commit the waiting samples where they have waited long enough.

        A book that did not take them is tried again a second later: it may hold up each try.
        """
        turn = self._turn
        if turn is None or turn.since_s is None or now_s - turn.since_s < BATCH_S:
            return
        if self._retry_s is not None and self._retry_s - RETRY_S <= now_s < self._retry_s:
            return
        self._retry_s = now_s + RETRY_S
        self._commit()
        self._retry_s = None

    def end_turn(
        self,
        state: Literal["complete", "incomplete", "void"],
        result: Mapping[str, Any] | None = None,
        *,
        refused: int = 0,
        flags: tuple[str, ...] = (),
    ) -> None:
        """Commit what waits and end the sweep; does nothing where none is open."""
        if self._turn is None:
            return
        self._commit()
        self._book.end_sweep(
            self._turn.sweep_id, state, result, schema=RESULT_SCHEMA, refused=refused, flags=flags
        )
        turn, self._turn = self._turn, None
        complete = state == "complete"
        saved = Saved(self.setup_id, turn.sweep_id, turn.committed, complete)
        self._publish("saved", saved)
        if complete and result is not None:
            self._publish("result", Result(self.setup_id, "turn", turn.sweep_id, result))

    def _commit(self) -> None:
        turn = self._turn
        while turn is not None and (turn.batch or turn.waiting):
            if not turn.batch:
                turn.batch, turn.waiting = tuple(turn.waiting), []
            self._book.append_samples(turn.sweep_id, turn.batch_no, turn.batch)
            turn.committed += len(turn.batch)
            turn.batch_no, turn.batch, turn.since_s = turn.batch_no + 1, (), None
            saved = Saved(self.setup_id, turn.sweep_id, turn.committed, complete=False)
            self._publish("saved", saved)

    # what the machine asks to be kept

    def keep_tick(self, effect: KeepTick) -> None:
        """Keep a touch of a line."""
        tick = effect.tick
        self._book.add_tick(
            self.setup_id, tick.checklist, tick.line, tick.who, ticked=effect.ticked
        )

    def keep_lapses(
        self,
        before: Sequence[Tick],
        after: Sequence[Tick],
        effects: Sequence[Effect],
        *,
        closed: bool,
    ) -> None:
        """Keep the ticks that lapsed as taken back: the book must not show them as standing.

        Of a closed setup only the list before power still counts.
        """
        still = {(tick.checklist, tick.line) for tick in after}
        touched = {(e.tick.checklist, e.tick.line) for e in effects if isinstance(e, KeepTick)}
        for tick in before:
            key = (tick.checklist, tick.line)
            counts = not closed or tick.checklist == BEFORE_POWER.key
            if key not in still | touched and counts:
                self._book.add_tick(self.setup_id, *key, LAPSED, ticked=False)

    def keep_sizes(self, state: SetupState) -> None:
        """Keep the sizes that a person took by hand, each with its tool."""
        sizes = [
            Size(size.key, size.label, state.task.size(size.key), size.unit, size.tool)
            for size in GUIDES[state.guide].sizes
        ]
        self._book.add_sizes(self.setup_id, sizes)

    def keep_turn(self, effect: KeepTurn, refused: int) -> None:
        """End the sweep with its result, or as void."""
        if effect.result is None:
            self.end_turn("void", refused=refused, flags=effect.flags)
        else:
            body = result_body(effect.result)
            self.end_turn("complete", body, refused=refused, flags=effect.flags)

    def keep_result(self, effect: KeepResult) -> None:
        """Keep the numbers of a pair of turns with their budget; found anew, they say so."""
        body: dict[str, Any] = {
            "found": plain(effect.found),
            "centring": result_body(effect.result),
        }
        if effect.again:
            body["again"] = True
        self._book.add_result(self.setup_id, "centring", RESULT_SCHEMA, body)
        self._publish("result", Result(self.setup_id, "centring", None, body["found"]))

    def keep_measured(self, effect: KeepMeasured) -> None:
        """Keep what a round found, with the readings at its places."""
        body = {"measured": plain(effect.measured), "runs": [plain(run) for run in effect.runs]}
        self._book.add_result(self.setup_id, effect.task, RESULT_SCHEMA, body)
        self._publish("result", Result(self.setup_id, effect.task, None, body["measured"]))

    def keep_photo(self, seen: Seen | None, caption: str) -> None:
        """Keep a picture as it was and with what was read drawn on it, where there is one."""
        if seen is None or seen.frame.image is None:
            return
        raw, annotated = photo_pair(seen.frame.image, seen.reading, seen.collar)
        meta = {
            "t_s": seen.frame.t_s,
            "index": seen.frame.index,
            "source": seen.frame.source,
            "value_mm": seen.reading.value_mm,
            "sigma_mm": seen.reading.sigma_mm,
        }
        self._book.add_photo(self.setup_id, raw, caption, "raw", meta)
        self._book.add_photo(self.setup_id, annotated, caption, "annotated", meta)

    def finish(self, effect: Finish, corrections: int) -> None:
        """Close the setup with its verdict."""
        found = effect.found
        verdict = {"verdict": found.verdict, "corrections": corrections, "found": plain(found)}
        self._book.finish_setup(self.setup_id, verdict)
        self._publish("result", Result(self.setup_id, "finish", None, verdict))

    # scratch

    def put(self, key: str, content: bytes) -> None:
        """Keep the session's scratch."""
        self._book.put_session_state(key, content)

    def get(self, key: str) -> bytes | None:
        """Return the session's scratch."""
        return self._book.get_session_state(key)
