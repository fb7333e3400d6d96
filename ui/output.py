"""What goes out: strict JSON and plain tables on stdout, all else on stderr."""

import sys
from collections.abc import Iterable, Sequence
from math import isfinite
from typing import Any

import msgspec
from rich.console import Console
from rich.table import Table
from rich.text import Text

_WIDEST = 10_000


def _strict(value: Any) -> Any:  # noqa: ANN401 - JSON is any
    if isinstance(value, float) and not isfinite(value):
        return None
    if isinstance(value, dict):
        return {key: _strict(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_strict(item) for item in value]
    return value


def json_text(value: Any, *, indent: bool = False) -> str:  # noqa: ANN401 - JSON is any
    """Return `value` as strict JSON: null for what is not a finite number.

    >>> json_text({"u_dial_mm": float("nan"), "samples": 3})
    '{"u_dial_mm":null,"samples":3}'
    """
    raw = msgspec.json.encode(_strict(msgspec.to_builtins(value)))
    return (msgspec.json.format(raw, indent=2) if indent else raw).decode()


def put_json(value: Any, *, indent: bool = False) -> None:  # noqa: ANN401 - JSON is any
    """Write one JSON value and a newline to stdout."""
    sys.stdout.write(json_text(value, indent=indent) + "\n")


def put_table(title: str, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a table to stdout. What stands in it is shown as it is, brackets and all."""
    table = Table()
    for column in columns:
        table.add_column(column)
    for row in rows:
        table.add_row(*map(Text, row))
    console = Console()
    if not console.is_terminal:  # into a file or a pipe: nothing is cut
        console = Console(width=max(_least_width(table), console.width))
    console.print(Text(title, style="italic"), soft_wrap=True)
    console.print(table)


def _least_width(table: Table) -> int:
    """Return the width in which no cell is wrapped."""
    return Console(width=_WIDEST).measure(table).maximum


def tell(sentence: str) -> None:
    """Write a sentence to stderr."""
    sys.stderr.write(sentence + "\n")
