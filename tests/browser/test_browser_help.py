"""First steps: a dial taught on the page by a photo and five clicks, and tried."""

import json
import time

import pytest
from access_checks import faint, without_names

from ui.dial_form import CLICKS

pytestmark = pytest.mark.browser
FIVE_MINUTES_S = 300.0


@pytest.fixture
def page(chromium, fast_demo):
    opened = chromium.new_page(viewport={"width": 1280, "height": 1000})
    opened.goto(fast_demo.address)
    opened.get_by_role("link", name="First steps").click(timeout=60_000)
    opened.get_by_text("From nothing to the first reading").wait_for(timeout=60_000)
    yield opened
    opened.close()


def test_a_file_that_is_no_picture_is_told_before_any_click(page):
    broken = {"name": "photo.jpg", "mimeType": "image/jpeg", "buffer": b"hello"}
    page.locator("input[type=file]").first.set_input_files(broken)
    page.get_by_text("That file is no picture that can be read").wait_for(timeout=20_000)
    assert page.locator(".clicks").count() == 0


@pytest.mark.timeout(200)
def test_a_dial_is_taught_by_clicks_and_read(page, fast_demo, faces_dir, pictures):
    began_s = time.monotonic()
    folder = faces_dir / "dev1"
    photo = json.loads((folder / "dial.json").read_text())["teach"][0]
    page.get_by_role("button", name="The board to print (PDF)").wait_for()
    across = page.get_by_label("Across the outer ends of the marks (mm)")
    across.fill("48.5")
    across.press("Tab")
    page.locator("input[type=file]").first.set_input_files(folder / photo["file"])
    canvas = page.locator(".clicks canvas")
    canvas.wait_for()
    page.wait_for_function(CLICKABLE)
    learn = page.get_by_role("button", name="Learn this dial")
    assert learn.is_disabled()
    wide = 1280.0
    for i, key in enumerate(CLICKS):
        canvas.scroll_into_view_if_needed()
        k = canvas.bounding_box()["width"] / wide
        x, y = photo["clicks_px"][key]
        canvas.click(position={"x": (x + 0.5) * k, "y": (y + 0.5) * k})
        words = f"{i + 2} of 5" if i < 4 else "All places are clicked"
        page.locator(".clicks .asked", has_text=words).wait_for()
    page.wait_for_timeout(500)
    page.screenshot(path=pictures / "help-clicked.png", full_page=True)
    learn.click()
    page.get_by_text("shop-dial, version 1, is learned and kept.").wait_for(timeout=30_000)
    assert (fast_demo.home / "dials").exists()
    page.locator("input[type=file]").last.set_input_files(folder / "teach/1.jpg")
    page.get_by_text("divisions (k = 2)").wait_for(timeout=20_000)
    read = page.get_by_text("divisions (k = 2)").text_content()
    assert float(read.split()[0]) == pytest.approx(31.0, abs=0.5)
    assert "run --dial shop-dial --source 0" in page.locator("code").last.text_content()
    page.screenshot(path=pictures / "help-read.png", full_page=True)
    assert time.monotonic() - began_s < FIVE_MINUTES_S
    assert without_names(page) == []
    assert faint(page) == []


CLICKABLE = """() => {
  const find = (node) => {
    const here = node.querySelector('.clicks canvas');
    if (here) return here;
    for (const one of node.querySelectorAll('*')) {
      const inside = one.shadowRoot && find(one.shadowRoot);
      if (inside) return inside;
    }
    return null;
  };
  const canvas = find(document.body);
  return Boolean(canvas) && canvas.width === 1280;
}"""
