"""A whole home's record, copied while the service writes: database, photos, and the proof."""

import shutil
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from readings import BadInputError
from records.backup import copy_verified
from records.check import Damage
from records.copying import every_row, write_rows
from records.database import BACKUPS_NAME
from records.errors import told
from records.place import PHOTOS_NAME, Place, book_path, place_of
from records.reader import BookReader, check_book, require_book


@dataclass(frozen=True, slots=True)
class Backup:
    """A copy of the book: a folder that can be used with ``--home``; what was found in it."""

    folder: Path
    setups: int
    photos: int
    damages: tuple[Damage, ...]


def backup_home(home: Path, target: Path | None, *, now: datetime) -> Backup:
    """Copy the book of `home`, live or not, to the new folder `target`, and check the copy.

    A book on a server becomes a file: with the same records, numbers and seals.

    The folder appears under its name only when it is whole on the disk. Where the book is
    damaged, so is its copy, and `Backup.damages` says where.

    Parameters
    ----------
    target
        A folder that is not there yet, or empty; None: one in the home's own ``backups``.

    Raises
    ------
    BadInputError
        If something is in `target`.
    BookMissingError, BookNewerError, BookOlderError
        As their names say.
    BookError
        If the copy cannot be written, or the database is too damaged to be copied.
    """
    source = require_book(home)
    folder = target or home / BACKUPS_NAME / f"{now:%Y-%m-%dT%H%M%S}"
    part = folder.with_name(folder.name + ".part")
    with told(folder):
        _require_empty(folder)
        shutil.rmtree(part, ignore_errors=True)
        try:
            _copy_database(source, book_path(part))
            photos = _copy_photos(home, part)
            damages = tuple(check_book(part))
            with BookReader.open(part) as reader:
                setups = reader.count_setups()
            part.replace(folder)
        except BaseException:
            shutil.rmtree(part, ignore_errors=True)
            raise
    return Backup(folder, setups, photos, damages)


def _copy_database(source: Place, target: Path) -> None:
    """Copy a book's file, or write what a server holds at one moment into a file."""
    if source.address is None:
        copy_verified(book_path(source.home), target)
        return
    with BookReader.open(source.home) as reader, reader.reading() as connection:
        write_rows(target, every_row(connection))


def _require_empty(folder: Path) -> None:
    if folder.is_file() or (folder.is_dir() and any(folder.iterdir())):
        msg = f"{folder} is not empty: name a folder for the copy that is not there yet."
        raise BadInputError(msg)


def _copy_photos(home: Path, part: Path) -> int:
    """Copy the photos that the copied database names, as they are; return how many there were."""
    with BookReader.open(part) as reader:
        names = reader.photo_names()
    to = part / PHOTOS_NAME
    to.mkdir()
    photos = place_of(home).photos
    there = [name for name in names if (photos / name).is_file()]
    for name in there:
        shutil.copyfile(photos / name, to / name)
    return len(there)
