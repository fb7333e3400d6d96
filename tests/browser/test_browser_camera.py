"""The guided camera page: the real service finds the board, a real Chromium shows it."""

import json
import time
from pathlib import Path

import numpy as np
import pytest
from board_making import scaled
from board_showing import board_pictures
from conftest import running_demo

from calibration.camera import load_camera

CAMERA = scaled(960)
TESTS = Path(__file__).resolve().parents[1]
SHELF_SERVICE = f"""
import sys
sys.path.insert(0, {str(TESTS)!r})
from board_showing import main
main(sys.argv[1], sys.argv[1] + "/pictures.npy")
"""
VIEW = "window.__sparehand.calibration"
TOUCH_PX = 94

SMALL = """(least) => [...document.querySelectorAll('*')].flatMap((one) => one.shadowRoot || [])
  .flatMap((root) => [...root.querySelectorAll('.cam .deeds button')])
  .map((one) => [one.textContent, one.getBoundingClientRect()])
  .filter(([, box]) => box.width && Math.min(box.width, box.height) < least - 0.5)
  .map(([text, box]) => `${text} ${box.width} x ${box.height}`)"""


@pytest.fixture
def shelf(tmp_path):
    """A service whose camera is shown the board, and a dashboard."""
    np.save(tmp_path / "pictures.npy", board_pictures(CAMERA))
    with running_demo(tmp_path, SHELF_SERVICE) as running:
        yield running


def bench(page, do, **args):
    """Do what hands do, through the service's own door."""
    from stream.client import Client

    with Client(page.home) as client:
        assert client.command("bench", do=do, **args).ok


def open_camera(page, shelf):
    """Open the dashboard and go to its Camera page."""
    page.goto(shelf.address)
    page.get_by_role("link", name="Camera").click(timeout=40_000)
    page.locator(".cam .headline").wait_for()
    wait_for(page, "window.__sparehand && window.__sparehand.frames > 5", 40.0)


def wait_for(page, true, most_s=20.0):
    page.wait_for_function(true, timeout=most_s * 1000)


@pytest.mark.browser
@pytest.mark.timeout(240)
def test_from_the_first_board_to_the_saved_model(shelf, chromium, pictures):
    errors = []
    page = chromium.new_page(viewport={"width": 1920, "height": 1080}, color_scheme="light")
    page.home = shelf.home
    page.on("pageerror", lambda error: errors.append(str(error)))
    open_camera(page, shelf)
    assert page.locator(".cam .headline").text_content() == "A model of this camera"
    page.locator(".cam .who", has_text="shelf camera").wait_for()
    page.screenshot(path=pictures / "camera-0-off.png")
    bench(page, "away")
    page.get_by_role("button", name="Start", exact=True).click()
    wait_for(page, f"{VIEW}.seen === 'unseen'")
    assert page.locator(".cam .headline").text_content() == "Show the board"
    assert not page.get_by_role("button", name="Make the model now").is_visible()
    bench(page, "show")
    wait_for(page, f"{VIEW}.taken >= 3 && {VIEW}.corners_px.length")
    page.screenshot(path=pictures / "camera-1-taking.png")
    assert page.evaluate(SMALL, TOUCH_PX) == []
    page.set_viewport_size({"width": 1280, "height": 800})
    page.emulate_media(color_scheme="dark")
    wait_for(page, f"{VIEW}.taken >= 6 && {VIEW}.seen === 'same' && {VIEW}.corners_px.length")
    time.sleep(0.2)
    page.screenshot(path=pictures / "camera-2-tablet.png")
    assert page.get_by_role("button", name="Make the model now").is_visible()
    page.set_viewport_size({"width": 1920, "height": 1080})
    page.emulate_media(color_scheme="light")
    wait_for(page, f"{VIEW}.state === 'judged'", 60.0)
    assert page.locator(".cam .headline").text_content() == "The model is good"
    time.sleep(0.3)
    page.screenshot(path=pictures / "camera-3-judged.png")
    assert page.evaluate(SMALL, TOUCH_PX) == []
    page.get_by_role("button", name="Save this model").click()
    wait_for(page, f"{VIEW}.state === 'saved'")
    time.sleep(0.3)
    page.screenshot(path=pictures / "camera-4-saved.png")
    path = Path(page.evaluate(f"{VIEW}.saved_to"))
    assert load_camera(path).fx == pytest.approx(CAMERA.fx, rel=0.005)
    assert json.loads(path.read_text())["identity"] == "shelf camera"
    assert len(page.evaluate("window.__sparehand.spoken")) >= 3
    assert errors == []


@pytest.mark.browser
@pytest.mark.timeout(120)
def test_two_pages_see_the_same_and_a_refusal_is_told(shelf, chromium, pictures):
    one, other = (chromium.new_page(viewport={"width": 1280, "height": 800}) for _ in range(2))
    for page in (one, other):
        page.home = shelf.home
        open_camera(page, shelf)
    one.get_by_text("The board, as measured on the print").click()
    one.get_by_label("The 150 mm ruler line measures (mm)").fill("110.0")
    one.keyboard.press("Enter")
    time.sleep(1.0)
    one.get_by_role("button", name="Start", exact=True).click()
    said = one.locator(".cam .said.bad")
    said.wait_for()
    assert "was measured as 110 mm: print at 100 %" in said.text_content()
    one.screenshot(path=pictures / "camera-5-refused.png")
    other.get_by_role("button", name="Start", exact=True).click()
    for page in (one, other):
        wait_for(page, f"{VIEW}.state === 'taking' && {VIEW}.taken >= 1")
    one.get_by_role("button", name="Give up").click()
    wait_for(other, f"{VIEW}.state === 'off'")
    assert other.locator(".cam .headline").text_content() == "A model of this camera"
