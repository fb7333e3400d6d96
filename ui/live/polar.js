// The turn seen from above: trace of both turns, offset and tolerance to scale, progress.

const TOO_MANY_POINTS = 1500;
const WIDEST_GAP_DEG = 25; // places farther apart are not joined

class Polar {
  constructor(canvas, root) {
    this.canvas = canvas;
    this.root = root;
    this.trail = [];
    this.key = "";
    this.sense = 1;
    this.place = null;
    this.turning = false;
  }

  setState(view, shown) {
    this.view = view;
    this.shown = shown;
    const key = `${view.setup_id}/${view.step}/${view.history.length}/${view.advice && view.advice.headline}`;
    if (key !== this.key) this.trail = [];
    this.key = key;
    this.due = true;
  }

  setLive(live) {
    this.noteSense(live);
    this.live = live;
    const turning = live.turned_deg !== null && live.theta_deg !== null && live.value_mm !== null;
    if (turning && live.moving && this.trail.length < TOO_MANY_POINTS) {
      this.trail.push([live.theta_deg, live.value_mm]);
    }
    const place = live.theta_deg === null ? null : Math.round(live.theta_deg * 2);
    if (place !== this.place || turning !== this.turning) this.due = true;
    this.place = place;
    this.turning = turning;
  }

  // Which way the stylus was last seen to turn, anticlockwise positive.
  noteSense(live) {
    const before = this.live ? this.live.theta_deg : null;
    if (before === null || live.theta_deg === null) return;
    const by = ((((live.theta_deg - before + 180) % 360) + 360) % 360) - 180;
    if (Math.abs(by) > 0.2) this.sense = Math.sign(by);
  }

  draw() {
    if (!this.view || !this.due) return;
    this.due = false;
    const colours = pageColours(this.root);
    const { pen, width, height } = fitCanvas(this.canvas);
    const text = Math.max(13, Math.min(width, height) * 0.052);
    const ring = Math.min(width / 2 - text * 3.9, (height - text * 1.4) / 2 - text * 1.5);
    if (ring < 30) return;
    const at = { pen, colours, text, cx: width / 2, cy: (height - text * 1.4) / 2, ring };
    const traces = [this.view.trace.anticlockwise, this.view.trace.clockwise];
    const scale = this.scale(traces, ring);
    this.drawRing(at);
    this.at = at;
    this.drawTraces(at, traces, scale);
    if (this.arcs) this.arcs.draw(at);
    this.drawOffset(at, scale);
    this.drawStylus(at);
    this.drawScale(at, scale, height);
  }

  scale(traces, ring) {
    const found = this.view.found;
    const all = [...traces[0], ...traces[1], ...this.trail].map((point) => point[1]);
    const mean = found ? found.mean_mm : all.length ? all.reduce((a, b) => a + b, 0) / all.length : 0;
    const off = found ? Math.hypot(found.offset_x_mm, found.offset_y_mm) : 0;
    const most = all.reduce((most, v) => Math.max(most, Math.abs(v - mean)), 0);
    const least = 3 * (this.view.tolerance_mm || 0.005);
    return { mean, perMm: (0.34 * ring) / Math.max(most, off, least), base: 0.6 * ring };
  }

  drawRing(at) {
    const { pen, colours, cx, cy, ring, text } = at;
    circle(pen, cx, cy, ring);
    pen.lineWidth = 1.5;
    pen.strokeStyle = colours.faint;
    pen.stroke();
    for (const [name, angle] of Object.entries(SIDES)) {
      const [x, y] = fromAbove(cx, cy, ring + text * 0.85, angle);
      if (name === "right") write(pen, name, x, y, text, colours.ink, "left");
      else if (name === "left") write(pen, name, x, y, text, colours.ink, "right");
      else write(pen, name, x, y, text, colours.ink);
    }
    const turned = this.live ? this.live.turned_deg : null;
    if (turned === null || !turned) return;
    const end = ((this.live.theta_deg || 0) * Math.PI) / 180;
    const start = end - (this.sense * Math.min(Math.abs(turned), 360) * Math.PI) / 180;
    pen.beginPath();
    pen.arc(cx, cy, ring, -start, -end, this.sense > 0);
    pen.lineWidth = 9;
    pen.strokeStyle = colours.accent;
    pen.stroke();
  }

  drawTraces(at, traces, scale) {
    const { pen, colours, cx, cy } = at;
    circle(pen, cx, cy, scale.base);
    pen.setLineDash([4, 5]);
    pen.lineWidth = 1.2;
    pen.strokeStyle = colours.faint;
    pen.stroke();
    pen.setLineDash([]);
    this.drawTrace(at, traces[0], scale, colours.low, []);
    this.drawTrace(at, traces[1], scale, colours.high, [7, 5]);
    if (this.live && this.live.turned_deg !== null) this.drawTrace(at, this.trail, scale, colours.ink, []);
  }

