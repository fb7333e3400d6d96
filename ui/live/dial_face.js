// Our own dial face: where the needle stands, and the mark to bring it to.

const TARGET_REACH = 1.14; // of the radius

class DialFace {
  constructor(canvas, root) {
    this.canvas = canvas;
    this.root = root;
    this.drawn = "";
  }

  update(live, shown, view, fresh) {
    this.wanted = { live, shown, view, value: fresh && live ? live.divisions : null };
  }

  // Draws where something visible changed: the needle by a twentieth of a division.
  drawDue() {
    if (!this.wanted) return;
    const { live, shown, view, value } = this.wanted;
    const marks = view.marks_per_turn || 100;
    const key = [
      value === null ? "" : Math.round(value * 20), live && live.target_divisions,
      shown && shown.side, marks, view.step, this.root.className, this.root.style.cssText,
    ].join();
    if (key === this.drawn) return;
    this.drawn = key;
    this.draw(value, live, shown, view, marks);
  }

  draw(value, live, shown, view, marks) {
    const colours = pageColours(this.root);
    const { pen, width, height } = fitCanvas(this.canvas);
    const face = { pen, colours, marks, cx: width / 2, cy: height / 2 };
    face.radius = (Math.min(width, height) / 2 - 2) / TARGET_REACH; // the mark stands outside it
    if (face.radius < 20) return;
    circle(pen, face.cx, face.cy, face.radius);
    pen.fillStyle = colours.panel;
    pen.fill();
    pen.lineWidth = 2;
    pen.strokeStyle = colours.ink;
    pen.stroke();
    this.drawTravel(face, view);
    this.drawMarks(face);
    if (live && live.target_divisions !== null) this.drawTarget(face, live, shown, view);
    if (value === null) {
      write(pen, "not read", face.cx, face.cy + face.radius * 0.3, face.radius * 0.17, colours.ink);
    } else this.drawNeedle(face, value);
  }

  at(face, divisions, share) {
    const angle = (divisions / face.marks) * 2 * Math.PI;
    const radius = face.radius * share;
    return [face.cx + radius * Math.sin(angle), face.cy - radius * Math.cos(angle)];
  }

  drawTravel(face, view) {
    if (!view.travel_mm || !view.graduation_mm) return;
    const [low, high] = view.travel_mm.map((mm) => mm / view.graduation_mm);
    if (high - low > face.marks) return;
    const turn = (2 * Math.PI) / face.marks;
    face.pen.beginPath();
    face.pen.arc(face.cx, face.cy, face.radius * 0.5, low * turn - Math.PI / 2, high * turn - Math.PI / 2);
    face.pen.lineWidth = 4;
    face.pen.strokeStyle = face.colours.faint;
    face.pen.stroke();
  }

  drawMarks(face) {
    const half = Math.floor(face.marks / 2);
    const numbered = face.marks > 60 ? 10 : 5;
    for (let k = -half + 1; k <= half; k += 1) {
      const long = k % numbered === 0;
      const [x0, y0] = this.at(face, k, long ? 0.86 : k % 5 ? 0.93 : 0.9);
      const [x1, y1] = this.at(face, k, 0.985);
      face.pen.beginPath();
      face.pen.moveTo(x0, y0);
      face.pen.lineTo(x1, y1);
      face.pen.lineWidth = long ? 3 : 1.2;
      face.pen.strokeStyle = face.colours.ink;
      face.pen.stroke();
      if (!long) continue;
      const sign = k > 0 && k < half ? "+" : k < 0 ? "−" : "";
      const [x, y] = this.at(face, k, 0.68);
      write(face.pen, sign + Math.abs(k), x, y, face.radius * 0.125, face.colours.ink);
    }
  }

  drawTarget(face, live, shown, view) {
    const target = live.target_divisions;
    const { pen, colours } = face;
    const colour = shown && shown.side === "there" ? colours.there : colours.accent;
    const window = live.window_mm / (view.graduation_mm || 1);
    const half = Math.max(window, face.marks / 160);
    const turn = (2 * Math.PI) / face.marks;
    pen.beginPath();
    pen.moveTo(face.cx, face.cy);
    pen.arc(
      face.cx, face.cy, face.radius * 0.98,
      (target - half) * turn - Math.PI / 2, (target + half) * turn - Math.PI / 2,
    );
    pen.closePath();
    pen.globalAlpha = 0.35;
    pen.fillStyle = colour;
    pen.fill();
    pen.globalAlpha = 1;
    const [tx, ty] = this.at(face, target, 0.95);
    const wide = face.marks / 36;
    pen.beginPath();
    pen.moveTo(tx, ty);
    pen.lineTo(...this.at(face, target - wide, TARGET_REACH));
    pen.lineTo(...this.at(face, target + wide, TARGET_REACH));
    pen.closePath();
    pen.fillStyle = colour;
    pen.fill();
    pen.lineWidth = 2;
    pen.strokeStyle = colours.ink;
    pen.stroke();
  }

  drawNeedle(face, value) {
    const { pen, colours } = face;
    pen.beginPath();
    pen.moveTo(...this.at(face, value + face.marks / 2, 0.2));
    pen.lineTo(...this.at(face, value, 0.9));
    pen.lineWidth = Math.max(4, face.radius * 0.035);
    pen.lineCap = "round";
    pen.strokeStyle = colours.ink;
    pen.stroke();
    circle(pen, face.cx, face.cy, face.radius * 0.07);
    pen.fillStyle = colours.ink;
    pen.fill();
  }
}
