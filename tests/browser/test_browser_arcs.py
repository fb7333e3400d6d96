"""Arcs left out on the trace by touch, by drawing along, by keys: a bore worn on one side."""

import math

import pytest
from conftest import FAST_SERVICE, running_demo
from looks import FIND, OVERFLOWS
from page_agent import PageAgent
from test_browser_bore import DIGITS

WORN = FAST_SERVICE.replace(
    "turn_s=9.0",
    "turn_s=9.0, worn_deg=(330.0, 70.0), worn_mm=0.06, offset_mm=(0.02, -0.015), start_deg=10.0",
)
TOUCH_PX = 94  # 15 mm where a CSS pixel is 1/160 inch, as on a tablet
VIEW = "window.__sparehand.view"
POLAR = f"{FIND}.querySelector('.polar')"
INK = f"""() => {{ const canvas = {POLAR};
  const data = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
  let dark = 0;
  for (let i = 0; i < data.length; i += 4) dark += data[i + 3] > 200 && data[i] < 90;
  return dark; }}"""
FOCUSED = f"() => {FIND}.getRootNode().activeElement?.className || ''"

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def page(chromium, tmp_path_factory):
    with running_demo(tmp_path_factory.mktemp("worn"), WORN) as demo:
        opened = chromium.new_page(viewport={"width": 1920, "height": 1080})
        opened.errors = []
        opened.on("pageerror", lambda error: opened.errors.append(str(error)))
        opened.goto(demo.address)
        opened.wait_for_function("window.__sparehand?.frames > 5", timeout=60_000)
        opened.get_by_role("button", name="Start this setup").click()
        opened.wait_for_function(f"{VIEW} && {VIEW}.guide === 'centre-bore'")
        PageAgent(opened).run(until="moves")
        yield opened
        opened.close()


def at(page, deg, share=0.9):
    """Where the trace stands at an angle, on the screen."""
    where = page.evaluate(
        f"() => {{ const box = {POLAR}.getBoundingClientRect();"
        " const w = box.width, h = box.height;"
        " return [box.left, box.top, w, h]; }"
    )
    left, top, wide, high = where
    text = max(13, min(wide, high) * 0.052)
    ring = min(wide / 2 - text * 3.9, (high - text * 1.4) / 2 - text * 1.5)
    x = left + wide / 2 + share * ring * math.cos(math.radians(deg))
    return x, top + (high - text * 1.4) / 2 - share * ring * math.sin(math.radians(deg))


def left_out(page, want):
    page.wait_for_function(f"JSON.stringify({VIEW}.left_out) === '{want}'")
    page.wait_for_function(f"{POLAR}.getAttribute('aria-busy') !== 'true'")
    page.wait_for_timeout(200)


def off_um(page):
    found = page.evaluate(f"{VIEW}.found")
    return 1000 * math.hypot(found["offset_x_mm"], found["offset_y_mm"])


def opened(page, word):
    page.wait_for_function(f"{FIND}.matches('.with-arcs') === {word}")
    page.wait_for_timeout(200)


def settled(page, script, most_s=6.0):
    """What a script finds once the page stands as it is going to: the last of some looks."""
    for _ in range(int(most_s / 0.3)):
        found = page.evaluate(script)
        if not found:
            break
        page.wait_for_timeout(300)
    return found


@pytest.mark.timeout(120)
def test_arcs_are_left_out_by_touch_by_line_and_by_keys(page, pictures):
    before = page.evaluate(f"{VIEW}.found")
    page.screenshot(path=pictures / "arcs-0-offered.png")
    page.mouse.click(*at(page, 50))  # the first touch only makes the trace large
    opened(page, "true")
    left_out(page, "[]")
    assert page.locator(".arcs-leave").bounding_box()["height"] >= TOUCH_PX
    page.screenshot(path=pictures / "arcs-1-large.png")
    by_touch(page, before, pictures)
    by_line(page)
    page.get_by_text("Back to the picture").click()
    opened(page, "false")
    by_keys(page)
    assert page.errors == []


def by_touch(page, before, pictures):
    """A touch of what falls away takes the whole of it; again, and it is back."""
    ink = page.evaluate(INK)
    ((start, end),) = page.evaluate(f"{VIEW}.trace.falls")
    assert (20 - start) % 360 < (end - start) % 360 < 180
    page.mouse.click(*at(page, 20))
    left_out(page, f"[[{start},{end}]]")
    assert page.evaluate(INK) > ink + 2000  # hatched
    after = page.evaluate(f"{VIEW}.found")
    moved = math.hypot(*(after[key] - before[key] for key in ("offset_x_mm", "offset_y_mm")))
    assert moved > 0.005
    assert f"Left out by hand: {start}° to {end}°." in page.locator(".arc-words").text_content()
    page.mouse.wheel(0, 300)  # as a thumb's stroke: a resized page is seen from its top again
    page.wait_for_timeout(500)  # it rolls on for a while
    for size, scheme, name in (
        ((1280, 800), "light", "tablet"),
        ((1024, 768), "dark", "small"),
        ((1920, 1080), "light", "wide"),
        ((1920, 1080), "dark", "wide-dark"),
    ):
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size(dict(zip(("width", "height"), size, strict=True)))
        page.wait_for_timeout(900)
        page.screenshot(path=pictures / f"arcs-2-{name}.png")
        assert settled(page, OVERFLOWS) == []
        assert page.evaluate(DIGITS) >= 0.15 * min(size), "digits 15 % of the shorter side"
    page.emulate_media(color_scheme="light")
    page.set_viewport_size({"width": 1920, "height": 1080})
    page.wait_for_timeout(500)
    page.mouse.click(*at(page, 20))
    left_out(page, "[]")
    assert page.evaluate(f"{VIEW}.found") == before


def by_line(page):
    """Drawn along, an arc is as long as the line; too much is refused and told."""
    draw(page, 100, 163)
    left_out(page, "[[100,160]]")
    draw(page, 182, 330)
    page.wait_for_function(f"{FIND}.querySelector('.said').textContent.includes('More than half')")
    page.wait_for_function(f"{POLAR}.getAttribute('aria-busy') !== 'true'")
    left_out(page, "[[100,160]]")
    draw(page, 155, 131)
    left_out(page, "[[100,130]]")
    page.mouse.click(*at(page, 115))
    left_out(page, "[]")


def draw(page, start, end):
    page.mouse.move(*at(page, start))
    page.mouse.down()
    for i in range(1, 9):
        page.mouse.move(*at(page, start + (end - start) * i / 8))
    page.mouse.up()


def by_keys(page):
    """Reached by Tab; arrows turn and widen, Enter leaves out and takes back, Escape ends."""
    for _ in range(90):
        page.keyboard.press("Tab")
        if page.evaluate(FOCUSED) == "polar":
            break
    assert page.evaluate(FOCUSED) == "polar"
    page.keyboard.press("Enter")
    opened(page, "true")
    for key in ("ArrowLeft",) * 12 + ("ArrowUp", "ArrowDown", "ArrowDown"):
        page.keyboard.press(key)
    assert page.evaluate(f"{POLAR}.getAttribute('aria-valuetext')") == "110° to 130°"
    page.keyboard.press("Enter")
    left_out(page, "[[110,130]]")
    page.keyboard.press("Enter")
    left_out(page, "[]")
    page.keyboard.press("Escape")
    opened(page, "false")
