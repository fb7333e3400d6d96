"""From the checklist to the saved record, through the page alone, with the real service."""

import time

import pytest
from looks import FIND, OVERFLOWS, SMALL
from page_agent import LOOK, PageAgent

from records import BookReader

LEAST_PICTURES_A_SECOND = 20.0
NO_PICTURE_WITHIN_S = 2.3  # two seconds promised, and the time to look
TOUCH_PX = 94  # 15 mm where a CSS pixel is 1/160 inch, as on a tablet

# The height of the digits as drawn: the box of a "0" in the font and size that is in use.
DIGITS = (
    """() => {
  const style = getComputedStyle("""
    + FIND
    + """.querySelector('.value'));
  const pen = document.createElement('canvas').getContext('2d');
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  const box = pen.measureText('0');
  return box.actualBoundingBoxAscent + box.actualBoundingBoxDescent;
}"""
)


def pictures_a_second(page, seconds):
    count = "() => [window.__sparehand.frames, performance.now() / 1000]"
    frames, began_s = page.evaluate(count)
    time.sleep(seconds)
    after, ended_s = page.evaluate(count)
    return (after - frames) / (ended_s - began_s)


def wait_for(page, true, most_s=15.0):
    """Wait until a JavaScript expression holds; return the seconds it took."""
    began_s = time.monotonic()
    page.wait_for_function(true, timeout=most_s * 1000)
    return time.monotonic() - began_s


def is_stale(word):
    return f"() => {{ const sh = {FIND}; return Boolean(sh) && sh.dataset.stale === '{word}'; }}"


def open_page(chromium, demo, width, height, scheme, errors):
    page = chromium.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(demo.address)
    wait_for(page, "window.__sparehand && window.__sparehand.frames > 5", 40.0)
    return page


def keys_are_next_but_never_a_line(page):
    """Any typed key steps on where the step waits for one; no key touches a checklist line."""
    step = "window.__sparehand.view.step"
    page.keyboard.down("x")
    page.keyboard.down("x")  # the same key held: a repeat, which counts for nothing
    page.keyboard.up("x")
    wait_for(page, f"{step} === 'before-hands'")
    page.locator(".line").first.focus()
    for key in ("Enter", " ", "x", "PageDown"):
        page.keyboard.press(key)
    time.sleep(0.5)
    ticked = "window.__sparehand.view.lines.filter((line) => line.ticked).length"
    assert page.evaluate(ticked) == 0
    assert page.evaluate(step) == "before-hands"
    assert "a finger or the mouse" in page.locator(".said").text_content()


def arrow_and_words(page):
    """Return the large arrow and the words of the way hands move: "" where there is none."""
    texts = [page.locator(name).text_content() for name in (".arrow", ".travel", ".headline")]
    return tuple(text or "" for text in texts)


