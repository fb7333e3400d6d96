"""The page for who hears it or works it by keys: accessibility tree, contrast, focus."""

import pytest
from access_checks import faint, headings, tabbed, without_names
from test_browser_guides import begin

pytestmark = pytest.mark.browser
SCHEMES = ("light", "dark")


@pytest.fixture(scope="module")
def page(chromium, fast_demo):
    opened = chromium.new_page(viewport={"width": 1920, "height": 1080})
    opened.goto(fast_demo.address)
    opened.wait_for_function("window.__sparehand && window.__sparehand.frames > 5", timeout=60_000)
    yield opened
    opened.close()


def findings(page):
    """Everything serious that is wrong with what is on show, in both schemes of colour."""
    bad = [f"no name: {role}" for role in without_names(page)]
    for scheme in SCHEMES:
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(400)
        bad += [f"{scheme}: {text}" for text in faint(page)]
    page.emulate_media(color_scheme="light")
    page.wait_for_timeout(300)
    return bad


def come_to(page, step):
    page.wait_for_function(f"window.__sparehand.view && window.__sparehand.view.step === '{step}'")
    page.wait_for_timeout(300)


def test_sound_is_put_on_by_a_key_too(page):
    page.locator(".listen").focus()
    page.keyboard.press("Enter")
    page.locator(".listen").wait_for(state="hidden")
    assert page.evaluate("window.__sparehandSound.on")


def test_names_and_contrast_at_every_kind_of_step_by_keys_alone(page):
    assert findings(page) == []
    begin(page, "level-jacks")
    page.locator("button.mount").click()
    bad = findings(page)
    page.keyboard.press("n")
    come_to(page, "sizes")
    bad += findings(page)
    assert 1 in headings(page)
    page.locator(".size").first.focus()
    page.keyboard.press("Enter")
    page.locator(".pad").wait_for(state="visible")
    bad += findings(page)
    page.locator(".pad .leave").focus()
    page.keyboard.press("Enter")
    page.locator(".pad").wait_for(state="hidden")
    page.keyboard.press("n")
    come_to(page, "before-hands")
    bad += findings(page)
    for line in page.locator(".line").all():
        line.click()
        page.wait_for_timeout(150)
    come_to(page, "heights")
    bad += findings(page)
    assert bad == []
    page.keyboard.press("n")  # a key says that the dial stands there
    page.wait_for_function("window.__sparehand.view.advice.headline.includes('jack 2')")


def test_tab_goes_through_every_control_in_reading_order_with_a_ring_round_it(page):
    shown = page.locator(".sh button:visible").count()
    page.get_by_role("link", name="Setup").focus()
    stops = [at for at in tabbed(page) if at["inside"]]
    assert len({(at["name"], at["x"], at["y"]) for at in stops}) == shown
    assert [at["name"] for at in stops if not at["ring"]] == []
    areas = [("left" if at["y"] < 1080 * 0.74 else "bench") for at in stops]
    assert areas == sorted(areas, key=["left", "bench"].index), "the bench comes last"


def test_a_list_is_reached_by_tab_but_ticked_by_touch_alone(page):
    begin(page, "tram-head")
    page.keyboard.press("n")
    come_to(page, "sizes")
    page.keyboard.press("n")
    come_to(page, "before-hands")
    page.get_by_role("link", name="Setup").focus()
    lines = [at for at in tabbed(page) if at["line"]]
    assert len(lines) == 4
    page.locator(".line").first.focus()
    for key in ("Enter", "Space", "n"):
        page.keyboard.press(key)
    page.wait_for_timeout(300)
    assert page.evaluate("window.__sparehand.view.lines.filter((l) => l.ticked).length") == 0
