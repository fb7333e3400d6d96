// The virtual machine of the demo, from above: table, bore, stylus, two handwheels to drag.

const SHOWN_TIMES = 12; // table travel is drawn so many times too large, or nobody would see it
const DRAG_EVERY_MS = 90;

class Machine {
  constructor(canvas, root, doIt) {
    this.canvas = canvas;
    this.root = root;
    this.doIt = doIt;
    this.drag = null;
    canvas.addEventListener("pointerdown", (event) => this.grab(event));
    canvas.addEventListener("pointermove", (event) => this.pull(event));
    canvas.addEventListener("pointerup", () => this.letGo());
    canvas.addEventListener("pointercancel", () => this.letGo());
  }

  update(bench) {
    this.bench = bench;
    this.due = true;
  }

  // The wheels stand at the machine's front (Y) and right (X).
  wheels(width, height) {
    const radius = Math.min(width * 0.15, height * 0.2);
    return {
      x: { cx: width - radius - 6, cy: height * 0.36, radius },
      y: { cx: width * 0.36, cy: height - radius - 6, radius },
    };
  }

  draw() {
    if (!this.bench || !this.due) return;
    this.due = false;
    const colours = pageColours(this.root);
    const { pen, width, height } = fitCanvas(this.canvas);
    if (Math.min(width, height) < 60) return;
    const wheels = this.wheels(width, height);
    const room = { w: wheels.x.cx - wheels.x.radius - 8, h: wheels.y.cy - wheels.y.radius - 8 };
    const at = { pen, colours, cx: room.w / 2 + 4, cy: room.h / 2 + 4, size: Math.min(room.w, room.h) };
    this.drawTable(at, room);
    this.drawStylus(at);
    this.drawWheel(at, wheels.x, "X", this.bench.wheel_x_mm / this.bench.mm_per_turn_x,
      this.bench.locked_x);
    this.drawWheel(at, wheels.y, "Y", this.bench.wheel_y_mm / this.bench.mm_per_turn_y,
      this.bench.locked_y);
  }

  drawTable(at, room) {
    const { pen, colours, cx, cy, size } = at;
    const perMm = (0.36 * size) / (this.bench.seat_diameter_mm / 2);
    const dx = this.bench.wheel_x_mm * perMm * SHOWN_TIMES * 0.3;
    const dy = -this.bench.wheel_y_mm * perMm * SHOWN_TIMES * 0.3;
    pen.save();
    pen.beginPath();
    pen.rect(2, 2, room.w + 4, room.h + 4);
    pen.clip();
    pen.fillStyle = colours.panel;
    pen.fillRect(2, 2, room.w + 4, room.h + 4);
    pen.strokeStyle = colours.faint;
    pen.lineWidth = 3;
    for (let y = -2; y <= 2; y += 1) {
      pen.beginPath();
      pen.moveTo(0, cy + dy + y * size * 0.27);
      pen.lineTo(room.w + 8, cy + dy + y * size * 0.27);
      pen.stroke();
    }
    pen.fillStyle = colours.faint;
    pen.strokeStyle = colours.ink;
    pen.lineWidth = 1.5;
    pen.beginPath();
    pen.roundRect(cx + dx - size * 0.46, cy + dy - size * 0.44, size * 0.92, size * 0.88, 10);
    pen.fill();
    pen.stroke();
    circle(pen, cx + dx, cy + dy, size * 0.36);
    pen.fillStyle = colours.paper;
    pen.fill();
    pen.stroke();
    pen.restore();
  }

  drawStylus(at) {
    const { pen, colours, cx, cy, size } = at;
    circle(pen, cx, cy, size * 0.07);
    pen.lineWidth = 2.5;
    pen.strokeStyle = colours.ink;
    pen.stroke();
    if (!this.bench.indicator_fitted) return;
    const [x, y] = fromAbove(cx, cy, size * 0.33, this.bench.spindle_rad);
    pen.beginPath();
    pen.moveTo(cx, cy);
    pen.lineTo(x, y);
    pen.lineWidth = 5;
    pen.lineCap = "round";
    pen.strokeStyle = colours.accent;
    pen.stroke();
    circle(pen, x, y, size * 0.035);
    pen.fillStyle = colours.accent;
    pen.fill();
  }

  drawWheel(at, wheel, name, turns, locked) {
    const { pen, colours } = at;
    const { cx, cy, radius } = wheel;
    circle(pen, cx, cy, radius);
    pen.fillStyle = colours.panel;
    pen.fill();
    pen.lineWidth = 5;
    pen.strokeStyle = locked ? colours.faint : colours.ink;
    pen.stroke();
    const angle = turns * 2 * Math.PI;
    const x = cx + radius * 0.68 * Math.sin(angle);
    const y = cy - radius * 0.68 * Math.cos(angle);
    circle(pen, x, y, radius * 0.2);
    pen.fillStyle = locked ? colours.faint : colours.accent;
    pen.fill();
    const label = locked ? `${name} locked` : name;
    write(pen, label, cx, cy, locked ? radius * 0.32 : radius * 0.5, colours.ink, "center", 700);
  }

  // dragging a wheel round its centre turns it

  place(event) {
    const box = this.canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top, box.width, box.height];
  }

  grab(event) {
    const [x, y, width, height] = this.place(event);
    for (const [axis, wheel] of Object.entries(this.wheels(width, height))) {
      if (Math.hypot(x - wheel.cx, y - wheel.cy) > wheel.radius * 1.15) continue;
      this.canvas.setPointerCapture(event.pointerId);
      this.drag = { axis, wheel, angle: this.angle(wheel, x, y), turns: 0, at: 0 };
    }
  }

  angle(wheel, x, y) {
    return Math.atan2(x - wheel.cx, wheel.cy - y); // clockwise from straight up
  }

  pull(event) {
    if (!this.drag) return;
    const [x, y] = this.place(event);
    const angle = this.angle(this.drag.wheel, x, y);
    let by = angle - this.drag.angle;
    by -= 2 * Math.PI * Math.round(by / (2 * Math.PI));
    this.drag.angle = angle;
    this.drag.turns += by / (2 * Math.PI);
    if (performance.now() - this.drag.at > DRAG_EVERY_MS) this.send();
  }

  send() {
    const { axis, turns } = this.drag;
    const perTurn = axis === "x" ? this.bench.mm_per_turn_x : this.bench.mm_per_turn_y;
    this.drag.at = performance.now();
    this.drag.turns = 0;
    if (turns) this.doIt("turn_handwheel", { axis, mm: turns * perTurn });
  }

  letGo() {
    if (this.drag) this.send();
    this.drag = null;
  }
}
