// Arcs left out by touch: on the trace made large, an arc is touched, or drawn along, or found
// by arrow keys; what is left out is hatched. The service finds the numbers anew.

const ARC_STEP_DEG = 10;
const FINGER_PX = 94; // 15 mm on a tablet
const LEAST_TOUCH_DEG = 30;
const DRAWN_BEYOND_DEG = 8; // less than this is a touch, not a line drawn along
const NEAR_FALL_DEG = 8;
const UNTOUCHED_MS = 45000;
const HATCH_PX = 11;

const turnOf = (deg) => ((deg % 360) + 360) % 360;
const snap = (deg, step = ARC_STEP_DEG) => Math.round(deg / step) * step;

class PolarArcs {
  constructor(polar, root, send) {
    this.polar = polar;
    this.canvas = polar.canvas;
    this.root = root;
    this.send = send; // leaves an arc out or takes it back; resolves when it is answered
    this.bar = root.querySelector(".arcs");
    this.words = root.querySelector(".arc-words");
    this.view = null;
    this.cursor = null;
    this.drawn = null;
    polar.arcs = this;
    const on = (name, does) => this.canvas.addEventListener(name, (event) => does.call(this, event));
    on("mousedown", (event) => event.preventDefault()); // no focus: a pedal's Enter is no touch
    on("pointerdown", this.down);
    on("pointermove", this.move);
    on("pointerup", this.up);
    on("pointercancel", () => this.forget());
    on("keydown", this.key);
    on("blur", () => this.aim(null));
    root.querySelector(".arcs-leave").addEventListener("click", () => this.show(false));
  }

  setState(view, shown) {
    const step = this.view ? this.view.step : "";
    this.view = view;
    const traced = view.trace.anticlockwise.length + view.trace.clockwise.length > 0;
    this.offered = view.arcs_offered && traced;
    if (!this.offered || (step && view.step === "done")) this.show(false);
    setText(this.words, (shown && shown.arcs) || "Touch a worn or slotted arc, or draw along it.");
    this.name();
  }

  get open() {
    return this.root.classList.contains("with-arcs");
  }

  show(open) {
    clearTimeout(this.untouched);
    if (open) this.untouched = setTimeout(() => this.show(false), UNTOUCHED_MS);
    if (open === this.open) return;
    this.root.classList.toggle("with-arcs", open);
    this.bar.hidden = !open;
    this.forget();
    this.name();
    window.dispatchEvent(new Event("resize")); // columns are other ones
  }

  // What the drawing is to who hears the page, and whether keys reach it.
  name() {
    const canvas = this.canvas;
    const keyed = this.offered ? "0" : null;
    if (keyed === null) canvas.removeAttribute("tabindex");
    else canvas.setAttribute("tabindex", keyed);
    canvas.dataset.keys = this.offered ? "own" : "";
    const slider = this.offered && this.open;
    canvas.setAttribute("role", slider ? "slider" : this.offered ? "button" : "img");
    const told = slider ? "arc to leave out: arrows turn and widen it, Enter leaves it out"
      : this.offered ? "the turn seen from above: leave arcs out" : "the turn seen from above";
    canvas.setAttribute("aria-label", told);
    const at = this.cursor || { deg: 0, wide: LEAST_TOUCH_DEG };
    const values = { valuemin: 0, valuemax: 350, valuenow: at.deg, valuetext: this.degrees(this.around(at.deg, at.wide)) };
    for (const [name, value] of Object.entries(values)) {
      if (slider) canvas.setAttribute(`aria-${name}`, String(value));
      else canvas.removeAttribute(`aria-${name}`);
    }
    this.polar.due = true;
  }

  // where a finger is, in degrees from the right, anticlockwise; null in the middle
  angle(event) {
    const at = this.polar.at;
    if (!at) return null;
    const box = this.canvas.getBoundingClientRect();
    const x = event.clientX - box.left - at.cx;
    const y = at.cy - (event.clientY - box.top);
    return Math.hypot(x, y) < 0.2 * at.ring ? null : turnOf((Math.atan2(y, x) * 180) / Math.PI);
  }