  drawTrace(at, points, scale, colour, dash) {
    if (points.length < 2) return;
    const { pen, cx, cy } = at;
    const sign = this.shown.outline_sign;
    pen.beginPath();
    points.forEach(([deg, value], i) => {
      const radius = scale.base + sign * (value - scale.mean) * scale.perMm;
      const [x, y] = fromAbove(cx, cy, radius, (deg * Math.PI) / 180);
      const next = i && Math.abs(deg - points[i - 1][0]) < WIDEST_GAP_DEG;
      if (next) pen.lineTo(x, y);
      else pen.moveTo(x, y);
    });
    pen.setLineDash(dash);
    pen.lineWidth = 3;
    pen.strokeStyle = colour;
    pen.stroke();
    pen.setLineDash([]);
  }

  drawOffset(at, scale) {
    const { pen, colours, cx, cy } = at;
    const tolerance = (this.view.tolerance_mm || 0) * scale.perMm;
    circle(pen, cx, cy, Math.max(tolerance, 2));
    pen.lineWidth = 2.5;
    pen.strokeStyle = colours.there;
    pen.stroke();
    pen.beginPath();
    pen.moveTo(cx - 9, cy);
    pen.lineTo(cx + 9, cy);
    pen.moveTo(cx, cy - 9);
    pen.lineTo(cx, cy + 9);
    pen.lineWidth = 1.5;
    pen.strokeStyle = colours.ink;
    pen.stroke();
    const found = this.view.found;
    if (found) this.drawArrow(at, found.offset_x_mm * scale.perMm, -found.offset_y_mm * scale.perMm);
  }

  drawArrow(at, dx, dy) {
    const { pen, colours, cx, cy } = at;
    const length = Math.hypot(dx, dy);
    circle(pen, cx + dx, cy + dy, 6);
    pen.fillStyle = colours.ink;
    pen.fill();
    if (length < 8) return;
    pen.beginPath();
    pen.moveTo(cx, cy);
    pen.lineTo(cx + dx, cy + dy);
    pen.lineWidth = 4;
    pen.strokeStyle = colours.ink;
    pen.stroke();
  }

  drawStylus(at) {
    const { pen, colours, cx, cy, ring } = at;
    const wanted = this.view.advice ? this.view.advice.stylus : null;
    if (wanted) this.drawWedge(at, SIDES[wanted], colours.accent, 1.0, true);
    if (!this.live || this.live.theta_deg === null) return;
    const theta = (this.live.theta_deg * Math.PI) / 180;
    const [x, y] = fromAbove(cx, cy, ring, theta);
    circle(pen, x, y, 9);
    pen.fillStyle = colours.paper;
    pen.fill();
    pen.lineWidth = 4;
    pen.strokeStyle = colours.ink;
    pen.stroke();
  }

  drawWedge(at, angle, colour) {
    const { pen, cx, cy, ring } = at;
    pen.beginPath();
    pen.moveTo(...fromAbove(cx, cy, ring * 0.97, angle));
    pen.lineTo(...fromAbove(cx, cy, ring * 0.82, angle - 0.13));
    pen.lineTo(...fromAbove(cx, cy, ring * 0.82, angle + 0.13));
    pen.closePath();
    pen.fillStyle = colour;
    pen.fill();
  }

  // Which line is which turn: by dash and arrow, not by colour alone.
  drawLegend(at, height) {
    const { pen, colours, text } = at;
    const right = at.cx * 2 - 6;
    const rows = [["⟲", colours.low, []], ["⟳", colours.high, [7, 5]]];
    rows.forEach(([sign, colour, dash], i) => {
      const y = height - text * (2.2 - 1.4 * i);
      pen.beginPath();
      pen.moveTo(right - text * 3.4, y);
      pen.lineTo(right - text * 1.3, y);
      pen.setLineDash(dash);
      pen.lineWidth = 3;
      pen.strokeStyle = colour;
      pen.stroke();
      pen.setLineDash([]);
      write(pen, sign, right, y, text * 1.3, colours.ink, "right");
    });
  }

  drawScale(at, scale, height) {
    const { pen, colours, text } = at;
    const wanted = (0.5 * at.ring) / scale.perMm;
    const power = 10 ** Math.floor(Math.log10(wanted));
    const step = [5, 2, 1].map((n) => n * power).find((mm) => mm <= wanted) || power;
    const long = step * scale.perMm;
    const y = height - text * 0.8;
    pen.beginPath();
    pen.moveTo(10, y - 5);
    pen.lineTo(10, y);
    pen.lineTo(10 + long, y);
    pen.lineTo(10 + long, y - 5);
    pen.lineWidth = 2;
    pen.strokeStyle = colours.ink;
    pen.stroke();
    write(pen, `${Number(step.toPrecision(1))} mm`, 18 + long, y, text, colours.ink, "left");
    if (this.view.trace.anticlockwise.length || this.view.trace.clockwise.length) {
      this.drawLegend(at, height);
    }
    write(pen, "seen from", 8, text * 0.8, text * 0.9, colours.ink, "left");
    write(pen, "above", 8, text * 1.9, text * 0.9, colours.ink, "left");
  }
}
