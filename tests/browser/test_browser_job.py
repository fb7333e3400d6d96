"""A job in a real Chromium: planned, one place of it done, the next offered and begun."""

import time

import pytest
from access_checks import faint, without_names
from looks import FIND, choose
from page_agent import PageAgent

from records import BookReader

WIDE, TABLET = (1920, 1080), (1280, 800)
TOUCH_PX = 94  # 15 mm where a CSS pixel is 1/160 inch, as on a tablet
GUIDE = "test-bar"  # walked in the shortest time: it puts nothing right

SMALL_OR_CUT = (
    "(least) => ["
    + FIND
    + """].flatMap((sh) => [...sh.querySelectorAll('button')]).filter((one) => one.offsetWidth)
  .filter((one) => Math.min(one.offsetWidth, one.offsetHeight) < least
    || one.scrollWidth > one.clientWidth + 1 || one.scrollHeight > one.clientHeight + 1
    || one.getBoundingClientRect().right > innerWidth + 1)
  .map((one) => `${one.textContent} ${one.offsetWidth} x ${one.offsetHeight}`)"""
)
STATES = f"() => [...{FIND}.querySelectorAll('.cell')].map((cell) => cell.dataset.state)"

pytestmark = pytest.mark.browser


def looked_at(page, pictures, name):
    """Take the page at both sizes, light and dark; return what is wrong with it."""
    bad = []
    for size, scheme in ((TABLET, "dark"), (WIDE, "light")):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(300)
        page.screenshot(path=pictures / f"job-{name}-{size[0]}.png")
        bad += [f"{size[0]}: {what}" for what in page.evaluate(SMALL_OR_CUT, TOUCH_PX)]
        bad += [f"{scheme}: {text}" for text in faint(page)]
    return bad + [f"no name: {role}" for role in without_names(page)]


def plan_two_parts(page):
    """Plan a job of two parts and one operation, by the forms."""
    page.get_by_text("No job is planned yet").wait_for()
    page.locator(".st-key-new-job-count input").fill("2")
    page.get_by_text("No operation yet", exact=True).click()
    page.get_by_role("button", name="Plan this job").click()
    page.get_by_text("No operation is planned yet.").wait_for()
    page.get_by_text("Change the plan").click()
    choose(page.get_by_role("combobox", name="Its guide"), "Runout", "Runout of a test bar")
    page.get_by_text("Tolerance: runout below (TIR)").wait_for()
    page.get_by_role("textbox", name="Its name").fill("Spindle runout")
    page.get_by_role("textbox", name="Datum").fill("spindle nose")
    page.get_by_role("button", name="Keep this operation").click()
    page.locator(".begin").get_by_text("Begin: Gear-case end 1").wait_for()


def begin_first_and_walk(page):
    page.locator(".begin").click()
    page.wait_for_function("window.__sparehand && window.__sparehand.frames > 3", timeout=40_000)
    PageAgent(page, surface="bar").run(until="done", most_s=120.0)


@pytest.mark.timeout(240)
def test_a_job_is_planned_and_its_next_part_begun(fast_demo, chromium, pictures):
    began_s = time.monotonic()
    page = chromium.new_page(viewport=dict(zip(("width", "height"), WIDE, strict=True)))
    page.set_default_timeout(60_000)
    errors = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(f"{fast_demo.address}job")
    plan_two_parts(page)
    assert page.evaluate(STATES) == ["next", "not yet"]
    bad = looked_at(page, pictures, "planned")
    begin_first_and_walk(page)

    page.get_by_role("link", name="Job").click()
    page.locator(".begin").get_by_text("Begin: Gear-case end 2").wait_for()
    with BookReader.open(fast_demo.home) as book:
        (line,) = book.list_setups()
    assert (line.state, line.part, line.operation) == (
        "finished",
        *("Gear-case end 1", "Spindle runout"),
    )
    assert page.evaluate(STATES) == [line.verdict, "next"]
    page.locator(".cell").first.click()
    page.locator(".chosen .what").get_by_text("setup 1").wait_for()
    bad += looked_at(page, pictures, "one-done")

    page.locator(".begin").click()
    page.locator(".beside").get_by_text(
        "Part before, Gear-case end 1: runout below (TIR)"
    ).wait_for()
    assert "Datum: spindle nose." in page.locator(".beside").inner_text()
    looked_at(page, pictures, "part-before")
    page.get_by_role("link", name="Job").click()
    page.locator(".begin").get_by_text("In hand: Gear-case end 2").wait_for()
    assert page.evaluate(STATES) == [line.verdict, "in hand"]
    with BookReader.open(fast_demo.home) as book:
        assert book.show_setup(2)["again_of_uid"] == book.show_setup(1)["uid"]
    page.close()
    print(f"{time.monotonic() - began_s:.0f} s")
    assert errors == []
    assert bad == []
