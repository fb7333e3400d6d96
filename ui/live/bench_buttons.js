// The buttons of the virtual machine: what hands would do.

const WHEEL_STEPS = [25, 5, 1, 0.1]; // divisions of the handwheel
const WAYS = { x: ["left", "right"], y: ["front", "back"] };

class BenchButtons {
  constructor(panel, doIt) {
    this.panel = panel;
    this.doIt = doIt;
    this.bench = null;
    this.build();
  }

  build() {
    for (const axis of ["x", "y"]) this.buildWheel(axis);
    const spindle = this.panel.querySelector(".spindle .keys");
    this.button(spindle, "⟲ one turn", "anticlockwise", "turn-anticlockwise",
      () => this.doIt("turn_spindle", { by_rad: 2 * Math.PI * 1.06 }));
    this.button(spindle, "⟳ one turn", "clockwise", "turn-clockwise",
      () => this.doIt("turn_spindle", { by_rad: -2 * Math.PI * 1.06 }));
    for (const [side, sign] of [["left", "←"], ["back", "↑"], ["front", "↓"], ["right", "→"]]) {
      this.button(spindle, `${sign} stylus ${side}`, "", `point-${side}`,
        () => this.doIt("point_stylus", { direction: side }));
    }
    const rest = this.panel.querySelector(".rest .keys");
    for (const axis of ["x", "y"]) {
      const name = axis.toUpperCase();
      const lock = this.button(rest, `Lock ${name}`, "", `lock-${axis}`,
        () => this.doIt("lock", { axis, on: !this.bench[`locked_${axis}`] }));
      lock.dataset.lock = axis;
    }
    this.button(rest, "Stylus out", "0.05 mm", "reach-out", () => this.doIt("set_reach", { by_mm: 0.05 }));
    this.button(rest, "Stylus in", "0.05 mm", "reach-in", () => this.doIt("set_reach", { by_mm: -0.05 }));
    this.cover = this.button(rest, "Cover dial", "", "cover",
      () => this.doIt("cover", { on: !this.bench.covered }));
    this.fit = this.button(rest, "Indicator off", "", "indicator",
      () => this.doIt("fit_indicator", { on: !this.bench.indicator_fitted }));
  }

  buildWheel(axis) {
    const row = this.panel.querySelector(`.wheel-${axis} .steps`);
    const [minus, plus] = WAYS[axis];
    const steps = [...WHEEL_STEPS.map((n) => -n), ...[...WHEEL_STEPS].reverse()];
    for (const step of steps) {
      const sign = { left: "◀", right: "▶", front: "▼", back: "▲" }[step < 0 ? minus : plus];
      const size = String(Math.abs(step));
      const text = step < 0 ? `${sign} ${size}` : `${size} ${sign}`;
      this.button(row, text, "", `wheel-${axis}-${step}`, () => this.turn(axis, step));
    }
  }

  turn(axis, divisions) {
    const perTurn = this.bench[`mm_per_turn_${axis}`];
    this.doIt("turn_handwheel", { axis, mm: (divisions * perTurn) / this.bench.wheel_divisions });
  }

  button(parent, text, small, name, act) {
    const button = document.createElement("button");
    button.type = "button";
    button.dataset.do = name;
    const big = document.createElement("span");
    big.textContent = text;
    button.append(big);
    if (small) {
      const note = document.createElement("small");
      note.textContent = small;
      button.append(note);
    }
    button.addEventListener("click", () => this.bench && act());
    parent.append(button);
    return button;
  }

  update(bench) {
    this.bench = bench;
    for (const axis of ["x", "y"]) {
      const locked = bench[`locked_${axis}`];
      const lock = this.panel.querySelector(`[data-lock="${axis}"]`);
      setText(lock.firstChild, `${locked ? "Unlock" : "Lock"} ${axis.toUpperCase()}`);
      const perDivision = bench[`mm_per_turn_${axis}`] / bench.wheel_divisions;
      const label = this.panel.querySelector(`.wheel-${axis} .label`);
      const ring = bench[`wheel_${axis}_divisions`].toFixed(1);
      setText(label, `${axis.toUpperCase()} handwheel, ${perDivision} mm a division. Ring: ${ring}`);
    }
    setText(this.cover.firstChild, bench.covered ? "Uncover dial" : "Cover dial");
    setText(this.fit.firstChild, bench.indicator_fitted ? "Indicator off" : "Indicator on");
  }
}

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}
