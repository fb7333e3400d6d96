// The buttons of the virtual machine: what hands would do with the work that is mounted.

const WHEEL_STEPS = [25, 5, 1, 0.1]; // divisions of the handwheel
const WHEEL_WAYS = { x: ["◀", "▶"], y: ["▼", "▲"] };
const FULL_TURN_RAD = 2 * Math.PI * 1.06; // a little more than a turn, as hands do

class BenchButtons {
  constructor(panel, doIt) {
    this.panel = panel;
    this.doIt = doIt;
    this.bench = null;
    this.places = [];
    this.wanted = null; // the guide in hand
    this.headline = "";
    this.built = "";
    this.mischief = false; // whether the buttons for what goes wrong are on show
    this.rows = panel.querySelector(".wheels");
    this.hands = panel.querySelector(".spindle .keys");
    this.rest = panel.querySelector(".rest .keys");
    this.take = panel.parentElement.querySelector(".nose-take"); // the panel gives way to a list
    this.take.addEventListener("click", () => this.fitIndicator());
    const mount = panel.querySelector(".mount");
    mount.addEventListener("click", () => this.doIt("mount", { work: this.wanted }));
  }

  update(bench) {
    this.bench = bench;
    this.refresh();
  }

  // What the setup in hand wants of the machine: its work, and the places where the dial goes.
  setState(view, shown) {
    this.wanted = view.finished ? null : view.guide;
    this.places = shown ? shown.places : [];
    this.headline = view.advice ? view.advice.headline : "";
    this.refresh();
  }

  refresh() {
    const bench = this.bench;
    if (!bench) return;
    const strange = Boolean(this.wanted) && bench.work !== this.wanted;
    this.panel.classList.toggle("unmounted", strange);
    const key = JSON.stringify([bench.work, bench.title, this.places, this.mischief]);
    if (key !== this.built) this.build(key);
    this.label();
  }

  build(key) {
    this.built = key;
    const bench = this.bench;
    for (const group of [this.rows, this.hands, this.rest]) group.replaceChildren();
    if (bench.slides) for (const axis of ["x", "y"]) this.buildWheel(axis);
    for (const { knob } of bench.knobs) this.buildKnob(knob);
    if (this.places.length) this.buildPlaces();
    else if (bench.turns || bench.goes === "round") this.buildSpindle();
    this.buildRest();
    const shown = [[".wheels", this.rows], [".spindle", this.hands]];
    for (const [name, group] of shown) this.panel.querySelector(name).hidden = !group.children.length;
    this.panel.querySelector(".machine").hidden = !bench.slides;
    const where = this.places.length ? "Where the dial stands" : "Spindle, seen from above";
    setText(this.panel.querySelector(".spindle .label"), where);
    setText(this.panel.querySelector(".rest .label"), "Virtual machine");
  }

  buildWheel(axis) {
    const row = this.row(`wheel-${axis}`);
    for (const step of bothWays(WHEEL_STEPS)) {
      this.button(row, stepWords(step, WHEEL_WAYS[axis]), `wheel-${axis}-${step}`, () => this.turn(axis, step));
    }
  }

  buildKnob(knob) {
    const row = this.row(`knob-${knob.key}`);
    for (const step of bothWays(knob.steps)) {
      this.button(row, stepWords(step, ["−", "+"]), `knob-${knob.key}-${step}`,
        () => this.doIt("turn_knob", { knob: knob.key, by: step }));
    }
  }

  row(name) {
    const row = document.createElement("div");
    row.className = name;
    const label = document.createElement("span");
    label.className = "label";
    const steps = document.createElement("div");
    steps.className = "steps";
    row.append(label, steps);
    this.rows.append(row);
    return steps;
  }

  buildPlaces() {
    const there = new Set();
    for (const [words, at] of this.places) {
      const key = JSON.stringify(at);
      if (there.has(key)) continue;
      there.add(key);
      const button = this.button(this.hands, words, `go-${words}`, () => this.doIt("go", { at }));
      button.dataset.words = words;
    }
  }

  buildSpindle() {
    if (this.bench.turns) {
      for (const [sign, way, by] of [["⟲", "anticlockwise", 1], ["⟳", "clockwise", -1]]) {
        this.button(this.hands, `${sign} one turn ${way}`, `turn-${way}`,
          () => this.doIt("turn_spindle", { by_rad: by * FULL_TURN_RAD }));
      }
    }
    if (this.bench.turn_on_deg) {
      const by = (this.bench.turn_on_deg * Math.PI) / 180;
      for (const [sign, way, turn] of [["⟲", "on", by], ["⟳", "back", -by]]) {
        this.button(this.hands, `${sign} ${way} by ${this.bench.turn_on_deg}°`, `turn-${way}`,
          () => this.doIt("turn_spindle", { by_rad: turn }));
      }
      return;
    }
    const still = this.bench.layout === "still";
    const sides = still ? ["right", "back", "left", "front"] : ["left", "back", "front", "right"];
    for (const side of sides) {
      const words = still ? this.bench.marks[sides.indexOf(side)] : `${SIDE_ARROWS[side]} stylus ${side}`;
      this.button(this.hands, words, `point-${side}`, () => this.doIt("point_stylus", { direction: side }));
    }
  }

