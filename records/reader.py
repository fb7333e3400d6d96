"""Reading the book, also while the service writes it."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType

import sqlalchemy as sa

from readings import BookError, Sweep
from records import queries, show
from records import tables as t
from records.check import Damage, check_open_book
from records.database import engine_to_read
from records.errors import BookMissingError, BookNewerError, BookOlderError, told
from records.migrate import require_present_format
from records.photos import photo_path
from records.place import Place, book_path, place_of
from records.plain import Json
from records.queries import OpenSweep, SetupLine, Wanted


class BookReader:
    """A reader of the book in a home folder (SQLite's ``mode=ro``): it can change nothing.

    Every call sees the book as the last commit left it. Use it as a context
    manager, or call `close`; one thread at a time.
    """

    def __init__(self, place: Place, engine: sa.Engine) -> None:
        self.home = place.home
        self.place = place
        self._engine = engine

    @classmethod
    def open(cls, home: Path) -> "BookReader":
        """Open the book in `home` for reading.

        Raises
        ------
        BookMissingError
            If the folder or the book is not there.
        BookNewerError, BookOlderError, BookDamagedError
            As their names say.
        """
        place = require_book(home)
        reader = cls(place, engine_to_read(place))
        try:
            with reader.reading() as connection:
                require_present_format(connection, place)
        except BaseException:
            reader.close()
            raise
        return reader

    def __enter__(self) -> "BookReader":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close; may be called twice."""
        self._engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """Hold one state of the book for several questions of this package."""
        with told(self.place), self._engine.connect() as connection, connection.begin():
            yield connection

    def list_setups(self, limit: int = 50, wanted: Wanted | None = None) -> list[SetupLine]:
        """Return the newest setups first; `wanted`, where given, says which and how many."""
        with self.reading() as connection:
            return queries.setup_lines(connection, wanted or Wanted(limit=limit))

    def count_setups(self) -> int:
        """Return how many setups there are."""
        with self.reading() as connection:
            return connection.scalar(sa.select(sa.func.count()).select_from(t.setup)) or 0

    def neighbours(self, setup_id: int) -> tuple[int | None, int | None]:
        """Return the setups before and after this one, None at an end of the book."""
        with self.reading() as connection:
            return queries.neighbours(connection, setup_id)

    def alike(self, setup_id: int, limit: int = 50) -> list[SetupLine]:
        """Return the newest setups of the same guide, which can be held beside this one."""
        with self.reading() as connection:
            line = queries.setup_line(connection, setup_id)
            if line is None:
                return []
            return queries.setup_lines(connection, Wanted(limit=limit, guide=line.guide))

    def last_photos(self, setup_ids: Sequence[int]) -> dict[int, str]:
        """Return the hash of the newest photo of each setup that has one."""
        with self.reading() as connection:
            return queries.last_photos(connection, setup_ids)

    def photo_names(self) -> list[str]:
        """Return the names of the photos' files, each once."""
        with self.reading() as connection:
            names = connection.scalars(sa.select(t.photo.c.sha256).distinct())
            return sorted(photo_path(self.home, sha256).name for sha256 in names)

    def show_setup(self, setup_id: int, *, with_samples: bool = True) -> Json:
        """Return one setup with all that belongs to it, as plain data for JSON.

        Keys beside those of `SetupLine`: ``uid, settings, tolerance_source,
        program_version, supersedes, events, instruments, sweeps, results, ticks,
        photos``. A sweep's ``samples`` holds one list a column of
        `records.packing.COLUMNS`; a photo's ``path`` is where its file should be and
        ``there`` whether it is.

        Raises
        ------
        BadInputError
            If there is no such setup.
        """
        with self.reading() as connection:
            return show.setup_in_full(connection, self.home, setup_id, with_samples=with_samples)

    def samples(self, sweep_id: int) -> Sweep:
        """Return a sweep as it was taken; one that did not end carries the flag "incomplete".

        Raises
        ------
        BadInputError
            If there is no such sweep.
        """
        with self.reading() as connection:
            return show.sweep_with_samples(connection, sweep_id)

    def open_sweeps(self) -> list[OpenSweep]:
        """Return the sweeps that were begun and not ended."""
        with self.reading() as connection:
            return queries.open_sweeps(connection)

    def check(self) -> list[Damage]:
        """Walk the database, the chain of hashes and the photos; an empty list is a whole book."""
        with self.reading() as connection:
            return check_open_book(connection, self.place)


def check_book(home: Path) -> list[Damage]:
    """Check the book in `home`; one so damaged that it does not open is damage, not an error.

    Raises
    ------
    BookMissingError, BookNewerError, BookOlderError
        If there is no book, or it has another format.
    """
    try:
        with BookReader.open(home) as reader:
            return reader.check()
    except (BookMissingError, BookNewerError, BookOlderError):
        raise
    except BookError as error:
        return [Damage("database", "database file", str(error))]


def require_book(home: Path) -> Place:
    """Return where the book of `home` stands.

    Raises
    ------
    BookMissingError
        If there is none.
    """
    place = place_of(home)
    if place.address is not None or book_path(home).is_file():
        return place
    if not home.is_dir():
        msg = f"The folder {home} does not exist: check its name, or plug in the disk it is on."
        raise BookMissingError(msg)
    msg = (
        f"There is no record book in {home} yet: the first setup makes one; "
        "if yours is elsewhere, say so with --home."
    )
    raise BookMissingError(msg)
