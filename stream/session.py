"""The one live setup: pictures and touches in, publications and the book out.

No sockets, no threads, no clocks of its own: drivable in one process with
simulated time. Everything runs in the thread that opened the book.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from readings import BookError, CollarAngle, Frame, Reading, SparehandError
from records import Book
from setups import (
    CameraBack,
    CameraLost,
    Event,
    Finish,
    KeepResult,
    KeepTick,
    KeepTurn,
    Next,
    SetupState,
    Still,
    Touched,
    Turned,
    Void,
    advance,
    step_of,
)
from setups.state import Clock, Effect
from stream.capture import Capture, Happened
from stream.desk import begin_order, touch_order
from stream.given import Publish, Seen, Tools
from stream.keeping import SESSION_KEY, Kept, plain, taken_up
from stream.ledger import Ledger
from stream.messages import Answer, Command, Live, SessionView
from stream.turning import Began, Dropped, Taken
from stream.views import live_line, seen_sense, session_view, trace_with

__all__ = ["LOST_AFTER_S", "Publish", "Seen", "Session", "Tools"]

LOST_AFTER_S = 2.0
"""No picture for so long: the camera is lost."""

TROUBLE_S = 4.0
"""How long a trouble with the book stays on show at least."""

REVISIONS_APART = 1000
"""A resumed session counts on from here, so that no page takes it for what it has drawn."""

NOT_IN_BOOK = "This turn did not get into the book: turn once more."


class Session:
    """The live session; see the module's docstring.

    Parameters
    ----------
    clock
        Monotonic seconds; in simulated time the bench's.
    now
        The wall's clock in UTC.
    """

    def __init__(
        self,
        book: Book,
        tools: Tools,
        publish: Publish,
        *,
        clock: Callable[[], float],
        now: Callable[[], datetime],
    ) -> None:
        self._tools = tools
        self._publish = publish
        self._clock = clock
        self._now = now
        self._ledger = Ledger(book, now, lambda saved: publish("saved", saved))
        self._capture = Capture(tools.instrument)
        self._kept: Kept | None = None
        self._scratch: Kept | None = None
        self._trouble = ("", clock())
        self._good: Seen | None = None
        self._seen_s = clock()
        self._refused = 0
        self._live: Live | None = None
        self._view = SessionView(0)
        self._shown: tuple[Kept | None, str] | None = None
        self._resume()

    # what is asked of it

    @property
    def state(self) -> SetupState | None:
        """The state of the setup, None while none was begun."""
        return self._kept.state if self._kept else None

    def view(self) -> SessionView:
        """Return what a page draws."""
        return self._view

    def live(self) -> Live | None:
        """Return what the last picture said, None before the first."""
        return self._live

    def observe(self, frame: Frame, reading: Reading, collar: CollarAngle | None) -> None:
        """Take one picture with what was read in it."""
        now_s = self._clock()
        self._seen_s = now_s
        if reading.ok and frame.image is not None:
            self._good = Seen(frame, reading, collar)
        self._guarded(lambda: self._take(reading, collar, now_s))
        self._live = live_line(
            frame,
            reading,
            collar,
            self._capture.pose(),
            self.state,
            self._tools.instrument.graduation_mm,
        )
        self._publish("reading", self._live)

    def tick(self, now_s: float | None = None) -> None:
        """Let time pass: commit what waits, notice a lost camera, let lists lapse."""
        at_s = self._clock() if now_s is None else now_s
        self._guarded(lambda: self._pass_time(at_s))

    def command(self, command: Command) -> Answer:
        """Do one command; a mistake is answered with a sentence."""
        orders: dict[str, Callable[[Mapping[str, Any]], Answer]] = {
            "begin": self._begin,
            "next": self._next,
            "touch": self._touch,
            "abandon": self._abandon,
            "view": lambda args: Answer(True, body=plain(self._view)),
        }
        order = orders.get(command.name)
        if order is None:
            known = ", ".join(orders)
            said = f"There is no command {command.name!r}; there are {known}."
            return Answer(False, said, seq=command.seq)
        try:
            answer = order(command.args)
        except SparehandError as error:
            answer = Answer(False, str(error))
        self._show()
        return replace(answer, seq=command.seq)

    def close(self) -> None:
        """Commit what waits; the setup stays open and is resumed by the next session."""
        self._guarded(lambda: self._ledger.end_turn("incomplete", flags=("incomplete",)))

    # commands

    def _begin(self, args: Mapping[str, Any]) -> Answer:
        kept = self._kept
        if kept is not None and not kept.finished:
            said = "A setup is running: finish it or give it up before another is begun."
            return Answer(False, said)
        tools = self._tools
        card, state = begin_order(args, tools.instrument, tools.wheels)
        snapshots = tools.snapshots or {"dial": plain(tools.instrument)}
        setup_id = self._ledger.begin(card, snapshots)
        state = replace(state, active_s=self._clock())
        self._adopt(
            Kept(state, setup_id, card.job, self._view.revision, self._clock(), self._now())
        )
        self._enter()
        return Answer(True, f"{card.title}: begun as setup {setup_id}.", body=setup_id)

    def _next(self, args: Mapping[str, Any]) -> Answer:
        state = self._running()
        if step_of(state).kind == "point":
            self._capture.claim()
            return Answer(True, "Hold the stylus still.")
        changed = self._apply(Next(self._clock()))
        return Answer(changed, "" if changed else "This step does not wait for next.")

    def _touch(self, args: Mapping[str, Any]) -> Answer:
        self._running()
        checklist, line, who = touch_order(args)
        changed = self._apply(Touched(checklist, line, who, self._clock()))
        return Answer(changed, "" if changed else "There is no such line.")

    def _abandon(self, args: Mapping[str, Any]) -> Answer:
        self._running()
        if self._kept is not None and not self._kept.finished:
            self._ledger.abandon("given up by the person")
        self._kept = None
        self._capture.enter(None)
        self._ledger.put(SESSION_KEY, b"")
        return Answer(True, "The setup was given up; what was found so far stays in the book.")

    def _running(self) -> SetupState:
        if self._kept is None:
            msg = "No setup is running: begin one first."
            raise BookError(msg)
        return self._kept.state

    # pictures and time

    def _take(self, reading: Reading, collar: CollarAngle | None, now_s: float) -> None:
        if self.state is not None and self.state.camera_lost:
            self._apply(CameraBack(now_s))
        for happened in self._capture.look(reading, collar, now_s):
            self._happen(happened, now_s)
        self._ledger.commit_due(now_s)

    def _happen(self, happened: Happened, now_s: float) -> None:
        match happened:
            case Began(sense):
                self._ledger.end_turn("incomplete", flags=("incomplete",))
                self._begin_turn(sense)
            case Taken(samples):
                self._ledger.take(samples, now_s)
            case Dropped():
                self._ledger.end_turn("incomplete", flags=("incomplete",))
            case Turned():
                self._turned(happened)
            case Void():
                self._apply(happened)
                self._ledger.end_turn("void", flags=(happened.flag,))
            case Still():
                self._apply(happened)

    def _begin_turn(self, sense: int) -> None:
        state = self._running()
        self._refused = 0
        purpose = "check" if step_of(state).locked else "turns"
        self._ledger.begin_turn(purpose, seen_sense(sense, state), state)

    def _turned(self, turned: Turned) -> None:
        before = self._running()
        if not self._ledger.turn_open:
            raise BookError(NOT_IN_BOOK)
        self._refused = turned.sweep.refused
        self._apply(turned)
        self._ledger.end_turn("incomplete", flags=("incomplete",))
        if self._kept is not None:
            anew = before.fine.first is None
            trace = trace_with(self._kept.trace, turned.sweep, before, anew=anew)
            self._adopt(replace(self._kept, trace=trace))

    def _pass_time(self, now_s: float) -> None:
        self._ledger.commit_due(now_s)
        if self.state is None:
            return
        if now_s - self._seen_s > LOST_AFTER_S and not self.state.camera_lost:
            self._capture.lose()
            self._apply(CameraLost(now_s))
        self._apply(Clock(now_s))

    # the state

    def _apply(self, event: Event) -> bool:
        """Advance by one event; the new state stands only once all it asks for is kept."""
        kept = self._kept
        if kept is None:
            return False
        after, effects = advance(kept.state, event)
        for effect in effects:
            self._keep(effect, after)
        if after is kept.state:
            return bool(effects)
        finished = kept.finished or any(isinstance(effect, Finish) for effect in effects)
        self._adopt(replace(kept, state=after, finished=finished))
        if after.step != kept.state.step:
            self._enter()
        return True

    def _enter(self) -> None:
        state = self.state
        self._capture.enter(step_of(state).kind if state else None)
        self._ledger.end_turn("incomplete", flags=("incomplete",))

    def _keep(self, effect: Effect, after: SetupState) -> None:
        match effect:
            case KeepTick():
                self._ledger.keep_tick(effect)
            case KeepTurn():
                self._ledger.keep_turn(effect, self._refused)
            case KeepResult():
                self._ledger.keep_result(effect)
                self._ledger.keep_photo(self._good, "at the result")
            case Finish():
                self._ledger.keep_photo(self._good, "at the finish")
                self._ledger.finish(effect, after.fine.corrections)

    def _adopt(self, kept: Kept) -> None:
        """Make `kept` the state: into the scratch where it tells something new, then on show."""
        kept = replace(kept, revision=self._view.revision, at_s=self._clock(), at_utc=self._now())
        if self._scratch is None or kept.tells_more_than(self._scratch):
            self._ledger.put(SESSION_KEY, kept.encode())
            self._scratch = kept
        self._kept = kept

    def _guarded(self, work: Callable[[], None]) -> None:
        """Do `work`; where the book does not take it, say so and go on with what stands."""
        now_s = self._clock()
        try:
            work()
            if now_s - self._trouble[1] > TROUBLE_S:
                self._trouble = ("", now_s)
        except BookError as error:
            self._trouble = (str(error), now_s)
        self._show()

    def _show(self) -> None:
        """Publish the view where it changed."""
        shown = self._shown
        if shown is not None and shown[0] is self._kept and shown[1] == self._trouble[0]:
            return
        self._shown = (self._kept, self._trouble[0])
        view = session_view(self._kept, self._trouble[0]) if self._kept else SessionView(0)
        view = replace(view, revision=self._view.revision)
        if view == self._view and self._view.revision:
            return
        self._view = replace(view, revision=self._view.revision + 1)
        self._publish("state", self._view)

    def _resume(self) -> None:
        """Take up what the last session kept; what cannot be taken up is closed."""
        content = self._ledger.get(SESSION_KEY)
        kept = Kept.decode(content) if content else None
        open_ids = [line.id for line in self._ledger.book.open_setups()]
        if kept is not None and (kept.finished or kept.setup_id in open_ids):
            state = taken_up(kept, self._clock(), self._now())
            self._take_up(replace(kept, state=state))
        for setup_id in open_ids:
            if self._kept is None or setup_id != self._kept.setup_id:
                self._ledger.book.abandon_setup(setup_id, "its session could not be resumed")
        self._show()

    def _take_up(self, kept: Kept) -> None:
        self._view = SessionView(kept.revision + REVISIONS_APART)
        if kept.finished:
            self._ledger.setup_id = kept.setup_id
        else:
            self._ledger.resume(kept.setup_id, kept.state.step)
        self._adopt(kept)
        self._enter()