  buildRest() {
    if (this.mischief) {
      this.buildMischief();
      return;
    }
    const bench = this.bench;
    for (const axis of bench.slides ? ["x", "y"] : []) {
      this.button(this.rest, "", `lock-${axis}`,
        () => this.doIt("lock", { axis, on: !this.bench[`locked_${axis}`] }));
    }
    if (bench.clamp) this.button(this.rest, "", "clamp", () => this.doIt("clamp", { on: !this.bench.clamped }));
    for (const { key, label } of bench.changes) {
      this.button(this.rest, label, `change-${key}`, () => this.doIt("change", { what: key }));
    }
    if (bench.dial) {
      this.button(this.rest, "Tip out 0.05 mm", "reach-out", () => this.doIt("set_reach", { by_mm: 0.05 }));
      this.button(this.rest, "Tip in 0.05 mm", "reach-in", () => this.doIt("set_reach", { by_mm: -0.05 }));
      this.button(this.rest, "Dial to mid-travel", "set-dial", () => this.doIt("set_dial", {}));
      this.button(this.rest, "", "indicator", () => this.fitIndicator());
    }
    this.button(this.rest, "Mishaps …", "go-wrong", () => this.showMischief(true));
    if (bench.work) {
      this.button(this.rest, "Start work afresh", "mount-anew", () => this.doIt("mount", { work: this.bench.work }));
    }
  }

  fitIndicator() {
    this.doIt("fit_indicator", { on: !this.bench.indicator_fitted });
  }

  // What goes wrong in a workshop: a hand in the way, grease on the lens, a knock.
  buildMischief() {
    this.button(this.rest, "", "cover", () => this.doIt("cover", { on: !this.bench.covered }));
    this.button(this.rest, "", "smear", () => this.doIt("smear", { on: !this.bench.smeared }));
    this.button(this.rest, "Knock camera", "knock", () => this.doIt("knock", {}));
    this.button(this.rest, "◀ Back", "go-right", () => this.showMischief(false));
  }

  showMischief(on) {
    this.mischief = on;
    this.refresh();
  }

  turn(axis, divisions) {
    const perTurn = this.bench[`mm_per_turn_${axis}`];
    this.doIt("turn_handwheel", { axis, mm: (divisions * perTurn) / this.bench.wheel_divisions });
  }

  button(parent, text, name, act) {
    const button = document.createElement("button");
    button.type = "button";
    button.dataset.do = name;
    button.textContent = text;
    button.addEventListener("click", () => this.bench && act());
    parent.append(button);
    return button;
  }

  // Words that change while the buttons stay.
  label() {
    const bench = this.bench;
    const tell = (name, words) => {
      const button = this.panel.querySelector(`[data-do="${name}"]`);
      if (button) setText(button, words);
    };
    for (const axis of bench.slides ? ["x", "y"] : []) {
      const locked = bench[`locked_${axis}`];
      tell(`lock-${axis}`, `${locked ? "Unlock" : "Lock"} ${axis.toUpperCase()}`);
      const perDivision = bench[`mm_per_turn_${axis}`] / bench.wheel_divisions;
      const ring = bench[`wheel_${axis}_divisions`].toFixed(1);
      const words = `${axis.toUpperCase()} handwheel, ${perDivision} mm a division. Ring: ${ring}`;
      setText(this.panel.querySelector(`.wheel-${axis} .label`), words);
    }
    for (const { knob, at: turned } of bench.knobs) {
      const sum = turned ? `, so far ${turned > 0 ? knob.more : knob.less} ${tidy(Math.abs(turned))}` : "";
      const words = `${knob.label} (${knob.unit}): − ${knob.less}, + ${knob.more}${sum}`;
      setText(this.panel.querySelector(`.knob-${knob.key} .label`), words);
    }
    if (bench.clamp) tell("clamp", bench.clamp);
    const what = bench.dial ? "dial" : "target";
    tell("cover", bench.covered ? "Hand away" : `Hand over ${what}`);
    tell("smear", bench.smeared ? "Wipe lens" : "Smear lens");
    const indicator = bench.indicator_fitted ? "Indicator off" : "Indicator on";
    tell("indicator", indicator);
    this.take.hidden = !bench.dial;
    setText(this.take, `Virtual machine: ${indicator.toLowerCase()}`);
    for (const button of this.hands.querySelectorAll("[data-words]")) {
      const told = this.headline.endsWith(button.dataset.words);
      button.setAttribute("aria-current", told ? "location" : "false");
    }
  }
}

const SIDE_ARROWS = { left: "←", back: "↑", front: "↓", right: "→" };

function bothWays(steps) {
  return [...steps.map((n) => -n), ...[...steps].reverse()];
}

function stepWords(step, [less, more]) {
  const size = String(Math.abs(step));
  return step < 0 ? `${less} ${size}` : `${size} ${more}`;
}

function tidy(number) {
  return String(Number(number.toPrecision(3)));
}

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}
