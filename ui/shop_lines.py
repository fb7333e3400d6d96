"""The shop's own lines of the checklists: `checklists.toml` in the home folder.

before-hands = ["Bystanders behind the yellow line"]
before-power = ["Coolant tap shut", "Door bolted"]
"""

import tomllib
from pathlib import Path

from readings import BadInputError
from setups import CHECKLISTS, ShopLine

FILE = "checklists.toml"
MOST_LINES = 3
"""Of a list's own lines; all must stand on one screen, each as large as a thumb."""
LONGEST = 70
_FORBIDDEN = ("safe", "ready", "clear", "go ahead")
"""No page of this program says that the machine may be started, in whosever words."""


def shop_lines(home: Path) -> tuple[ShopLine, ...]:
    """Return the shop's own lines, none where there is no file.

    Raises
    ------
    BadInputError
        If the file cannot be read, names an unknown list, or a line is none.
    """
    path = home / FILE
    if not path.exists():
        return ()
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        msg = f"{path} cannot be read ({error}): mend it, or take it away."
        raise BadInputError(msg) from error
    return tuple(line for key, lines in content.items() for line in _lines(path, key, lines))


def _lines(path: Path, key: str, lines: object) -> list[ShopLine]:
    if key not in CHECKLISTS:
        msg = f"{path} names the list {key!r}; there are {' and '.join(CHECKLISTS)}."
        raise BadInputError(msg)
    if not isinstance(lines, list) or len(lines) > MOST_LINES:
        msg = f"{path}: {key} must be a list of at most {MOST_LINES} lines."
        raise BadInputError(msg)
    return [ShopLine(key, _text(path, key, line)) for line in lines]


def _text(path: Path, key: str, line: object) -> str:
    words = " ".join(line.split()) if isinstance(line, str) else ""
    if not 0 < len(words) <= LONGEST:
        msg = f"{path}: a line of {key} must be 1 to {LONGEST} characters long, got {line!r}."
        raise BadInputError(msg)
    said = next((word for word in _FORBIDDEN if word in words.lower()), None)
    if said is not None:
        msg = (
            f"{path}: a line of {key} says {said!r}; say what is done and looked at, "
            "for no list tells that a machine may be started."
        )
        raise BadInputError(msg)
    return words
