"""`records trends`: how a machine stood over the months."""

from pathlib import Path
from typing import cast

import msgspec

from records import BookReader
from records.trends import TREND_LABELS, TrendLine, TrendPoint, by_key, trend_line, trend_points
from setups.measured import Number, Unit
from setups.words import number_words
from ui.output import put_json, put_table, tell

NOTHING_FOLLOWED = (
    "There is nothing to follow yet: a finished tram, test bar, or centring with the slides "
    "locked gives a point each."
)
_COLUMNS = ("day (UTC)", "setup", "machine", "value")


def put_trends(home: Path, machine: str | None, *, as_json: bool) -> None:
    """Write every point of the book in `home`, and the line through each kind of them.

    JSON: ``{"points": [...], "lines": [...]}`` with the fields of `TrendPoint`, `TrendLine`.

    Raises
    ------
    BookError
        If there is no book or it cannot be read.
    """
    with BookReader.open(home) as reader, reader.reading() as connection:
        points = trend_points(connection, machine)
    groups = list(by_key(points).values())
    lines = [line for group in groups if (line := trend_line(group)) is not None]
    if as_json:
        put_json({"points": msgspec.to_builtins(points), "lines": msgspec.to_builtins(lines)})
        return
    if not points:
        tell(NOTHING_FOLLOWED)
    for group in groups:
        put_table(TREND_LABELS[group[0].key].capitalize(), _COLUMNS, [_row(p) for p in group])
        tell(line_words(trend_line(group)))


def _row(point: TrendPoint) -> list[str]:
    number = Number(point.key, "", point.value, cast(Unit, point.unit), point.u)
    return [point.at_utc[:10], str(point.setup_id), point.machine or "–", number_words(number)]


def line_words(line: TrendLine | None) -> str:
    """Say how fast the points go, and whether that is more than their scatter.

    >>> line_words(TrendLine("tram_x", 5, "mm", 0.004, 0.001))
    'It went by +0.0040 ± 0.0020 mm a month (k = 2): more than its scatter.'
    """
    if line is None:
        return "Fewer than three points, or all of one day: no line can be drawn."
    beyond = "more than" if abs(line.per_month) > 2 * line.u_per_month else "within"
    return (
        f"It went by {line.per_month:+.4f} ± {2 * line.u_per_month:.4f} {line.unit} a month "
        f"(k = 2): {beyond} its scatter."
    )
