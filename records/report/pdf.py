"""Reports as PDF."""

from records.report.content import SetupReport
from records.report.overview import Overview
from records.report.paper import Paper
from records.report.pdf_overview import overview_pages
from records.report.pdf_setup import setup_pages


def setup_pdf(report: SetupReport, foot: str) -> bytes:
    """Return the two pages of a setup; `foot` stands on each."""
    paper = Paper(f"Setup {report.id}: {report.title}", foot)
    setup_pages(paper, report)
    return bytes(paper.output())


def overview_pdf(overview: Overview, foot: str) -> bytes:
    """Return the pages of a part or a batch."""
    paper = Paper(overview.title, foot)
    overview_pages(paper, overview)
    for report in overview.setups:
        setup_pages(paper, report)
    return bytes(paper.output())
