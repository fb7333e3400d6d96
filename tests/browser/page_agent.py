"""Hands at the dashboard: an agent that reads the page's words and touches its buttons only."""

import re
import time

DIVISION_MM = 0.02  # of the bench's handwheels
STEPS = (25, 5, 1, 0.1)
WAYS = {"right": ("x", 1), "left": ("x", -1), "to the back": ("y", 1), "to the front": ("y", -1)}
TRAVEL = re.compile(r"table (right|left|to the back|to the front) (?:at least )?([0-9.]+) mm")
STYLUS = re.compile(r"stylus to the (right|left|back|front)", re.IGNORECASE)

LOOK = """() => {
  const root = document.querySelector('[data-testid="stBidiComponentRegular"], .stBidiComponent');
  const find = (node) => {
    if (!node) return null;
    const here = node.querySelector('.sh');
    if (here) return here;
    for (const one of node.querySelectorAll('*')) {
      const inside = one.shadowRoot && find(one.shadowRoot);
      if (inside) return inside;
    }
    return null;
  };
  const sh = find(document.body);
  if (!sh) return null;
  const text = (name) => sh.querySelector('.' + name).textContent;
  const bench = window.__sparehand.bench || {};
  return {
    ...sh.dataset, headline: text('headline'), detail: text('detail'), note: text('note'),
    value: text('value'), travel: text('travel'), remaining: text('remaining'),
    sideWords: text('side-words'), moving: Boolean(bench.moving),
    locked: Boolean(bench.locked_x || bench.locked_y), turned: text('turned'),
    read_s: window.__sparehand.live ? window.__sparehand.live.t_s : -1,
    moved_s: bench.t_s || 0,
  };
}"""


class PageAgent:
    """Follows what the page says until a step is reached; `seen` is called at each new step."""

    def __init__(self, page, seen=lambda name: None):
        self.page = page
        self.seen = seen
        self.turning = "anticlockwise"
        self.step = None
        self.backed = None
        self.shown = set()

    def look(self):
        for _ in range(50):
            looked = self.page.evaluate(LOOK)
            if looked is not None:
                return looked
            time.sleep(0.1)
        raise AssertionError("the live block is not on the page")

    def press(self, name):
        self.page.locator(f'[data-do="{name}"]').click()

    def settle(self, seconds=0.3, most=40.0):
        """Wait until the hands have finished and a reading from after that is on the page."""
        time.sleep(0.15)
        until = time.monotonic() + most
        while time.monotonic() < until:
            now = self.look()
            if not now["moving"] and now["read_s"] > now["moved_s"] + seconds:
                return
            time.sleep(0.04)
        raise AssertionError(f"the bench did not come to rest: {now}")

    def wait_for_change(self, before, most=3.0):
        until = time.monotonic() + most
        keys = ("step", "headline", "detail")
        while time.monotonic() < until:
            now = self.look()
            if any(now[key] != before[key] for key in keys):
                return now
            time.sleep(0.05)
        return self.look()

    def run(self, *, until="done", most_s=200.0):
        """Act until the page shows the step `until`."""
        end = time.monotonic() + most_s
        while time.monotonic() < end:
            now = self.look()
            if now.get("step") != self.step:
                self.step = now.get("step")
                time.sleep(0.4)
                self.seen(self.step)
            if self.step == until:
                return
            self.act(self.look())
        raise AssertionError(f"the setup did not come to {until}: {self.look()}")

    def act(self, now):
        if now["wants"] == "ticks":
            self.tick_lines(now)
        elif now["wants"] == "turn":
            self.turn(now)
        elif now["kind"] == "lock":
            self.press("lock-x")
            self.press("lock-y")
            self.settle()
            self.page.locator("button.next").click()
            self.wait_for_change(now)
        elif now["wants"] == "key":
            self.page.locator("button.next").click()
            self.wait_for_change(now)
        elif now["target"] == "true":
            self.move(now)
        else:
            self.point(now)

    def tick_lines(self, now):
        for key in [line.get_attribute("data-line") for line in self.page.locator(".line").all()]:
            self.page.locator(f'.line[data-line="{key}"][aria-pressed="false"]').click()
            self.page.locator(f'.line[data-line="{key}"][aria-pressed="false"]').wait_for(
                state="detached", timeout=10_000
            )
        self.wait_for_change(now, 1.5)

    def turn(self, now):
        self.press(f"turn-{self.turning}")
        self.show_once("turning", 4.5)
        self.turning = "clockwise" if self.turning == "anticlockwise" else "anticlockwise"
        self.settle(0.1)
        self.wait_for_change(now)

    def point(self, now):
        told = STYLUS.search(now["headline"]) or STYLUS.search(now["detail"])
        if told is None:
            time.sleep(0.1)
            return
        self.press(f"point-{told.group(1)}")
        self.settle()
        after = self.wait_for_change(now)
        if now["kind"] == "point" and after["step"] == now["step"]:
            self.page.locator("button.next").click()
            self.wait_for_change(after)

    def show_once(self, name, after_s=0.0):
        if name not in self.shown:
            self.shown.add(name)
            time.sleep(after_s)
            self.seen(name)

    def move(self, now):
        self.show_once(f"{now['step']}-needle")
        if now["locked"]:
            self.press("lock-x")
            self.press("lock-y")
            self.settle()
        if now["side"] == "there":
            self.wait_for_change(now, 2.0)
            return
        if "stylus on its arm" in now["detail"]:
            self.press("reach-out" if now["side"] == "low" else "reach-in")
            self.settle()
            return
        told = TRAVEL.search(now["travel"])
        if told is None:
            time.sleep(0.1)
            return
        axis, way = WAYS[told.group(1)]
        travel_mm = way * float(told.group(2))
        if now["step"] == "moves":
            self.finish_from_one_side(now, axis, travel_mm)
        else:
            self.wheel(axis, round(travel_mm / DIVISION_MM) * DIVISION_MM or travel_mm)
            self.settle()

    def finish_from_one_side(self, now, axis, travel_mm):
        """Back off once a move, far enough to take up the play; then creep, never back."""
        finish = re.search(r"Finish moving ([a-z ]+),", now["detail"])
        way = WAYS[finish.group(1)][1] if finish else (1 if travel_mm > 0 else -1)
        if self.backed != (axis, now["step"], way) or way * travel_mm < 0:
            self.wheel(axis, travel_mm - way * 0.16)
            self.backed = (axis, now["step"], way)
        else:
            self.wheel(axis, travel_mm if abs(travel_mm) < 0.03 else 0.8 * travel_mm)
        self.settle()

    def wheel(self, axis, travel_mm):
        """Turn a handwheel by its buttons, to the nearest tenth of a division."""
        left = round(abs(travel_mm) / DIVISION_MM, 1)
        sign = 1 if travel_mm > 0 else -1
        for step in STEPS:
            count = int(left / step + 1e-6)
            left = round(left - count * step, 1)
            for _ in range(count):
                self.press(f"wheel-{axis}-{sign * step:g}")
