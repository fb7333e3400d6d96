"""The HTML report as its reader opens it: from a file, without a network."""

import pytest
from records_kit import open_book
from report_kit import JOB, MADE, bored

from records import BookReader
from records.report.making import report_of_batch, report_of_setup

pytestmark = pytest.mark.browser

WIDER_BY = "() => document.documentElement.scrollWidth - innerWidth"
LOST = "() => [...document.images].filter(i => !i.complete || !i.naturalWidth).length"


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("reports")
    with open_book(folder / "home") as book:
        bored(book, verdict="outside")
        bored(book, "gear-case end 2 <script>document.title = 'run'</script>")
    with BookReader.open(folder / "home") as reader:
        for name, report in (
            ("setup", report_of_setup(reader, 2, made_utc=MADE)),
            ("batch", report_of_batch(reader, JOB, made_utc=MADE)),
        ):
            (folder / f"{name}.html").write_text(report.html)
    return folder


@pytest.mark.parametrize("name", ["setup", "batch"])
@pytest.mark.parametrize("width", [1000, 390])
def test_it_needs_nothing_but_itself(chromium, files, pictures, name, width):
    context = chromium.new_context(offline=True, viewport={"width": width, "height": 1400})
    page = context.new_page()
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto((files / f"{name}.html").as_uri())
    page.screenshot(path=pictures / f"report-{name}-{width}.png", full_page=True)
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert said == []
    assert page.evaluate("() => document.images.length") > 0
    assert page.evaluate(LOST) == 0
    assert page.title() != "run"
    assert page.evaluate(WIDER_BY) <= 0
    context.close()
