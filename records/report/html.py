"""Reports as one HTML page that needs nothing else: pictures, style and traces stand in it."""

from base64 import b64encode
from functools import cache
from pathlib import Path

import jinja2

from records.report.chart import chart
from records.report.content import CAUTIONS, MISSING, SWEEP_COLUMNS, PhotoShown, SetupReport
from records.report.overview import LINE_COLUMNS, Overview
from records.traces import RoundTrace, StraightTrace

TEMPLATE = "report.html.j2"


def setup_html(report: SetupReport, foot: str) -> str:
    """Return a setup's page."""
    return _page(f"Setup {report.id}: {report.title}", foot, None, (report,))


def overview_html(overview: Overview, foot: str) -> str:
    """Return the page of a part or a batch."""
    return _page(overview.title, foot, overview, overview.setups)


def _page(title: str, foot: str, overview: Overview | None, setups: tuple[SetupReport, ...]) -> str:
    return _template().render(
        title=title,
        foot=foot,
        overview=overview,
        setups=setups,
        cautions=CAUTIONS,
        missing=MISSING,
        line_columns=LINE_COLUMNS,
        sweep_columns=SWEEP_COLUMNS,
    )


@cache
def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["photo"] = _photo_data
    environment.filters["trace"] = _trace_data
    return environment.get_template(TEMPLATE)


def _photo_data(photo: PhotoShown) -> str:
    assert photo.path is not None
    return f"data:image/jpeg;base64,{b64encode(photo.path.read_bytes()).decode()}"


def _trace_data(trace: RoundTrace | StraightTrace) -> str:
    return f"data:image/svg+xml;base64,{b64encode(chart(trace, 'svg')).decode()}"
