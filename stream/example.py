"""A worked example: another program follows the readings and the results of a service.

    python -m stream.example HOME              # a service of this computer
    python -m stream.example tablet.key        # one elsewhere, by a client's key file

It writes a JSON line a reading (value, angle, flags) and a result, and ends when the service
does. This is all that another program needs: `Client`, `subscribe`, and the bodies that
`stream.messages` describes.
"""

import sys
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import msgspec

from readings import SparehandError
from stream.client import Client
from stream.keys import KeyFile, read_private
from stream.reach import Where


def lines(where: Where) -> Iterator[dict[str, Any]]:
    """Yield what is worth noting, as plain data, until the service falls silent."""
    with Client(where) as client:
        for topic, body, _ in client.subscribe("reading", "result", "health"):
            if topic == "reading":
                names = ("t_s", "value_mm", "sigma_mm", "theta_deg", "flags")
                yield {"reading": {name: body[name] for name in names}}
            elif topic == "result":
                yield {"result": body}
            elif body["troubles"]:
                yield {"troubles": [trouble["sentence"] for trouble in body["troubles"]]}


def main(arguments: list[str]) -> int:
    """Write lines for a home folder or a key file, at most so many where a number is given."""
    if not 1 <= len(arguments) <= 2:
        sys.stderr.write("usage: python -m stream.example HOME-or-KEY-FILE [LINES]\n")
        return 2
    path = Path(arguments[0])
    most = int(arguments[1]) if len(arguments) == 2 else None
    try:
        where: Where = read_private(path, KeyFile) if path.is_file() else path
        for line in islice(lines(where), most):
            sys.stdout.write(msgspec.json.encode(line).decode() + "\n")
            sys.stdout.flush()
    except SparehandError as error:
        sys.stderr.write(f"{error}\n")
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
