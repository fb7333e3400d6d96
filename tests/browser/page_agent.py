"""Hands at the dashboard: an agent that reads the page's words and touches its buttons only."""

import re
import time

from bench_words import knob_told, table_told

DIVISION_MM = 0.02  # of the bench's handwheels
STEPS = (25, 5, 1, 0.1)
WAYS = {"right": ("x", 1), "left": ("x", -1), "to the back": ("y", 1), "to the front": ("y", -1)}
TRAVEL = re.compile(r"table (right|left|to the back|to the front) (?:at least )?([0-9.]+) mm")
STYLUS = re.compile(r"stylus to the (right|left|back|front)", re.IGNORECASE)
JAW = re.compile(r"(?:jaw|side) (\d) (?:faces|at) the dial", re.IGNORECASE)
STALLED_S = 30.0

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
    aim: text('target'), mount: Boolean(sh.querySelector('.mount').offsetWidth),
    clamp: bench.clamp || '', clamped: Boolean(bench.clamped),
    turns: Boolean(bench.turns), changes: (bench.changes || []).map((change) => change.key),
    knobs: Object.fromEntries((bench.knobs || []).map(({knob}) => [knob.key, knob.steps])),
    read_s: window.__sparehand.live ? window.__sparehand.live.t_s : -1,
    moved_s: bench.t_s || 0,
  };
}"""


def off_mm(now):
    """How far the needle stands off its reading, from the words on the page."""
    aim = re.search(r"bring to ([+−-]?[\d.]+)", now["aim"])
    return float(now["value"].replace("−", "-")) - float(aim.group(1).replace("−", "-"))


def side_told(now):
    """Where stylus or work is to be turned to, from the words on the page."""
    told = STYLUS.search(now["headline"]) or STYLUS.search(now["detail"])
    if told:
        return told.group(1)
    jaw = JAW.search(now["headline"]) or JAW.search(now["detail"])
    if jaw:
        return ("right", "back", "left", "front")[int(jaw.group(1)) - 1]
    if "mark" in now["headline"].lower():
        return "back" if "quarter turn past" in now["headline"] else "right"
    return None


class PageAgent:
    """Follows what the page says until a step is reached; `seen` is called at each new step."""

    def __init__(self, page, seen=lambda name: None, surface="bore"):
        self.page = page
        self.seen = seen
        self.turning = "anticlockwise"
        self.step = None
        self.backed = None
        self.shown = set()
        self.surface = surface
        self.gains = {}
        self.pointed = None
        self.set_at = None

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
        told, since_s = None, time.monotonic()
        while time.monotonic() < min(end, since_s + STALLED_S):
            now = self.look()
            if told != (told := [now.get(key) for key in ("step", "headline", "detail", "value")]):
                since_s = time.monotonic()
            if now.get("step") != self.step:
                self.step = now.get("step")
                time.sleep(0.15)
                self.seen(self.step)
            if self.step == until:
                return
            self.act(self.look())
        raise AssertionError(f"the setup did not come to {until}: {self.look()}")

    def act(self, now):
        if now["mount"]:
            self.page.locator("button.mount").click()
            self.page.locator("button.mount").wait_for(state="hidden")
            self.settle()
        elif now["wants"] == "ticks":
            self.tick_lines(now)
        elif now["wants"] == "place":
            self.go(now)
        elif now["kind"] == "todo":
            self.put_right(now)
        elif now["wants"] == "turn":
            self.turn(now)
        elif now["wants"] == "stop":
            self.press("turn-on")
            self.settle()
            self.wait_for_change(now)
        elif now["kind"] == "lock":
            self.lock(now)
            self.next(now)
        elif now["kind"] == "change":
            if now["step"] in now["changes"]:
                self.press(f"change-{now['step']}")
                self.settle()
            self.next(now)
        elif now["wants"] in ("key", "sizes"):
            self.page.locator("button.next").click()
            self.wait_for_change(now)
        elif now["target"] == "true":
            self.move(now)
        else:
            self.point(now)

    def next(self, now):
        self.page.locator("button.next").click()
        self.wait_for_change(now)

    def lock(self, now):
        if now["clamp"] and not now["clamped"]:
            self.press("clamp")
        elif not now["clamp"] and not now["locked"]:
            self.press("lock-x")
            self.press("lock-y")
        self.settle()

    def free(self, now):
        if now["clamped"]:
            self.press("clamp")
        elif now["locked"] and not now["clamp"]:
            self.press("lock-x")
            self.press("lock-y")
        else:
            return
        self.settle()

    def go(self, now):
        """Bring the dial to the place told, and say that it stands there."""
        if "mid travel" in now["note"] and now["headline"] != self.set_at:
            self.set_at = now["headline"]
            self.press("set-dial")
            self.settle()
        words = re.sub(r"^Dial (once more |back )?", "", now["headline"])
        places = self.page.locator("[data-words]").all()
        told = [place for place in places if words.endswith(place.get_attribute("data-words"))]
        told[0].click()
        self.settle()
        self.next(now)

    def put_right(self, now):
        """Do what the headline says: by the needle where it tells, else by the amount."""
        if not any(letter.isdigit() for letter in now["value"]):
            time.sleep(0.1)
            return
        self.free(now)
        told, slide = knob_told(now["headline"]), table_told(now["headline"])
        if told and told[2] is not None:
            knob, way, amount = told
            self.turn_knob(knob, now["knobs"][knob], way * amount)
            self.settle()
            self.next(now)
        elif now["target"] != "true" or self.told_stops(now):
            self.point(now)
        elif now["side"] == "there":
            self.wait_for_change(now, 2.0)
        elif slide:
            # right and back come nearer a bore's stylus as the needle falls
            sign = 1 if self.surface == "boss" else -1
            self.wheel(slide[0], sign * off_mm(now) * -1)
            self.settle()
        else:
            self.bring(now, *told[:2])

    def told_stops(self, now):
        """Whether the stylus has first to be turned where the words say; no collar tells."""
        told = STYLUS.search(now["detail"])
        if told is None or self.pointed == (now["headline"], told.group(1)):
            return False
        self.pointed = (now["headline"], told.group(1))
        return True

    def bring(self, now, knob, way):
        """Turn a knob until the needle is there; its gain is learned from the first touches."""
        steps = now["knobs"][knob]
        gain = self.gains.get(knob)
        left = -off_mm(now)
        by = way * steps[1] if gain is None else left / gain
        before = float(now["value"].replace("−", "-"))
        self.turn_knob(knob, steps, by)
        self.settle()
        after = self.look()
        if after["target"] == "true" and after["value"] not in (now["value"], "– – –"):
            gone = float(after["value"].replace("−", "-")) - before
            if abs(gone) > 0.004 or gain is None:
                self.gains[knob] = gone / by

    def turn_knob(self, knob, steps, by):
        """Turn a knob by its buttons, to the nearest of its smallest steps."""
        left, sign = round(abs(by) / steps[-1]), 1 if by > 0 else -1
        for step in steps:
            count, left = divmod(left, round(step / steps[-1]))
            for _ in range(min(count, 40)):
                self.press(f"knob-{knob}-{sign * step:g}")

    def tick_lines(self, now):
        left = self.page.locator('.line[aria-pressed="false"]').all()
        for key in [line.get_attribute("data-line") for line in left]:
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
        side = side_told(now)
        if side is None:
            time.sleep(0.1)
            return
        self.press(f"point-{side}")
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
            if "other side" in now["note"]:
                axis, way = self.finishing(now)
                self.wheel(axis, -way * 0.16)
                self.settle()
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

    def finishing(self, now):
        """The slide and the way in which the words say the move must finish; (None, 0) without."""
        finish = re.search(r"Finish moving ([a-z ]+),", now["detail"])
        return WAYS[finish.group(1)] if finish else (None, 0)

    def finish_from_one_side(self, now, axis, travel_mm):
        """Back off once a move, far enough to take up the play; then creep, never back."""
        way = self.finishing(now)[1] or (1 if travel_mm > 0 else -1)
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
