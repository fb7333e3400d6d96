"""The two pages of one setup."""

from records.report.chart import chart
from records.report.checklists import ListShown
from records.report.content import SWEEP_COLUMNS, SetupReport
from records.report.paper import MARGIN_MM, WIDTH_MM, Paper

_LEFT_MM = 106.0
_GAP_MM = 6.0
_RIGHT_MM = WIDTH_MM - _LEFT_MM - _GAP_MM
_A_ROUND_MM = 5.0
_MOST_SIZES = 12
_CHECKLISTS_MM = 52.0
_MOST_SWEEPS = 8
_SWEEP_WIDTHS = (14.0, 42.0, 46.0, 30.0, 25.0, 25.0)


def setup_pages(paper: Paper, report: SetupReport) -> None:
    """Write a setup's two pages: what was found, then what it was found with."""
    paper.add_page()
    paper.words(f"Setup {report.id}: {report.title}", 15.0, "B")
    paper.words(report.heading, 10.0)
    paper.ln(2.0)
    _verdict(paper, report)
    _numbers_and_trace(paper, report)
    _rounds(paper, report)
    paper.add_page()
    _photos(paper, report)
    _instruments(paper, report)
    _checklists(paper, report)
    _sweeps(paper, report)


def _verdict(paper: Paper, report: SetupReport) -> None:
    verdict = report.verdict
    lines = [(verdict.value, 12.0), (f"Tolerance: {verdict.tolerance}.", 8.5)]
    if verdict.meaning:
        lines.append((verdict.meaning, 8.0))
    paper.verdict_box(verdict.headline, lines, dark=verdict.word == "outside")


def _numbers_and_trace(paper: Paper, report: SetupReport) -> None:
    top = paper.get_y()
    paper.heading("The numbers", _LEFT_MM)
    paper.pairs(report.numbers or (("", "none were taken"),), _LEFT_MM, 0.47)
    paper.heading("The setup", _LEFT_MM)
    paper.pairs(report.facts, _LEFT_MM, 0.25)
    if report.sizes:
        paper.heading("Sizes taken by hand", _LEFT_MM)
        paper.pairs(report.sizes[:_MOST_SIZES], _LEFT_MM, 0.5)
        if (more := len(report.sizes) - _MOST_SIZES) > 0:
            paper.words(f"({more} more in the book)", 8.5, "", _LEFT_MM)
    under = paper.get_y()
    paper.set_xy(MARGIN_MM + _LEFT_MM + _GAP_MM, top)
    _trace(paper, report)
    if report.budget:
        paper.heading("Parts of the uncertainty (k = 1)", _RIGHT_MM)
        paper.pairs(report.budget[:8], _RIGHT_MM, 0.6)
    paper.set_xy(MARGIN_MM, max(under, paper.get_y()))


def _trace(paper: Paper, report: SetupReport) -> None:
    trace = report.round_trace or report.straight_trace
    if trace is None:
        paper.heading("The trace", _RIGHT_MM)
        paper.words("No complete sweep was kept.", 8.0, "", _RIGHT_MM)
        return
    turned = report.round_trace is not None
    words = "The last turns, seen from above" if turned else "The last readings"
    paper.heading(words, _RIGHT_MM)
    paper.picture(chart(trace, "png"), _RIGHT_MM, _RIGHT_MM)


def _rounds(paper: Paper, report: SetupReport) -> None:
    paper.heading("What was found, and what was moved")
    room = paper.room() - 7.0 * (1 + len(report.remarks))
    paper.lines(_shortened(report.rounds, max(3, int(room / _A_ROUND_MM))))
    if report.remarks:
        paper.heading("To be known beside it")
        paper.lines([f"– {line}" for line in report.remarks])


def _shortened(lines: tuple[str, ...], most: int) -> tuple[str, ...]:
    """Return at most so many lines; what is left out in the middle is counted."""
    if len(lines) <= most:
        return lines
    begin = most // 2
    left_out = len(lines) - most + 1
    end = most - begin - 1
    return (*lines[:begin], f"({left_out} more lines in the book)", *lines[-end:])


def _photos(paper: Paper, report: SetupReport) -> None:
    more = f" ({report.photos_left_out} more in the book)" if report.photos_left_out else ""
    paper.heading(f"Photos{more}")
    if not report.photos:
        paper.words("No photo was taken.", 8.5)
    width = (WIDTH_MM - _GAP_MM) / 2
    height = 0.5625 * width
    for row in range(0, len(report.photos), 2):
        top, under = paper.get_y(), 0.0
        for column, photo in enumerate(report.photos[row : row + 2]):
            paper.set_xy(MARGIN_MM + column * (width + _GAP_MM), top)
            paper.photo(photo, width, height)
            under = max(under, paper.get_y())
        paper.set_xy(MARGIN_MM, under + 1.0)


def _instruments(paper: Paper, report: SetupReport) -> None:
    paper.heading("Instruments, as they were known when the setup was begun")
    lines = [
        f"{one.kind}: {one.words}{f'; {one.check}' if one.check else ''}"
        for one in report.instruments
    ]
    paper.lines(lines, 8.0, keep_mm=_CHECKLISTS_MM)
    if not report.instruments:
        paper.words("None was recorded.", 8.0)


def _checklists(paper: Paper, report: SetupReport) -> None:
    paper.heading("Checklists")
    top, under = paper.get_y(), 0.0
    width = (WIDTH_MM - _GAP_MM) / 2
    for column, shown in enumerate(report.checklists):
        paper.set_xy(MARGIN_MM + column * (width + _GAP_MM), top)
        _one_list(paper, shown, width)
        under = max(under, paper.get_y())
    paper.set_xy(MARGIN_MM, under)


def _one_list(paper: Paper, shown: ListShown, width: float) -> None:
    paper.words(shown.title, 8.0, "B", width)
    paper.words(shown.status, 8.0, "" if shown.completed else "B", width)
    for line in shown.lines:
        paper.words(f"{'☑' if line.touched else '☐'} {line.text}", 7.0, "", width)


def _sweeps(paper: Paper, report: SetupReport) -> None:
    if not report.sweeps:
        return
    room = int((paper.room() - 14.0) / 5.0)
    if room < 1:
        return
    shown = report.sweeps[-min(_MOST_SWEEPS, room) :]
    left_out = len(report.sweeps) - len(shown)
    paper.heading(f"Sweeps ({left_out} earlier in the book)" if left_out else "Sweeps")
    paper.grid(SWEEP_COLUMNS, shown, _SWEEP_WIDTHS)