  down(event) {
    if (!this.offered || event.button > 0) return;
    if (!this.open) {
      this.show(true);
      return;
    }
    this.show(true); // touched: stay open
    const deg = this.angle(event);
    if (deg === null || this.busy) return;
    this.canvas.setPointerCapture(event.pointerId);
    this.drawn = { from: deg, by: 0, least: 0, most: 0, last: deg };
    this.polar.due = true;
  }

  move(event) {
    const drawn = this.drawn;
    const deg = drawn ? this.angle(event) : null;
    if (deg === null) return;
    drawn.by += turnOf(deg - drawn.last + 180) - 180;
    drawn.last = deg;
    drawn.least = Math.min(drawn.least, drawn.by);
    drawn.most = Math.max(drawn.most, drawn.by);
    this.polar.due = true;
  }

  up() {
    const wanted = this.drawn ? this.wanted() : null;
    this.forget();
    if (wanted) this.leave(wanted);
  }

  forget() {
    this.drawn = null;
    this.polar.due = true;
  }

  leave({ arc, out }) {
    if (this.busy) return;
    this.wait(true); // until answered: a trembling finger must not take it back
    this.send(arc[0], arc[1], out).finally(() => this.wait(false));
  }

  wait(busy) {
    this.busy = busy;
    this.canvas.setAttribute("aria-busy", String(busy));
  }

  // what the finger says so far: which arc, and whether it is left out or taken back
  wanted() {
    const { from, least, most } = this.drawn;
    const out = !this.inArc(from, this.view.left_out, 0);
    if (most - least < DRAWN_BEYOND_DEG) return this.touched(from);
    const start = snap(from + least);
    const end = Math.max(snap(from + most), start + ARC_STEP_DEG);
    return { arc: [turnOf(start), turnOf(end)], out };
  }

  touched(deg, wide = this.touchWide()) {
    const back = this.inArc(deg, this.view.left_out, 0);
    if (back) return { arc: back, out: false };
    const fall = this.inArc(deg, this.view.trace.falls, NEAR_FALL_DEG);
    if (fall) return { arc: fall, out: true };
    return { arc: this.around(deg, wide), out: true };
  }

  inArc(deg, arcs, near) {
    return arcs.find(([a, b]) => turnOf(deg - a + near) <= turnOf(b - a) + 2 * near);
  }

  around(deg, wide) {
    const middle = snap(deg);
    return [turnOf(middle - wide / 2), turnOf(middle + wide / 2)];
  }

  // an arc as wide as a gloved finger
  touchWide() {
    const ring = this.polar.at ? this.polar.at.ring : 1000;
    const finger = Math.ceil(((FINGER_PX / ring) * 180) / Math.PI / ARC_STEP_DEG) * ARC_STEP_DEG;
    return Math.min(90, Math.max(LEAST_TOUCH_DEG, finger));
  }

  key(event) {
    if (!this.offered || event.ctrlKey || event.metaKey || event.altKey) return;
    const press = event.key === "Enter" || event.key === " ";
    if (!this.open) {
      if (press && !event.repeat) this.aim({ deg: 0, wide: LEAST_TOUCH_DEG }, true);
      if (press) event.preventDefault();
      return;
    }
    const { deg, wide } = this.cursor || { deg: 0, wide: LEAST_TOUCH_DEG };
    const turned = { ArrowLeft: ARC_STEP_DEG, ArrowRight: -ARC_STEP_DEG }[event.key] || 0;
    const widened = { ArrowUp: ARC_STEP_DEG, ArrowDown: -ARC_STEP_DEG }[event.key] || 0;
    if (event.key === "Escape") this.show(false);
    else if (press && !event.repeat) this.leave(this.touched(deg, wide));
    else if (!turned && !widened) return;
    event.preventDefault();
    if (!this.open) return;
    const wider = Math.min(180, Math.max(ARC_STEP_DEG, wide + widened));
    this.aim({ deg: turnOf(deg + turned), wide: wider }, true);
  }

