"""Every guide from "before you start" to the saved record, through the page, on one demo."""

import time

import pytest
from contact_sheet import ContactSheet
from looks import FIND, OVERFLOWS, SMALL, choose
from page_agent import PageAgent

from records import BookReader
from setups import GUIDES

WIDE, TABLET = (1920, 1080), (1024, 768)
TOUCH_PX = 94  # 15 mm where a CSS pixel is 1/160 inch, as on a tablet
PUTS_NOTHING_RIGHT = ("test-bar", "rotation-axis", "tram-square", "second-end", "prove-pair")

EVERY_TIME = ("tram-head", "level-jacks", "four-jaw")
"""One with a lean, one with knobs seen from above, one with jaws; the others in the long run."""

READ = f"() => {{ const sh = {FIND}; return Boolean(sh) && sh.dataset.refused === 'false'; }}"

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def page(chromium, fast_demo):
    opened = chromium.new_page(viewport=dict(zip(("width", "height"), WIDE, strict=True)))
    opened.errors = []
    opened.on("pageerror", lambda error: opened.errors.append(str(error)))
    opened.goto(fast_demo.address)
    opened.wait_for_function("window.__sparehand && window.__sparehand.frames > 5", timeout=60_000)
    yield opened
    opened.close()


def begin(page, guide):
    """Choose a guide on the start page and start it; a setup that still runs is given up."""
    another = page.get_by_role("button", name="Start another setup")
    chosen = page.get_by_role("combobox")
    if another.is_visible():
        another.click()
    elif not chosen.is_visible():
        page.get_by_text("Give this setup up").click()
        page.get_by_role("button", name="Yes, give it up").click()
    choose(chosen, GUIDES[guide].title, GUIDES[guide].title)
    page.get_by_text(GUIDES[guide].purpose).wait_for()
    page.wait_for_timeout(300)
    page.get_by_role("button", name="Start this setup").click()
    view = "window.__sparehand.view"
    page.wait_for_function(f"{view} && {view}.guide === '{guide}' && !{view}.finished")
    page.wait_for_function(f"() => {{ const sh = {FIND}; return sh && !sh.matches('.compact'); }}")


def resize(page, size):
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.wait_for_timeout(250)


@pytest.mark.timeout(300)
@pytest.mark.parametrize(
    "guide",
    [
        guide if guide in EVERY_TIME else pytest.param(guide, marks=pytest.mark.long)
        for guide in GUIDES
    ],
)
def test_a_guide_from_start_to_record(guide, page, fast_demo, pictures):
    sheet, bad = ContactSheet(pictures / f"guide-{guide}.png"), []
    shown = set()

    def seen(step):
        if step in shown:
            return
        shown.add(step)
        for size in (TABLET, WIDE):
            resize(page, size)
            # the work before may have no dial, and a target's place is no dial's
            strange = page.locator("button.mount").is_visible()
            if not strange and (GUIDES[guide].task != "axis" or "orbit" in step):
                page.wait_for_function(READ, timeout=20_000)
            sheet.add(f"{step} {size[0]}", page.screenshot(type="jpeg", quality=70))
            bad.extend((step, size[0], what) for what in page.evaluate(OVERFLOWS))
        bad.extend((step, what) for what in page.evaluate(SMALL, TOUCH_PX))

    begin(page, guide)
    began_s = time.monotonic()
    try:
        PageAgent(page, seen, GUIDES[guide].surface).run(until="done", most_s=240.0)
    finally:
        sheet.write()
    print(f"{guide}: {time.monotonic() - began_s:.0f} s, {len(sheet.tiles) // 2} steps shown", bad)
    is_in_the_book(fast_demo.home, guide)
    assert page.errors == []
    assert bad == []


def is_in_the_book(home, guide):
    with BookReader.open(home) as book:
        setup = book.show_setup(book.list_setups()[0].id)
    assert setup["state"] == "finished"
    assert setup["guide"] == guide
    if guide not in PUTS_NOTHING_RIGHT:
        assert setup["verdict"] == "inside"
    assert {photo["kind"] for photo in setup["photos"]} == {"raw", "annotated"}
