"""What was found is kept: database, photos, chain of hashes, migrations.

May import readings, sweeps and setups. `Book` is the one writer of a home
folder, `BookReader` any number of readers beside it; `check_book` says whether
all is as it was written. Insert only: what changes is a new row.
"""

from records.book import Book, Size
from records.check import Damage
from records.errors import (
    BookDamagedError,
    BookFinishedError,
    BookFullError,
    BookLockedError,
    BookMissingError,
    BookNewerError,
    BookOlderError,
)
from records.place import book_path
from records.queries import OpenSweep, SetupLine, SetupState, SweepState, Wanted
from records.reader import BookReader, check_book
from records.tables import LAPSED

__all__ = [
    "LAPSED",
    "Book",
    "BookDamagedError",
    "BookFinishedError",
    "BookFullError",
    "BookLockedError",
    "BookMissingError",
    "BookNewerError",
    "BookOlderError",
    "BookReader",
    "Damage",
    "OpenSweep",
    "SetupLine",
    "SetupState",
    "Size",
    "SweepState",
    "Wanted",
    "book_path",
    "check_book",
]
