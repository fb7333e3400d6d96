"""Sound: on after one touch, two timbres for the two sides, one steady tone inside, two voices."""

import pytest
from test_browser_guides import begin

pytestmark = pytest.mark.browser

WATCH = """async ([side, off, seconds]) => {
  const sound = window.__sparehandSound;
  const follow = sound.follow.bind(sound);
  sound.follow = () => {}; // the page's own needle is not heard meanwhile
  const seen = { low: [], there: [], high: [] };
  const until = performance.now() + 1000 * seconds;
  let last = 0;
  while (performance.now() < until) {
    follow(side, off);
    const now = performance.now();
    if (now - last > 20) {
      last = now;
      for (const [name, gain] of Object.entries(sound.voices)) seen[name].push(gain.value);
    }
    await new Promise((resolve) => setTimeout(resolve, 4));
  }
  delete sound.follow;
  return seen;
}"""


@pytest.fixture(scope="module")
def page(chromium, fast_demo):
    opened = chromium.new_page(viewport={"width": 1280, "height": 800})
    opened.goto(fast_demo.address)
    opened.wait_for_function("window.__sparehand && window.__sparehand.frames > 5", timeout=60_000)
    yield opened
    opened.close()


def settled(values):
    """What was heard once the tone had begun."""
    return values[len(values) // 3 :]


def test_one_touch_and_it_listens_and_speaks(page):
    listen = page.locator(".listen")
    assert listen.is_visible()
    assert page.evaluate("window.__sparehandSound.on") is False
    begin(page, "tram-head")
    listen.wait_for(state="hidden")
    page.wait_for_function("window.__sparehand.spoken.length > 0")
    assert page.evaluate("window.__sparehand.spoken.at(-1)") == "Mount it as shown. Then next."


def test_the_two_sides_have_two_timbres_and_pitches(page):
    tones = page.evaluate(
        "Object.fromEntries(Object.entries(window.__sparehandSound.tones)"
        ".map(([side, tone]) => [side, [tone.type, tone.frequency.value]]))"
    )
    assert len({timbre for timbre, _ in tones.values()}) == 3
    assert tones["low"][1] < tones["there"][1] < tones["high"][1]


def test_inside_there_is_one_steady_tone(page):
    heard = page.evaluate(WATCH, ["there", 0.0, 1.5])
    there = settled(heard["there"])
    assert min(there) > 0.1
    assert max(there) - min(there) < 0.02
    assert max(settled(heard["low"]) + settled(heard["high"])) < 0.02


@pytest.mark.parametrize(("side", "other"), [("low", "high"), ("high", "low")])
def test_outside_it_pulses_on_its_own_side(page, side, other):
    heard = page.evaluate(WATCH, [side, 3.0, 2.5])
    assert max(settled(heard[side])) > 0.05
    assert min(settled(heard[side])) < 0.02
    assert max(settled(heard[other]) + settled(heard["there"])) < 0.02


def test_the_voice_is_british_or_american_in_mm_or_inches_and_stays(page):
    voice = page.locator("button.voice")
    seen = []
    for _ in range(4):
        seen.append(voice.text_content())
        voice.click()
    assert seen == ["British, mm", "British, inch", "American, mm", "American, inch"]
    voice.click()
    page.reload()
    page.wait_for_function("window.__sparehand && window.__sparehand.frames > 5", timeout=60_000)
    assert page.locator("button.voice").text_content() == "British, inch"


def test_muted_it_is_silent(page):
    page.locator("button.mute").click()
    heard = page.evaluate(WATCH, ["there", 0.0, 1.0])
    assert max(settled(heard["there"])) < 0.02