  aim(cursor, show = false) {
    this.cursor = cursor;
    if (show) this.show(true);
    this.name();
  }

  // drawing

  draw(at) {
    if (!this.view) return;
    if (this.offered) this.view.trace.falls.forEach((arc) => this.drawFall(at, arc));
    this.view.left_out.forEach((arc) => this.drawLeftOut(at, arc));
    const told = this.drawn ? this.wanted() : this.open && this.cursor
      ? this.touched(this.cursor.deg, this.cursor.wide) : null;
    if (told) this.drawWanted(at, told);
    if (this.offered && !this.open) {
      write(at.pen, "touch: leave", at.cx * 2 - 8, at.text * 0.8, at.text * 0.9, at.colours.ink, "right");
      write(at.pen, "an arc out", at.cx * 2 - 8, at.text * 1.9, at.text * 0.9, at.colours.ink, "right");
    }
  }

  sector(at, [start, end], inner, outer) {
    const from = (-start * Math.PI) / 180;
    const to = from - ((turnOf(end - start) || 360) * Math.PI) / 180;
    at.pen.beginPath();
    at.pen.arc(at.cx, at.cy, outer * at.ring, from, to, true);
    at.pen.arc(at.cx, at.cy, inner * at.ring, to, from, false);
    at.pen.closePath();
  }

  drawLeftOut(at, arc) {
    const { pen, colours, cx, cy, ring } = at;
    pen.save();
    this.sector(at, arc, 0.24, 1);
    pen.globalAlpha = 0.62;
    pen.fillStyle = colours.paper;
    pen.fill();
    pen.globalAlpha = 1;
    pen.clip();
    pen.beginPath();
    for (let x = -2 * ring; x < 2 * ring; x += HATCH_PX) {
      pen.moveTo(cx + x, cy + ring);
      pen.lineTo(cx + x + 2 * ring, cy - ring);
    }
    pen.lineWidth = 2;
    pen.strokeStyle = colours.ink;
    pen.stroke();
    pen.restore();
    this.sector(at, arc, 0.24, 1);
    pen.lineWidth = 3;
    pen.strokeStyle = colours.ink;
    pen.stroke();
  }

  drawFall(at, arc) {
    if (this.inArc(arc[0], this.view.left_out, 1)) return;
    const { pen, colours } = at;
    this.sector(at, arc, 0.9, 1);
    pen.setLineDash([3, 4]);
    pen.lineWidth = 3;
    pen.strokeStyle = colours.ink;
    pen.stroke();
    pen.setLineDash([]);
    if (!this.open) return;
    const middle = ((arc[0] + turnOf(arc[1] - arc[0]) / 2) * Math.PI) / 180;
    const [x, y] = fromAbove(at.cx, at.cy, 0.8 * at.ring, middle);
    this.tell(at, "falls away", x, y);
  }

  drawWanted(at, { arc, out }) {
    const { pen, colours } = at;
    this.sector(at, arc, 0.2, 1.04);
    pen.lineWidth = 6;
    pen.strokeStyle = out ? colours.accent : colours.there;
    pen.stroke();
    const word = `${out ? "leave out" : "take back"} ${this.degrees(arc)}`;
    this.tell(at, word, at.cx, at.cy + 0.14 * at.ring);
  }

  // words over the lines of a drawing
  tell({ pen, colours, text }, words, x, y) {
    pen.font = `700 ${text}px ${FONT}`;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    pen.lineWidth = 0.5 * text;
    pen.lineJoin = "round";
    pen.strokeStyle = colours.paper;
    pen.strokeText(words, x, y);
    write(pen, words, x, y, text, colours.ink, "center", 700);
  }

  degrees([start, end]) {
    return `${start}° to ${end}°`;
  }
}
