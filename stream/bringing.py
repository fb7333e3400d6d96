"""An archive of a job brought into the book that the running service writes."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec

from readings import BadInputError
from records import Book
from records.archive import ArchiveReader
from records.importing import import_job
from stream.messages import Answer

MOST_SETUPS = 100
"""More would hold up the service's loop for seconds: then it must be stopped meanwhile."""


def bring_in(book: Book, args: Mapping[str, Any]) -> Answer:
    """Take the archive at `args["path"]`, a file of this computer, into the book.

    Raises
    ------
    BadInputError
        If no path is given, the file is no whole archive, or it is too large to be taken now.
    BookError
        If the book cannot take it; then nothing of it is in the book.
    """
    path = args.get("path")
    if not isinstance(path, str) or not path:
        msg = "An import needs path, the archive's file on this computer."
        raise BadInputError(msg)
    with ArchiveReader(Path(path)) as archive:
        setups = archive.manifest.setups
    if setups > MOST_SETUPS:
        msg = (
            f"{path} holds {setups} setups, more than the {MOST_SETUPS} that a running service "
            "takes in: stop it, import, and start it again; nothing was imported."
        )
        raise BadInputError(msg)
    told = import_job(book, Path(path))
    return Answer(True, f"{told.job}: {told.setups} setups came in.", msgspec.to_builtins(told))
