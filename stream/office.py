"""The book and the session over it, opened again where the book could not be used.

While there is no book the pictures are read and shown all the same; what is wrong is told,
and the book is tried again until it can be used.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from shutil import disk_usage

from readings import BookError
from records import Book, BookLockedError, BookNewerError, book_path
from stream.answers import Answers
from stream.faults import ClockWatch, PictureFaults, flag_trouble, room_trouble
from stream.given import Publish, Seen, Tools
from stream.messages import Answer, Command, SessionView, Trouble
from stream.session import LOST_AFTER_S, Session
from stream.views import idle_view, plain_line

AGAIN_S, AGAIN_LONGEST_S = 1.0, 10.0
"""Waits before the book is opened again, doubled each time it breaks within the longest."""

LOOK_S = 0.5
ANSWERS_KEY = "answers"

AWAY = (
    "The record book {path} is no longer there: put it back, or a copy from its backups folder, "
    "and I open it by myself."
)
GONE = "The record book was moved or replaced while in use: it is opened anew by itself."


class Office:
    """One home's book and session.

    Parameters
    ----------
    home
        The folder of the book.
    publish
        Where the session publishes.
    """

    def __init__(
        self,
        home: Path,
        tools: Tools,
        publish: Publish,
        *,
        program_version: str,
        clock: Callable[[], float],
        now: Callable[[], datetime],
    ) -> None:
        self._home, self._tools, self._publish = home, tools, publish
        self._version, self._clock, self._now = program_version, clock, now
        self._book: Book | None = None
        self._inode: int | None = None
        self.session: Session | None = None
        self._trouble: Trouble | None = None
        self._again_s, self._wait_s = clock(), AGAIN_S
        self._opened_s: float | None = None
        self._look_s = clock()
        self._clocks = ClockWatch()
        self._around: tuple[Trouble, ...] = ()
        self._more: tuple[Trouble, ...] = ()
        self._faults, self._seen_s = PictureFaults(), clock()
        self._view = SessionView(0)

    def open(self) -> None:
        """Open the book, or say why not and go on without it.

        Raises
        ------
        BookLockedError, BookNewerError
            If another process writes this book, or it is of a newer format.
        """
        try:
            self._open()
        except (BookLockedError, BookNewerError):
            raise
        except BookError as error:
            self._close_for(str(error))

    @property
    def running(self) -> bool:
        """Whether a setup runs."""
        return self.session is not None and self.session.running

    @property
    def at_targets(self) -> bool:
        """Whether the setup in hand looks at targets instead of a dial."""
        return self.session is not None and self.session.at_targets

    def answers(self) -> Answers:
        """Return the memory of what was answered to commands."""
        return Answers(self._keep_answers, self._answers_before())

    def close(self) -> None:
        """End the session in order, and close the book."""
        if self.session is not None:
            self.session.close()
        if self._book is not None:
            self._book.close()
        self.session = self._book = None

    def use(self, tools: Tools) -> None:
        """Make setups with other tools from now on; only while none runs."""
        self._tools = tools
        if self._book is not None and self.session is not None:
            self.session = self._session(self._book)

    def observe(self, seen: Seen) -> None:
        """Take one picture with what was read in it."""
        if self.session is not None:
            self.session.observe(seen.frame, seen.reading, seen.collar, seen.pair)
            return
        self._seen_s = self._clock()
        self._faults.look(seen.reading, self._seen_s, seen.frame.image)
        self._publish("reading", plain_line(seen.frame, seen.reading, seen.collar))

    def command(self, command: Command) -> Answer:
        """Do one command."""
        if self.session is not None:
            return self.session.command(command)
        if command.name == "view":
            return Answer(True, body=self._view)
        said = self._trouble.sentence if self._trouble else "The record book is not open."
        return Answer(False, said, seq=command.seq)

    def tick(self, more: tuple[Trouble, ...] = (), *, away: bool = False) -> None:
        """Let time pass; `more` are troubles of the service's other parts.

        `away`: the camera in use is that of a node out of reach, which keeps what it sees.
        """
        now_s, self._more = self._clock(), more
        if now_s >= self._look_s:
            self._look_s = now_s + LOOK_S
            self._look_around(now_s)
        session = self.session
        if session is None:
            self._show_closed()
            if now_s >= self._again_s:
                self._try_again(now_s)
            return
        session.tell_troubles((*self._around, *more), away=away)
        session.tick()
        if session.broken:
            self._close_for(session.troubles()[0].sentence if session.troubles() else GONE)

    def troubles(self) -> tuple[Trouble, ...]:
        """Return everything that is wrong right now."""
        if self.session is not None:
            return self.session.troubles()
        book = (self._trouble,) if self._trouble else ()
        seen = self._picture_troubles(self._clock())
        return (*book, *self._around, *self._more, *seen)

    # the book

    def _open(self) -> None:
        self._book = Book.open(self._home, program_version=self._version, now=self._now)
        self._inode = _inode(self._home)
        self._opened_s = self._clock()
        self.session = self._session(self._book)
        self._trouble = None

    def _session(self, book: Book) -> Session:
        revision = (self.session.view() if self.session else self._view).revision
        return Session(
            book, self._tools, self._publish, clock=self._clock, now=self._now, revision=revision
        )

    def _close_for(self, sentence: str) -> None:
        """Go on without the book, and try it again by and by."""
        if self.session is not None:
            self._view = SessionView(self.session.view().revision)
        if self._book is not None:
            self._book.close()
        self.session = self._book = None
        self._trouble = Trouble("book", sentence)
        now_s = self._clock()
        again = self._opened_s is not None and now_s - self._opened_s < AGAIN_LONGEST_S
        self._wait_s = min(2 * self._wait_s, AGAIN_LONGEST_S) if again else AGAIN_S
        self._again_s = now_s + AGAIN_S

    def _try_again(self, now_s: float) -> None:
        self._again_s = now_s + self._wait_s
        if self._inode is not None and _inode(self._home) is None:
            self._trouble = Trouble("book", AWAY.format(path=book_path(self._home)))
            return  # a new book in its place would hide that the old one is missing
        try:
            self._open()
        except BookError as error:
            self._trouble = Trouble("book", str(error))
            if self._book is not None:
                self._book.close()
            self.session = self._book = None

    def _keep_answers(self, content: bytes) -> None:
        if self._book is not None:
            self._book.put_session_state(ANSWERS_KEY, content)

    def _answers_before(self) -> bytes | None:
        try:
            return self._book.get_session_state(ANSWERS_KEY) if self._book is not None else None
        except BookError:
            return None

    # what is wrong

    def _look_around(self, now_s: float) -> None:
        told = [self._clocks.look(now_s, self._now()), self._room()]
        self._around = tuple(trouble for trouble in told if trouble is not None)
        if self._book is not None and _inode(self._home) != self._inode:
            self._close_for(GONE)

    def _room(self) -> Trouble | None:
        try:
            return room_trouble(disk_usage(self._home).free)
        except OSError:
            return None

    def _picture_troubles(self, now_s: float) -> tuple[Trouble, ...]:
        if now_s - self._seen_s > LOST_AFTER_S:
            return (flag_trouble("camera gone"),)
        return tuple(flag_trouble(name) for name in self._faults.now(now_s))

    def _show_closed(self) -> None:
        troubles = self.troubles()
        lost = any(trouble.name == "camera gone" for trouble in troubles)
        view = idle_view(tuple(one.sentence for one in troubles), camera_lost=lost)
        if replace(view, revision=self._view.revision) != self._view:
            self._view = replace(view, revision=self._view.revision + 1)
            self._publish("state", self._view)


def _inode(home: Path) -> int | None:
    try:
        return book_path(home).stat().st_ino
    except OSError:
        return None
