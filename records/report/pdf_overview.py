"""The pages of a part or a batch: the list, predicted beside proven, parts side by side."""

from collections.abc import Sequence

from records.report.chart import chart
from records.report.content import PhotoShown, SetupReport
from records.report.overview import LINE_COLUMNS, Overview, Side
from records.report.paper import MARGIN_MM, WIDTH_MM, Paper

_LINE_WIDTHS = (12.0, 28.0, 44.0, 19.0, 21.0, 41.0, 17.0)
_NAME_MM = 38.0


def overview_pages(paper: Paper, overview: Overview) -> None:
    """Write the list of setups, then the parts side by side, a page for each kind of setup."""
    _begin(paper, overview)
    _setups(paper, overview)
    if overview.coaxiality:
        _coaxiality(paper, overview)
    if overview.not_counted:
        _need(paper, 16.0)
        paper.heading("In the book, and not counted")
        paper.lines(overview.not_counted, 8.0)
    for side in overview.sides:
        paper.add_page()
        _side(paper, side)


def _begin(paper: Paper, overview: Overview) -> None:
    paper.add_page()
    paper.words(overview.title, 16.0, "B")
    paper.words(overview.subtitle, 10.0)
    paper.ln(1.0)


def _need(paper: Paper, height: float) -> None:
    if paper.room() < height:
        paper.add_page()


def _setups(paper: Paper, overview: Overview) -> None:
    paper.heading("Setups that count")
    if overview.lines:
        paper.grid(LINE_COLUMNS, overview.lines, _LINE_WIDTHS)
    else:
        paper.words("None: no setup was finished yet.", 8.5)


def _coaxiality(paper: Paper, overview: Overview) -> None:
    _need(paper, 24.0 + 8.0 * len(overview.coaxiality))
    paper.heading("Coaxiality of the two seats (zone diameter)")
    rows = [(c.part, c.predicted, c.proven, c.words) for c in overview.coaxiality]
    paper.grid(("part", "predicted before the cut", "proven after it", ""), rows, (36, 44, 48, 54))


def _side(paper: Paper, side: Side) -> None:
    paper.words(side.title, 13.0, "B")
    paper.ln(1.0)
    width = (WIDTH_MM - _NAME_MM) / max(2, len(side.parts))
    widths = (_NAME_MM, *(width for _ in side.parts))
    paper.grid(("", *side.parts), [(name, *texts) for name, texts in side.rows], widths)
    paper.ln(2.0)
    _row_of_traces(paper, side.reports, width)
    _row_of_photos(paper, side.reports, width)


def _row_of_traces(paper: Paper, reports: Sequence[SetupReport], width: float) -> None:
    _need(paper, width + 4.0)
    top = paper.get_y()
    for column, report in enumerate(reports):
        trace = report.round_trace or report.straight_trace
        if trace is not None:
            paper.set_xy(MARGIN_MM + _NAME_MM + column * width, top)
            paper.picture(chart(trace, "png"), width - 2.0, width - 2.0)
    paper.set_xy(MARGIN_MM, top)
    paper.words("The last turns, seen from above, or the last readings", 8.0, "", _NAME_MM - 2.0)
    paper.set_xy(MARGIN_MM, top + width)


def _row_of_photos(paper: Paper, reports: Sequence[SetupReport], width: float) -> None:
    last = [report.photos[-1] if report.photos else None for report in reports]
    if not any(last):
        return
    _need(paper, 0.5625 * width + 12.0)
    top = paper.get_y()
    paper.words("The last photo", 8.0, "", _NAME_MM - 2.0)
    for column, photo in enumerate(last):
        if photo is not None:
            _one_photo(paper, photo, MARGIN_MM + _NAME_MM + column * width, top, width - 2.0)
    paper.set_xy(MARGIN_MM, top + 0.5625 * width + 10.0)


def _one_photo(paper: Paper, photo: PhotoShown, left: float, top: float, width: float) -> None:
    paper.set_xy(left, top)
    paper.photo(photo, width, 0.5625 * width)