@pytest.mark.browser
@pytest.mark.timeout(300)
def test_from_checklist_to_saved_record(demo, chromium, pictures):
    errors = []
    page = open_page(chromium, demo, 1920, 1080, "light", errors)
    page.screenshot(path=pictures / "wide-00-start.png")
    assert page.locator(".listen").is_visible()
    page.get_by_role("button", name="Start this setup").click()
    wait_for(page, "window.__sparehand.view && window.__sparehand.view.step === 'prepare'")
    wait_for(page, "window.__sparehandSound.on")
    page.locator(".listen").wait_for(state="hidden")
    tablet = open_page(chromium, demo, 1280, 800, "dark", errors)
    assert page.evaluate(DIGITS) >= 0.15 * 1080
    assert tablet.evaluate(DIGITS) >= 0.15 * 800
    tablet.close()
    assert pictures_a_second(page, 4.0) >= LEAST_PICTURES_A_SECOND
    keys_are_next_but_never_a_line(page)

    numbered = iter(range(1, 100))
    ways = []

    def seen(step):
        name = f"{next(numbered):02d}-{step}"
        page.screenshot(path=pictures / f"wide-{name}.png")
        arrow, travel, headline = arrow_and_words(page)
        if arrow and travel:
            ways.append(arrow)
            assert travel.startswith(f"{arrow} table ")
        if "first turn" in travel:
            assert headline.startswith("First turn the stylus ")
        assert page.evaluate(OVERFLOWS) == [], step
        assert page.evaluate(SMALL, TOUCH_PX) == [], step
        page.set_viewport_size({"width": 1280, "height": 800})
        page.emulate_media(color_scheme="dark")
        time.sleep(0.6)
        page.screenshot(path=pictures / f"tablet-{name}.png")
        assert page.evaluate(OVERFLOWS) == [], f"{step} on a tablet"
        page.set_viewport_size({"width": 1920, "height": 1080})
        page.emulate_media(color_scheme="light")
        time.sleep(0.3)

    agent = PageAgent(page, seen)
    agent.run(until="done", most_s=220.0)
    off = page.evaluate("window.__sparehand.view.found.eccentricity_mm")
    assert float(page.locator(".value").text_content()) == pytest.approx(off, abs=6e-5)
    assert page.locator(".unit").text_content() == "mm off"
    assert page.locator(".divisions").text_content() == "inside the tolerance"
    assert ways, "no move was shown with its way"
    assert page.evaluate("window.__sparehand.spoken.length") >= 5
    assert page.evaluate("window.__sparehand.mounts") <= 2  # start page and step page, no more

    is_in_the_book(demo.home)
    page.get_by_role("button", name="Show the record").click()
    page.get_by_text("Inside the tolerance of 0.005 mm").wait_for()
    wait_for(
        page,
        "[...document.querySelectorAll('.sh-photo img')].filter((i) => i.naturalWidth > 0)"
        ".length >= 4",
    )
    page.locator(".js-plotly-plot .scatterlayer path").first.wait_for(state="attached")
    page.set_viewport_size({"width": 1920, "height": 2600})
    time.sleep(1.0)
    page.screenshot(path=pictures / "wide-record.png")
    assert errors == []


def is_in_the_book(home):
    with BookReader.open(home) as book:
        setup = book.show_setup(book.list_setups()[0].id)
        assert book.check() == []
    assert setup["state"] == "finished"
    assert setup["verdict"] == "inside"
    assert (setup["job"], setup["part"]) == ("Lock paddle winding gear", "Gear-case end 1")
    assert {photo["kind"] for photo in setup["photos"]} == {"raw", "annotated"}
    assert all(photo["there"] for photo in setup["photos"])
    touched = {tick["line_id"] for tick in setup["ticks"] if tick["ticked"]}
    assert {"isolated", "neutral", "feed-off", "keys-out", "guards"} <= touched
    assert sum(sweep["state"] == "complete" for sweep in setup["sweeps"]) >= 4


@pytest.mark.browser
@pytest.mark.timeout(120)
def test_says_no_picture_and_comes_back_by_itself(demo, chromium, pictures):
    errors = []
    page = open_page(chromium, demo, 1280, 800, "light", errors)
    page.get_by_role("button", name="Start this setup").click()
    wait_for(page, "window.__sparehand.view && window.__sparehand.view.step === 'prepare'")
    wait_for(page, is_stale("false"))
    demo.kill_service()
    assert wait_for(page, is_stale("true")) < NO_PICTURE_WITHIN_S
    assert "no picture" in page.locator(".strip .state").text_content()
    time.sleep(1.0)
    assert page.locator(".value").text_content() == "– – –"
    page.screenshot(path=pictures / "no-picture.png")
    page.locator("button.next").click()
    page.locator(".said.bad").wait_for()
    assert "service" in page.locator(".said").text_content()
    demo.start_service()
    demo.wait_until_ready()
    wait_for(page, is_stale("false"))
    assert page.evaluate(LOOK)["step"] == "prepare"
    page.locator("button.next").click()
    wait_for(page, "window.__sparehand.view.step === 'before-hands'")
    assert errors == []
