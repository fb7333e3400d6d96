"""What keeps the session from its work right now: the camera, the book, things from outside."""

from readings import Reading, SparehandError
from records import BookDamagedError, BookMissingError
from stream.faults import LOST_AFTER_S, Image, PictureFaults, flag_trouble
from stream.messages import Trouble

TROUBLE_S = 4.0
"""How long a trouble with the book stays on show at least."""


class Troubles:
    """Gathers them; pure of clocks: times are handed in."""

    def __init__(self, now_s: float) -> None:
        self.outside: tuple[Trouble, ...] = ()
        """Of the service's other parts: the disk, the clock, a camera node."""
        self.broken = False
        """Whether the book is damaged or gone: it must be opened anew."""
        self._book = ("", now_s)
        self._pictures = PictureFaults()
        self._told: tuple[Trouble, ...] = ()
        self._seen_s = now_s

    def all(self) -> tuple[Trouble, ...]:
        """Return what is wrong."""
        book = (Trouble("book", self._book[0]),) if self._book[0] else ()
        return (*self.outside, *book, *self._told)

    @property
    def camera_lost(self) -> bool:
        """Whether the lost camera is told."""
        return any(trouble.name == "camera gone" for trouble in self._told)

    def saw(self, reading: Reading, image: Image | None, now_s: float) -> None:
        """Take in one picture and what was read in it."""
        self._seen_s = now_s
        self._pictures.look(reading, now_s, image)

    def lost(self, now_s: float) -> bool:
        """Whether no picture came for too long."""
        return now_s - self._seen_s > LOST_AFTER_S

    def look(self, now_s: float) -> None:
        """See what the last pictures, or their absence, tell."""
        if self.lost(now_s):
            self._told = (flag_trouble("camera gone"),)
        else:
            self._told = tuple(flag_trouble(name) for name in self._pictures.now(now_s))

    def book_failed(self, error: SparehandError, now_s: float) -> None:
        """Note that the book did not take something."""
        self.note_broken(error)
        self._book = (str(error), now_s)

    def book_took(self, now_s: float) -> None:
        """Note that the book took what it was given."""
        if now_s - self._book[1] > TROUBLE_S:
            self._book = ("", now_s)

    def note_broken(self, error: SparehandError) -> None:
        """Note an error after which the book must be opened anew."""
        self.broken = self.broken or isinstance(error, BookDamagedError | BookMissingError)
