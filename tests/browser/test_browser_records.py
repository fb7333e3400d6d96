"""The Records page leafed through in a real Chromium: photos, two beside one another, a report."""

import subprocess
import sys
from pathlib import Path

import pytest
from conftest import DASHBOARD
from records_kit import open_book
from report_kit import bored

pytestmark = pytest.mark.browser

LOADED = "() => [...document.querySelectorAll('.sh-photo img')].filter(i => i.naturalWidth).length"
WAIT_MS = 60_000


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    home = tmp_path_factory.mktemp("home")
    with open_book(home) as book:
        bored(book)
        bored(book, "gear-case end 2 **<b>not bold</b>**", verdict="outside")
    command = [sys.executable, "-c", DASHBOARD, str(home)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    yield process.stderr.readline().split()[-1]
    process.stdin.close()
    process.wait(15)
    process.stderr.close()


def test_the_first_visit_may_be_to_any_page(address, chromium):
    page = chromium.new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(f"{address}records")
    page.locator(".st-key-open-1").wait_for()
    assert page.get_by_text("Page not found").count() == 0
    assert page.get_by_role("dialog").count() == 0
    page.close()


def test_the_book_is_leafed_through(address, chromium, pictures):
    page = chromium.new_page(viewport={"width": 1600, "height": 1200})
    page.set_default_timeout(WAIT_MS)
    errors = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(address)
    page.get_by_role("link", name="Records").click()
    page.locator(".st-key-open-1").wait_for()
    page.screenshot(path=pictures / "records-list.png")
    assert "**<b>not bold</b>**" in page.locator(".st-key-open-2").inner_text()

    page.locator(".st-key-open-1 button").click()
    page.get_by_text("INSIDE the tolerance of 0.010 mm").wait_for()
    page.wait_for_function(f"({LOADED})() >= 1")
    page.locator(".js-plotly-plot .scatterlayer path").first.wait_for(state="attached")
    page.screenshot(path=pictures / "records-one.png", full_page=True)

    with page.expect_download() as download:
        page.get_by_role("button", name="Report to print").click()
    assert download.value.suggested_filename == "setup-1.pdf"
    assert Path(download.value.path()).read_bytes().startswith(b"%PDF")

    page.locator(".st-key-beside-of-1 input").click()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="One alone").wait_for()
    page.get_by_text("OUTSIDE the tolerance of 0.010 mm").wait_for()
    page.wait_for_function(f"({LOADED})() >= 2")
    page.screenshot(path=pictures / "records-two.png", full_page=True)

    page.get_by_role("button", name="One alone").click()
    page.get_by_role("button", name="Later").click()
    page.get_by_role("heading", name="Setup 2").wait_for()
    page.get_by_role("button", name="All records").click()
    page.locator(".st-key-open-2").wait_for()
    assert errors == []
    page.close()
