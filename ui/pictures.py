"""Pictures that a command is given by name, read one by one."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from readings import BadInputError
from vision.sources import read_picture

Seen = TypeVar("Seen")


def look_at_each(paths: Sequence[Path], look: Callable[[NDArray[np.uint8]], Seen]) -> list[Seen]:
    """Return what `look` says of each picture (BGR).

    Raises
    ------
    BadInputError
        If a file is no picture, or `look` refuses it: with the file's name.
    """
    found = []
    for path in paths:
        image = read_picture(path)
        if image is None:
            msg = f"{path} cannot be read as a picture: give JPEG or PNG files."
            raise BadInputError(msg)
        try:
            found.append(look(image))
        except BadInputError as error:
            msg = f"{path.name}: {error}"
            raise BadInputError(msg) from error
    return found
