"""The one live setup: pictures and touches in, publications and the book out.

No sockets, no threads, no clocks of its own: drivable in one process with
simulated time. Everything runs in the thread that opened the book.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from math import degrees
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readings import BookError, CollarAngle, Frame, Reading, SparehandError
from records import Book, BookDamagedError
from setups import (
    CameraBack,
    CameraLost,
    Changed,
    Event,
    Finish,
    KeepMeasured,
    KeepResult,
    KeepTick,
    KeepTurn,
    LeftOut,
    Next,
    SetupState,
    Sized,
    Still,
    Touched,
    Turned,
    Void,
    advance,
    guide_of,
    step_of,
)
from setups.state import Clock, Effect
from stream.arcs_desk import arc_done, arc_order
from stream.bringing import bring_in
from stream.capture import Capture, Happened
from stream.desk import (
    begin_order,
    change_order,
    mark_order,
    size_order,
    supersede_order,
    superseded_words,
    touch_order,
)
from stream.faults import LOST_AFTER_S
from stream.given import Publish, Seen, Tools
from stream.job_desk import plan_order, planned_words
from stream.keeping import SESSION_KEY, Kept, plain, taken_up
from stream.ledger import Ledger
from stream.marks import UNDO_S, Marks
from stream.messages import (
    Answer,
    Command,
    Live,
    Progress,
    SessionView,
    Signal,
    SignalWord,
    Trouble,
)
from stream.nose import NoseWatch
from stream.palm import PalmWatch
from stream.showing import Showing
from stream.target_stops import Pairs, with_place, with_target
from stream.troubles import Troubles
from stream.turning import Began, Dropped, Taken
from stream.views import live_line, seen_sense, trace_with
from vision.target_pair import TargetPair

__all__ = ["LOST_AFTER_S", "Publish", "Seen", "Session", "Tools"]

PROGRESS_S = 0.1

WAIT_FOR_MARKS = ("prepare", "sizes", "point", "places", "change", "todo", "lock", "turns")
"""Kinds of steps that a key, a pedal or a palm goes on with."""

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
        revision: int = 0,
    ) -> None:
        self._tools = tools
        self._publish = publish
        self._clock = clock
        self._now = now
        self._ledger = Ledger(book, now, publish)
        self._capture = Capture(tools.instrument)
        self._kept: Kept | None = None
        self._scratch: Kept | None = None
        self._troubles = Troubles(clock())
        self._away = False
        self._marks = Marks()
        self._palm = PalmWatch()
        self._nose = NoseWatch()
        self._picture: NDArray[np.uint8] | None = None
        self._pairs = Pairs()
        self._before: Kept | None = None
        self._progress_s = clock()
        self._good: Seen | None = None
        self._refused = 0
        self._live: Live | None = None
        self._showing = Showing(publish, revision)
        self._resume()

    # what is asked of it

    @property
    def state(self) -> SetupState | None:
        """The state of the setup, None while none was begun."""
        return self._kept.state if self._kept else None

    def view(self) -> SessionView:
        """Return what a page draws."""
        return self._showing.view

    def live(self) -> Live | None:
        """Return what the last picture said, None before the first."""
        return self._live

    @property
    def broken(self) -> bool:
        """Whether the book under it is damaged or gone: it must be opened anew."""
        return self._troubles.broken

    @property
    def at_targets(self) -> bool:
        """Whether the setup on show looks at targets instead of a dial."""
        return self.state is not None and guide_of(self.state).task == "axis"

    @property
    def running(self) -> bool:
        """Whether a setup is begun and not yet finished."""
        return self._kept is not None and not self._kept.finished

    def troubles(self) -> tuple[Trouble, ...]:
        """Return what keeps it from its work right now."""
        return self._troubles.all()

    def tell_troubles(self, troubles: tuple[Trouble, ...], *, away: bool = False) -> None:
        """Show troubles from outside: the disk, the clock, a camera node.

        While a node is `away` its pictures are late, not lost: a turn under way goes on, and what
        moved meanwhile is seen then. Without one the lists lapse as with any lost camera.
        """
        self._away = away
        self._troubles.outside = troubles

    def observe(
        self,
        frame: Frame,
        reading: Reading,
        collar: CollarAngle | None,
        pair: TargetPair | None = None,
    ) -> None:
        """Take one picture with what was read in it."""
        now_s = self._clock()
        self._picture = frame.image
        self._pairs.take(pair)
        if (reading.ok or pair is not None) and frame.image is not None:
            self._good = Seen(frame, reading, collar, pair)
        self._troubles.saw(reading, frame.image, now_s)
        self._guarded(lambda: self._take(reading, collar, now_s))
        if frame.image is not None and self._palm.look(frame.image, frame.t_s):
            self.command(Command("mark", {"by": "palm"}))
        self._live = live_line(
            frame,
            reading,
            collar,
            self._capture.pose(),
            self.state,
            self._tools.instrument.graduation_mm,
        )
        self._live = with_place(self._live, pair, self.state)
        seen = reading.sight is not None or collar is not None
        nose = self._nose.look(frame.image, frame.t_s, fitted=seen)
        self._live = replace(self._live, nose=nose)
        self._publish("reading", self._live)
        self._publish_progress(now_s)

    def tick(self, now_s: float | None = None) -> None:
        """Let time pass: commit what waits, notice a lost camera, let lists lapse."""
        at_s = self._clock() if now_s is None else now_s
        self._guarded(lambda: self._pass_time(at_s))

    def command(self, command: Command) -> Answer:
        """Do one command; a mistake is answered with a sentence."""
        orders: dict[str, Callable[[Mapping[str, Any]], Answer]] = {
            "begin": self._begin,
            "plan": self._plan,
            "next": self._next,
            "mark": self._mark,
            "touch": self._touch,
            "changed": self._changed,
            "nose": self._bare_nose,
            "size": self._size,
            "leave-out": self._leave_out,
            "abandon": self._abandon,
            "supersede": self._supersede,
            "import": self._import,
            "view": lambda args: Answer(True, body=plain(self.view())),
        }
        order = orders.get(command.name)
        if order is None:
            known = ", ".join(orders)
            said = f"There is no command {command.name!r}; there are {known}."
            return Answer(False, said, seq=command.seq)
        try:
            answer = order(command.args)
        except SparehandError as error:
            self._troubles.note_broken(error)
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
        card, state = begin_order(args, tools.instrument, tools.wheels, tools.shop_lines)
        snapshots = tools.snapshots or {"dial": plain(tools.instrument)}
        setup_id = self._ledger.begin(card, snapshots)
        state = replace(state, active_s=self._clock())
        self._adopt(
            Kept(state, setup_id, card.job, self.view().revision, self._clock(), self._now())
        )
        self._enter()
        return Answer(True, f"{card.title}: begun as setup {setup_id}.", body=setup_id)

    def _plan(self, args: Mapping[str, Any]) -> Answer:
        plan, after = plan_order(args)
        return Answer(True, planned_words(plan), body=self._ledger.book.keep_plan(plan, after))

    def _next(self, args: Mapping[str, Any]) -> Answer:
        state = self._running()
        if step_of(state).kind in ("point", "places"):
            self._capture.claim()
            return Answer(True, "Hold still.")
        changed = self._apply(Next(self._clock()))
        return Answer(changed, "" if changed else "This step does not wait for next.")

    def _mark(self, args: Mapping[str, Any]) -> Answer:
        by, now_s = mark_order(args), self._clock()
        kind = step_of(self._running()).kind
        did: SignalWord = "nothing"
        said = "This step does not wait for a mark."
        if kind in WAIT_FOR_MARKS or self._marks.may_undo(now_s):
            did, said = self._marked(self._marks.touch(self._capture.turning, now_s), args, now_s)
        self._publish("signal", Signal(by, did, said, now_s))
        return Answer(did != "nothing", said)

    def _marked(
        self, did: SignalWord, args: Mapping[str, Any], now_s: float
    ) -> tuple[SignalWord, str]:
        """Do what a mark asks for; return what it was, and the sentence about it."""
        if did == "undone":
            self._take_back(now_s)
            return did, "Taken back."
        if did == "nothing":
            return did, "That was the same touch."
        self._before = None
        if step_of(self._running()).kind != "turns":
            self._before = self._kept
            return ("next", self._next(args).said or "On; the same again takes it back.")
        if did == "begun":
            self._happen_all(self._capture.begin_here(), now_s)
            return did, "The turn begins here."
        return did, f"The turn ends here; the same again within {UNDO_S:.0f} s and it goes on."

    def _take_back(self, now_s: float) -> None:
        before, self._before = self._before, None
        if before is not None:
            self._adopt(before)
            self._enter()
        elif self._marks.undid == "begun":
            self._happen_all(self._capture.begin_here(), now_s)

    def _touch(self, args: Mapping[str, Any]) -> Answer:
        self._running()
        checklist, line, who = touch_order(args)
        changed = self._apply(Touched(checklist, line, who, self._clock()))
        return Answer(changed, "" if changed else "There is no such line.")

    def _changed(self, args: Mapping[str, Any]) -> Answer:
        what = change_order(args)
        if self._kept is None:
            return Answer(True)
        self._apply(Changed(what, self._clock()))
        return Answer(True)

    def _bare_nose(self, args: Mapping[str, Any]) -> Answer:
        if self._nose.fitted:
            return Answer(False, "I still see the dial or its collar: take both off, then repeat.")
        if self._picture is None or not self._nose.teach(self._picture):
            return Answer(False, "There is no lit picture to remember: light the nose and repeat.")
        return Answer(True, "Remembered: I say bare only while it looks like this.")

    def _size(self, args: Mapping[str, Any]) -> Answer:
        key, value = size_order(guide_of(self._running()), args)
        changed = self._apply(Sized(key, value, self._clock()))
        return Answer(changed, "" if changed else "Sizes are entered at their own step.")

    def _leave_out(self, args: Mapping[str, Any]) -> Answer:
        arc, out = arc_order(args)
        before = self._running()
        if self._kept is not None and self._kept.finished:
            return Answer(False, "This setup is closed: its arcs stay as they are in the book.")
        self._apply(LeftOut(arc, out, self._clock()))
        state = self._running()
        if state.left_out == before.left_out:
            return Answer(False, state.note)
        return Answer(True, arc_done(arc, state.note, out=out))

    def _supersede(self, args: Mapping[str, Any]) -> Answer:
        setup_id, by_id, reason = supersede_order(args)
        self._ledger.book.supersede(setup_id, by_id, reason)
        return Answer(True, superseded_words(setup_id, by_id))

    def _import(self, args: Mapping[str, Any]) -> Answer:
        if self._kept is not None and not self._kept.finished:
            return Answer(False, "A setup is running: finish it or give it up, then import.")
        return bring_in(self._ledger.book, args)

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
        self._happen_all(self._capture.look(reading, collar, now_s), now_s)
        self._ledger.commit_due(now_s)

    def _happen_all(self, happened: list[Happened], now_s: float) -> None:
        for one in happened:
            self._happen(one, now_s)

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
                self._apply(with_target(happened, self._pairs, self.state))

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
        self._troubles.look(now_s)
        self._ledger.commit_due(now_s)
        if self.state is None:
            return
        waits = self._away and self._ledger.kept is not None
        if self._troubles.lost(now_s) and not waits and not self.state.camera_lost:
            self._capture.lose()
            self._apply(CameraLost(now_s))
        if self._marks.end_due(now_s):
            self._happen_all(self._capture.end_here(now_s), now_s)
        self._apply(Clock(now_s))

    def _publish_progress(self, now_s: float) -> None:
        kept, pose = self._ledger.kept, self._capture.pose()
        if kept is None or pose.turned_rad is None or now_s - self._progress_s < PROGRESS_S:
            return
        self._progress_s = now_s
        turned = degrees(pose.turned_rad)
        told = Progress(self._ledger.setup_id, kept[0], turned, pose.samples, kept[1])
        self._publish("progress", told)

    # the state

    def _apply(self, event: Event) -> bool:
        """Advance by one event; the new state stands only once all it asks for is kept."""
        kept = self._kept
        if kept is None:
            return False
        after, effects = advance(kept.state, event)
        self._ledger.keep_lapses(kept.state.ticks, after.ticks, effects, closed=kept.finished)
        for effect in effects:
            self._keep(effect, after)
        if after is kept.state:
            return bool(effects)
        if after.step != kept.state.step and step_of(kept.state).kind == "sizes":
            self._ledger.keep_sizes(after)
        finished = kept.finished or any(isinstance(effect, Finish) for effect in effects)
        self._adopt(replace(kept, state=after, finished=finished))
        if after.step != kept.state.step:
            self._enter()
        return True

    def _enter(self) -> None:
        state = self.state
        self._capture.enter(step_of(state).kind if state else None)
        if self._before is None:
            self._marks.forget()
        self._ledger.end_turn("incomplete", flags=("incomplete",))

    def _keep(self, effect: Effect, after: SetupState) -> None:
        match effect:
            case KeepTick():
                self._ledger.keep_tick(effect)
            case KeepTurn():
                self._ledger.keep_turn(effect, self._refused)
            case KeepResult():
                self._ledger.keep_result(effect)
                if not effect.again:
                    self._ledger.keep_photo(self._good, "at the result")
            case KeepMeasured():
                self._ledger.keep_measured(effect)
                self._ledger.keep_photo(self._good, "at the result")
            case Finish():
                self._ledger.keep_photo(self._good, "at the finish")
                corrections = max(after.fine.corrections, after.task.corrections)
                self._ledger.finish(effect, corrections)

    def _adopt(self, kept: Kept) -> None:
        """Make `kept` the state: into the scratch where it tells something new, then on show."""
        kept = replace(kept, revision=self.view().revision, at_s=self._clock(), at_utc=self._now())
        if self._scratch is None or kept.tells_more_than(self._scratch):
            self._ledger.put(SESSION_KEY, kept.encode())
            self._scratch = kept
        self._kept = kept

    def _guarded(self, work: Callable[[], None]) -> None:
        """Do `work`; where the book does not take it, say so and go on with what stands."""
        now_s = self._clock()
        try:
            work()
            self._troubles.book_took(now_s)
        except BookError as error:
            self._troubles.book_failed(error, now_s)
        self._show()

    def _show(self) -> None:
        """Publish the view where it changed."""
        told = tuple(trouble.sentence for trouble in self._troubles.all())
        self._showing.show(self._kept, told, camera_lost=self._troubles.camera_lost)

    def _resume(self) -> None:
        """Take up what the last session kept; what cannot be taken up is closed."""
        kept = self._kept_before()
        open_ids = [line.id for line in self._ledger.book.open_setups()]
        if kept is not None and (kept.finished or kept.setup_id in open_ids):
            state = taken_up(kept, self._clock(), self._now())
            self._take_up(replace(kept, state=state))
        for setup_id in open_ids:
            if self._kept is None or setup_id != self._kept.setup_id:
                self._ledger.book.abandon_setup(setup_id, "its session could not be resumed")
        self._show()

    def _kept_before(self) -> Kept | None:
        """Return what the last session kept; None where it kept nothing or that is damaged."""
        try:
            content = self._ledger.get(SESSION_KEY)
        except BookDamagedError:
            return None
        return Kept.decode(content) if content else None

    def _take_up(self, kept: Kept) -> None:
        self._showing.count_on(kept.revision)
        if kept.finished:
            self._ledger.setup_id = kept.setup_id
        else:
            self._ledger.resume(kept.setup_id, kept.state.step)
        self._adopt(kept)
        self._enter()
