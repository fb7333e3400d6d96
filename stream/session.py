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
from records import Book
from setups import (
    CameraBack,
    CameraLost,
    Changed,
    LeftOut,
    Next,
    SetupState,
    Sized,
    Touched,
    guide_of,
    step_of,
)
from setups.state import Clock
from stream.arcs_desk import arc_done, arc_order
from stream.bringing import bring_in
from stream.capture import Capture
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
from stream.keeping import Kept, plain
from stream.ledger import Ledger
from stream.live_setup import LiveSetup
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
from stream.target_stops import with_place
from stream.troubles import Troubles
from stream.views import live_line
from vision.target_pair import TargetPair

__all__ = ["LOST_AFTER_S", "Publish", "Seen", "Session", "Tools"]

PROGRESS_S = 0.1

WAIT_FOR_MARKS = ("prepare", "sizes", "point", "places", "change", "todo", "lock", "turns")
"""Kinds of steps that a key, a pedal or a palm goes on with."""


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
        self._showing = Showing(publish, revision)
        self._setup = LiveSetup(
            Ledger(book, now, publish),
            Capture(tools.instrument),
            clock=clock,
            now=now,
            revision=lambda: self._showing.view.revision,
            entered=self._entered,
        )
        self._troubles = Troubles(clock())
        self._away = False
        self._marks = Marks()
        self._palm = PalmWatch()
        self._nose = NoseWatch()
        self._picture: NDArray[np.uint8] | None = None
        self._before: Kept | None = None
        self._progress_s = clock()
        self._live: Live | None = None
        self._setup.resume(self._showing.count_on)
        self._show()

    # what is asked of it

    @property
    def state(self) -> SetupState | None:
        """The state of the setup, None while none was begun."""
        return self._setup.state

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
        return self._setup.at_targets

    @property
    def running(self) -> bool:
        """Whether a setup is begun and not yet finished."""
        return self._setup.running

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
        self._setup.pairs.take(pair)
        if (reading.ok or pair is not None) and frame.image is not None:
            self._setup.good = Seen(frame, reading, collar, pair)
        self._troubles.saw(reading, frame.image, now_s)
        self._guarded(lambda: self._take(reading, collar, now_s))
        if frame.image is not None and self._palm.look(frame.image, frame.t_s):
            self.command(Command("mark", {"by": "palm"}))
        self._live = live_line(
            frame,
            reading,
            collar,
            self._setup.capture.pose(),
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
        self._guarded(self._setup.end_turn)

    # commands

    def _begin(self, args: Mapping[str, Any]) -> Answer:
        if self.running:
            said = "A setup is running: finish it or give it up before another is begun."
            return Answer(False, said)
        tools = self._tools
        card, state = begin_order(args, tools.instrument, tools.wheels, tools.shop_lines)
        snapshots = tools.snapshots or {"dial": plain(tools.instrument)}
        setup_id = self._setup.ledger.begin(card, snapshots)
        self._setup.begin(replace(state, active_s=self._clock()), setup_id, card.job)
        return Answer(True, f"{card.title}: begun as setup {setup_id}.", body=setup_id)

    def _plan(self, args: Mapping[str, Any]) -> Answer:
        plan, after = plan_order(args)
        kept = self._setup.ledger.book.keep_plan(plan, after)
        return Answer(True, planned_words(plan), body=kept)

    def _next(self, args: Mapping[str, Any]) -> Answer:
        state = self._setup.demand()
        if step_of(state).kind in ("point", "places"):
            self._setup.capture.claim()
            return Answer(True, "Hold still.")
        changed = self._setup.apply(Next(self._clock()))
        return Answer(changed, "" if changed else "This step does not wait for next.")

    def _mark(self, args: Mapping[str, Any]) -> Answer:
        by, now_s = mark_order(args), self._clock()
        kind = step_of(self._setup.demand()).kind
        did: SignalWord = "nothing"
        said = "This step does not wait for a mark."
        if kind in WAIT_FOR_MARKS or self._marks.may_undo(now_s):
            did = self._marks.touch(self._setup.capture.turning, now_s)
            did, said = self._marked(did, args, now_s)
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
        if step_of(self._setup.demand()).kind != "turns":
            self._before = self._setup.kept
            return ("next", self._next(args).said or "On; the same again takes it back.")
        if did == "begun":
            self._setup.happen(self._setup.capture.begin_here(), now_s)
            return did, "The turn begins here."
        return did, f"The turn ends here; the same again within {UNDO_S:.0f} s and it goes on."

    def _take_back(self, now_s: float) -> None:
        before, self._before = self._before, None
        if before is not None:
            self._setup.adopt(before)
            self._setup.enter()
        elif self._marks.undid == "begun":
            self._setup.happen(self._setup.capture.begin_here(), now_s)

    def _touch(self, args: Mapping[str, Any]) -> Answer:
        self._setup.demand()
        checklist, line, who = touch_order(args)
        changed = self._setup.apply(Touched(checklist, line, who, self._clock()))
        return Answer(changed, "" if changed else "There is no such line.")

    def _changed(self, args: Mapping[str, Any]) -> Answer:
        what = change_order(args)
        if self.state is None:
            return Answer(True)
        self._setup.apply(Changed(what, self._clock()))
        return Answer(True)

    def _bare_nose(self, args: Mapping[str, Any]) -> Answer:
        if self._nose.fitted:
            return Answer(False, "I still see the dial or its collar: take both off, then repeat.")
        if self._picture is None or not self._nose.teach(self._picture):
            return Answer(False, "There is no lit picture to remember: light the nose and repeat.")
        return Answer(True, "Remembered: I say bare only while it looks like this.")

    def _size(self, args: Mapping[str, Any]) -> Answer:
        key, value = size_order(guide_of(self._setup.demand()), args)
        changed = self._setup.apply(Sized(key, value, self._clock()))
        return Answer(changed, "" if changed else "Sizes are entered at their own step.")

    def _leave_out(self, args: Mapping[str, Any]) -> Answer:
        arc, out = arc_order(args)
        before = self._setup.demand()
        if not self.running:
            return Answer(False, "This setup is closed: its arcs stay as they are in the book.")
        self._setup.apply(LeftOut(arc, out, self._clock()))
        state = self._setup.demand()
        if state.left_out == before.left_out:
            return Answer(False, state.note)
        return Answer(True, arc_done(arc, state.note, out=out))

    def _supersede(self, args: Mapping[str, Any]) -> Answer:
        setup_id, by_id, reason = supersede_order(args)
        self._setup.ledger.book.supersede(setup_id, by_id, reason)
        return Answer(True, superseded_words(setup_id, by_id))

    def _import(self, args: Mapping[str, Any]) -> Answer:
        if self.running:
            return Answer(False, "A setup is running: finish it or give it up, then import.")
        return bring_in(self._setup.ledger.book, args)

    def _abandon(self, args: Mapping[str, Any]) -> Answer:
        self._setup.demand()
        self._setup.give_up("given up by the person")
        return Answer(True, "The setup was given up; what was found so far stays in the book.")

    # pictures and time

    def _take(self, reading: Reading, collar: CollarAngle | None, now_s: float) -> None:
        if self.state is not None and self.state.camera_lost:
            self._setup.apply(CameraBack(now_s))
        self._setup.happen(self._setup.capture.look(reading, collar, now_s), now_s)
        self._setup.ledger.commit_due(now_s)

    def _pass_time(self, now_s: float) -> None:
        self._troubles.look(now_s)
        self._setup.ledger.commit_due(now_s)
        if self.state is None:
            return
        waits = self._away and self._setup.ledger.kept is not None
        if self._troubles.lost(now_s) and not waits and not self.state.camera_lost:
            self._setup.capture.lose()
            self._setup.apply(CameraLost(now_s))
        if self._marks.end_due(now_s):
            self._setup.happen(self._setup.capture.end_here(now_s), now_s)
        self._setup.apply(Clock(now_s))

    def _publish_progress(self, now_s: float) -> None:
        kept, pose = self._setup.ledger.kept, self._setup.capture.pose()
        if kept is None or pose.turned_rad is None or now_s - self._progress_s < PROGRESS_S:
            return
        self._progress_s = now_s
        turned = degrees(pose.turned_rad)
        told = Progress(self._setup.ledger.setup_id, kept[0], turned, pose.samples, kept[1])
        self._publish("progress", told)

    # what stands

    def _entered(self) -> None:
        if self._before is None:
            self._marks.forget()

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
        self._showing.show(self._setup.kept, told, camera_lost=self._troubles.camera_lost)
