"""The setup in hand: its state, advanced by events, and the book that keeps what they ask for.

No sockets, no threads, no clocks of its own. A new state stands only once the book took what it
asks for; what is needed to go on after a restart goes into the book's scratch.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from readings import BookError
from records import BookDamagedError
from setups import (
    Event,
    Finish,
    KeepMeasured,
    KeepResult,
    KeepTick,
    KeepTurn,
    SetupState,
    Still,
    Turned,
    Void,
    advance,
    guide_of,
    step_of,
)
from setups.state import Effect
from stream.capture import Capture, Happened
from stream.given import Seen
from stream.keeping import SESSION_KEY, Kept, taken_up
from stream.ledger import Ledger
from stream.target_stops import Pairs, with_target
from stream.turning import Began, Dropped, Taken
from stream.views import seen_sense, trace_with

NOT_IN_BOOK = "This turn did not get into the book: turn once more."


class LiveSetup:
    """The one setup that is begun, or none; see the module's docstring.

    Parameters
    ----------
    clock
        Monotonic seconds; in simulated time the bench's.
    now
        The wall's clock in UTC.
    revision
        The number of the view on show.
    entered
        Called after each new step was entered.
    """

    def __init__(
        self,
        ledger: Ledger,
        capture: Capture,
        *,
        clock: Callable[[], float],
        now: Callable[[], datetime],
        revision: Callable[[], int],
        entered: Callable[[], None],
    ) -> None:
        self.ledger = ledger
        self.capture = capture
        self.pairs = Pairs()
        self.good: Seen | None = None
        """The last picture in which something was read: it goes with a result."""
        self.kept: Kept | None = None
        self._clock, self._now = clock, now
        self._revision, self._entered = revision, entered
        self._scratch: Kept | None = None
        self._refused = 0

    @property
    def state(self) -> SetupState | None:
        """The state of the setup, None while none was begun."""
        return self.kept.state if self.kept else None

    @property
    def running(self) -> bool:
        """Whether a setup is begun and not yet finished."""
        return self.kept is not None and not self.kept.finished

    @property
    def at_targets(self) -> bool:
        """Whether it looks at targets instead of a dial."""
        return self.state is not None and guide_of(self.state).task == "axis"

    def demand(self) -> SetupState:
        """Return the state of the setup.

        Raises
        ------
        BookError
            If none was begun.
        """
        if self.kept is None:
            msg = "No setup is running: begin one first."
            raise BookError(msg)
        return self.kept.state

    def begin(self, state: SetupState, setup_id: int, job: str) -> None:
        """Begin a setup that is in the book under `setup_id`."""
        self.adopt(Kept(state, setup_id, job, self._revision(), self._clock(), self._now()))
        self.enter()

    def give_up(self, reason: str) -> None:
        """Put the setup away; one that still ran is closed in the book as given up."""
        if self.running:
            self.ledger.abandon(reason)
        self.kept = None
        self.capture.enter(None)
        self.ledger.put(SESSION_KEY, b"")

    def apply(self, event: Event) -> bool:
        """Advance by one event; the new state stands only once all it asks for is kept."""
        kept = self.kept
        if kept is None:
            return False
        after, effects = advance(kept.state, event)
        self.ledger.keep_lapses(kept.state.ticks, after.ticks, effects, closed=kept.finished)
        for effect in effects:
            self._keep(effect, after)
        if after is kept.state:
            return bool(effects)
        if after.step != kept.state.step and step_of(kept.state).kind == "sizes":
            self.ledger.keep_sizes(after)
        finished = kept.finished or any(isinstance(effect, Finish) for effect in effects)
        self.adopt(replace(kept, state=after, finished=finished))
        if after.step != kept.state.step:
            self.enter()
        return True

    def enter(self) -> None:
        """Begin the step in hand: what was turned before it is closed."""
        state = self.state
        self.capture.enter(step_of(state).kind if state else None)
        self._entered()
        self.end_turn()

    def adopt(self, kept: Kept) -> None:
        """Make `kept` the state: into the scratch where it tells something new, then on show."""
        kept = replace(kept, revision=self._revision(), at_s=self._clock(), at_utc=self._now())
        if self._scratch is None or kept.tells_more_than(self._scratch):
            self.ledger.put(SESSION_KEY, kept.encode())
            self._scratch = kept
        self.kept = kept

    def end_turn(self) -> None:
        """Close a turn that is open in the book as incomplete."""
        self.ledger.end_turn("incomplete", flags=("incomplete",))

    def happen(self, happened: list[Happened], now_s: float) -> None:
        """Take in what the capture made of pictures or marks."""
        for one in happened:
            self._happen(one, now_s)

    def _happen(self, happened: Happened, now_s: float) -> None:
        match happened:
            case Began(sense):
                self.end_turn()
                self._begin_turn(sense)
            case Taken(samples):
                self.ledger.take(samples, now_s)
            case Dropped():
                self.end_turn()
            case Turned():
                self._turned(happened)
            case Void():
                self.apply(happened)
                self.ledger.end_turn("void", flags=(happened.flag,))
            case Still():
                self.apply(with_target(happened, self.pairs, self.state))

    def _begin_turn(self, sense: int) -> None:
        state = self.demand()
        self._refused = 0
        purpose = "check" if step_of(state).locked else "turns"
        self.ledger.begin_turn(purpose, seen_sense(sense, state), state)

    def _turned(self, turned: Turned) -> None:
        before = self.demand()
        if not self.ledger.turn_open:
            raise BookError(NOT_IN_BOOK)
        self._refused = turned.sweep.refused
        self.apply(turned)
        self.end_turn()
        if self.kept is not None:
            anew = before.fine.first is None
            trace = trace_with(self.kept.trace, turned.sweep, before, anew=anew)
            self.adopt(replace(self.kept, trace=trace))

    def _keep(self, effect: Effect, after: SetupState) -> None:
        match effect:
            case KeepTick():
                self.ledger.keep_tick(effect)
            case KeepTurn():
                self.ledger.keep_turn(effect, self._refused)
            case KeepResult():
                self.ledger.keep_result(effect)
                if not effect.again:
                    self.ledger.keep_photo(self.good, "at the result")
            case KeepMeasured():
                self.ledger.keep_measured(effect)
                self.ledger.keep_photo(self.good, "at the result")
            case Finish():
                self.ledger.keep_photo(self.good, "at the finish")
                corrections = max(after.fine.corrections, after.task.corrections)
                self.ledger.finish(effect, corrections)

    def resume(self, count_on: Callable[[int], None]) -> None:
        """Take up what the last session kept; what cannot be taken up is closed.

        `count_on` is given the view's number from which to count on.
        """
        kept = self._kept_before()
        open_ids = [line.id for line in self.ledger.book.open_setups()]
        if kept is not None and (kept.finished or kept.setup_id in open_ids):
            state = taken_up(kept, self._clock(), self._now())
            count_on(kept.revision)
            self._take_up(replace(kept, state=state))
        for setup_id in open_ids:
            if self.kept is None or setup_id != self.kept.setup_id:
                self.ledger.book.abandon_setup(setup_id, "its session could not be resumed")

    def _kept_before(self) -> Kept | None:
        """Return what the last session kept; None where it kept nothing or that is damaged."""
        try:
            content = self.ledger.get(SESSION_KEY)
        except BookDamagedError:
            return None
        return Kept.decode(content) if content else None

    def _take_up(self, kept: Kept) -> None:
        if kept.finished:
            self.ledger.setup_id = kept.setup_id
        else:
            self.ledger.resume(kept.setup_id, kept.state.step)
        self.adopt(kept)
        self.enter()
