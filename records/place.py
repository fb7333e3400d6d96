"""Where a home's book stands: a file in the home, or a server that several machines share."""

import os
import re
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import msgspec

from readings import BadInputError, BookError

BOOK_NAME = "book.sqlite3"
PHOTOS_NAME = "photos"
PLACE_NAME = "book.json"
_SCHEMES = ("postgresql", "postgres")
_STATION = re.compile(r"[\w .-]{1,40}")


@dataclass(frozen=True, slots=True)
class Place:
    """A home's book: `address` of a PostgreSQL server, None where it is the home's own file.

    `station` names this home among those that share the book; `photos` is the folder of the
    photos, which the machines may share as well. As text it is what a person is told: the
    file, or the address without its password.
    """

    home: Path
    address: str | None
    station: str | None
    photos: Path

    def __str__(self) -> str:
        if self.address is None:
            return str(book_path(self.home))
        parts = urlsplit(self.address)
        known = parts.netloc.rpartition("@")
        user = known[0].partition(":")[0]
        netloc = f"{user}@{known[2]}" if user else known[2]
        return urlunsplit((parts.scheme, netloc, parts.path, "", ""))


class _Kept(msgspec.Struct, forbid_unknown_fields=True):
    address: str
    station: str
    photos: str | None = None


def book_path(home: Path) -> Path:
    """Return where the database of `home` stands, where it is a file."""
    return home / BOOK_NAME


def place_of(home: Path) -> Place:
    """Return where the book of `home` stands.

    Raises
    ------
    BookError
        If the note that says so cannot be read.
    """
    own = home / PHOTOS_NAME
    note = home / PLACE_NAME
    try:
        kept = msgspec.json.decode(note.read_bytes(), type=_Kept)
    except FileNotFoundError:
        return Place(home, None, None, own)
    except NotADirectoryError:
        return Place(home, None, None, own)
    except (OSError, msgspec.MsgspecError) as error:
        msg = (
            f"{note} cannot be read ({error}): say anew where the book is, with "
            "`sparehand records share ADDRESS`."
        )
        raise BookError(msg) from error
    return Place(home, kept.address, kept.station, Path(kept.photos) if kept.photos else own)


def put_place(place: Place) -> None:
    """Note where the book of a home is; only its owner may read the note, for the password."""
    note = place.home / PLACE_NAME
    part = note.with_suffix(".part")
    own = place.photos == place.home / PHOTOS_NAME
    kept = _Kept(place.address or "", place.station or "", None if own else str(place.photos))
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(msgspec.json.encode(kept))
    part.replace(note)


def restore_place(place: Place) -> None:
    """Put a home's note back as it was; none where the book is the home's own file."""
    if place.address is None:
        (place.home / PLACE_NAME).unlink(missing_ok=True)
    else:
        put_place(place)


def shared_place(home: Path, address: str, station: str, photos: Path | None) -> Place:
    """Return the place of a book on a server, its words checked.

    Raises
    ------
    BadInputError
        If the address is none of PostgreSQL, or the station's name cannot be one.
    """
    parts = urlsplit(address)
    if parts.scheme not in _SCHEMES or not parts.path.strip("/"):
        msg = (
            f"{address!r} is no address of a shared book: give one like "
            "postgresql://sparehand@shop-server/book."
        )
        raise BadInputError(msg)
    if not _STATION.fullmatch(station):
        msg = (
            f"{station!r} cannot name this machine: give 1 to 40 letters, digits, blanks or - . _ "
            "with --station, another one at each machine."
        )
        raise BadInputError(msg)
    return Place(home, address, station, photos or home / PHOTOS_NAME)
