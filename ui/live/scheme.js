// A guide's own picture: what leans, exaggerated, or a plan from above with what to turn.

const MOST_LEAN_RAD = 0.42; // of the largest lean that is drawn

class SchemePicture {
  constructor(canvas, root) {
    this.canvas = canvas;
    this.root = root;
    this.scheme = null;
    this.due = false;
  }

  setState(shown) {
    this.scheme = shown ? shown.scheme : null;
    this.root.classList.toggle("with-scheme", Boolean(this.scheme));
    this.canvas.setAttribute("aria-label", this.words());
    this.due = true;
  }

  // The same in words, for whoever hears the page.
  words() {
    if (!this.scheme) return "";
    const leans = this.scheme.leans.map((lean) => `${lean.seen_from}: ${lean.words}`);
    const told = this.scheme.marks.filter((mark) => mark.words || mark.now)
      .map((mark) => `${mark.name}${mark.words ? `: ${waySign(mark)} ${mark.words}` : ", here now"}`);
    return [this.scheme.title, ...leans, ...told].join("; ");
  }

  draw() {
    if (!this.due || !this.scheme) return;
    this.due = false;
    const colours = pageColours(this.root);
    const { pen, width, height } = fitCanvas(this.canvas);
    if (Math.min(width, height) < 60) return;
    const text = Math.max(13, Math.min(width, height) * 0.062);
    const at = { pen, colours, width, height, text };
    write(pen, this.scheme.title, width / 2, text * 0.8, text, colours.ink);
    if (this.scheme.leans.length) this.drawLeans(at);
    else this.drawPlan(at);
  }

  drawLeans(at) {
    const rows = this.scheme.leans.length;
    const top = at.text * 1.6;
    const side = at.width > 1.3 * at.height || (at.height - top) / rows < 9 * at.text;
    this.scheme.leans.forEach((lean, i) => {
      const box = side
        ? { x: (i * at.width) / rows, y: top, w: at.width / rows, h: at.height - top }
        : { x: 0, y: top + (i * (at.height - top)) / rows, w: at.width, h: (at.height - top) / rows };
      if (lean.upright) this.drawUpright(at, lean, box);
      else this.drawBar(at, lean, box);
    });
  }

  // A spindle (or a square) over the table: the wedge is the tolerance, both exaggerated alike.
  drawUpright({ pen, colours, text }, lean, box) {
    const foot = box.y + box.h - text * 2.9;
    const cx = box.x + box.w / 2;
    const long = foot - box.y - text * 1.6;
    write(pen, lean.seen_from, cx, box.y + text * 0.6, text * 0.95, colours.ink);
    const limit = Math.min(1, lean.limit) * MOST_LEAN_RAD;
    pen.beginPath();
    pen.moveTo(cx, foot);
    pen.lineTo(cx - long * Math.sin(limit), foot - long * Math.cos(limit));
    pen.lineTo(cx + long * Math.sin(limit), foot - long * Math.cos(limit));
    pen.closePath();
    pen.globalAlpha = 0.3;
    pen.fillStyle = colours.there;
    pen.fill();
    pen.globalAlpha = 1;
    this.line(pen, [[cx - box.w * 0.4, foot], [cx + box.w * 0.4, foot]], 4, colours.ink);
    write(pen, lean.left, cx - box.w * 0.4, foot + text, text * 0.85, colours.ink, "left");
    write(pen, lean.right, cx + box.w * 0.4, foot + text, text * 0.85, colours.ink, "right");
    const angle = lean.share * MOST_LEAN_RAD;
    const along = (share, side) => [
      cx + long * share * Math.sin(angle) + side * Math.cos(angle),
      foot - long * share * Math.cos(angle) + side * Math.sin(angle),
    ];
    const half = Math.max(8, long * 0.09);
    pen.beginPath();
    [along(0.3, -half), along(1, -half), along(1, half), along(0.3, half)].forEach(([x, y], i) =>
      (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
    pen.closePath();
    pen.fillStyle = colours.panel;
    pen.fill();
    pen.lineWidth = 3;
    pen.strokeStyle = colours.ink;
    pen.stroke();
    this.line(pen, [along(0, 0), along(1.08, 0)], 4, colours.accent);
    this.fit(pen, lean.words, cx, foot + text * 2.3, box.w * 0.96, text * 1.35, colours.ink);
  }

  // A bar between two centres: the near one stands still.
  drawBar({ pen, colours, text }, lean, box) {
    const cy = box.y + box.h / 2;
    const [from, to] = [box.x + box.w * 0.14, box.x + box.w * 0.86];
    const rise = Math.max(6, (box.h / 2 - text * 1.8) * 0.9);
    write(pen, lean.seen_from, box.x + box.w / 2, box.y + text * 0.6, text * 0.95, colours.ink);
    const limit = Math.max(3, Math.min(1, lean.limit) * rise);
    pen.globalAlpha = 0.3;
    pen.fillStyle = colours.there;
    pen.beginPath();
    pen.moveTo(from, cy);
    pen.lineTo(to, cy - limit);
    pen.lineTo(to, cy + limit);
    pen.closePath();
    pen.fill();
    pen.globalAlpha = 1;
    const end = cy - lean.share * rise;
    this.line(pen, [[from, cy], [to, end]], 11, colours.ink);
    this.line(pen, [[from, cy], [to, end]], 6, colours.panel);
    for (const [x, y, way] of [[from, cy, -1], [to, end, 1]]) {
      pen.beginPath();
      pen.moveTo(x, y);
      pen.lineTo(x + way * 22, y - 11);
      pen.lineTo(x + way * 22, y + 11);
      pen.closePath();
      pen.fillStyle = colours.accent;
      pen.fill();
    }
    if (box.h > text * 7) {
      write(pen, lean.left, box.x + 4, cy + text * 1.7, text * 0.85, colours.ink, "left");
      write(pen, lean.right, box.x + box.w - 4, cy + text * 1.7, text * 0.85, colours.ink, "right");
    }
    this.fit(pen, lean.words, box.x + box.w / 2, box.y + box.h - text * 0.7, box.w * 0.96, text * 1.2, colours.ink);
  }

  drawPlan(at) {
    const { pen, colours, width, height, text } = at;
    const top = text * 1.8;
    const half = Math.min(width / 2 - text * 2.6, (height - top) / 2 - text * 1.5);
    // long names want room to the sides; places told by numbers keep their shape
    const named = this.scheme.outline === "square" && this.scheme.marks.some((mark) => mark.name.length > 2);
    const wide = named ? Math.max(half, Math.min(1.9 * half, width / 2 - text * 4.5)) : half;
    const [cx, cy] = [width / 2, top + (height - top) / 2];
    pen.beginPath();
    if (this.scheme.outline === "round") pen.arc(cx, cy, half * 0.62, 0, 2 * Math.PI);
    else pen.roundRect(cx - wide * 1.1, cy - half * 1.1, wide * 2.2, half * 2.2, 12);
    pen.fillStyle = colours.panel;
    pen.fill();
    pen.lineWidth = 2.5;
    pen.strokeStyle = colours.faint;
    pen.stroke();
    for (const mark of this.scheme.marks) this.drawMark(at, mark, cx + mark.x * wide, cy - mark.y * half);
  }

  drawMark({ pen, colours, width, text }, mark, x, y) {
    const round = this.scheme.outline === "round";
    const outwards = round ? Math.sign(mark.x) : 0;
    const size = mark.now ? text * 1.35 : text;
    if (mark.name.includes(" ") && !mark.now && !mark.words && round) {
      circle(pen, x, y, text * 0.45); // its neighbours say where it is
      pen.fillStyle = colours.ink;
      pen.fill();
      return;
    }
    if (mark.name.length < 3) {
      circle(pen, x, y, size * 1.05);
      pen.fillStyle = mark.now ? colours.accent : colours.paper;
      pen.fill();
      pen.lineWidth = mark.now ? 5 : 2.5;
      pen.strokeStyle = colours.ink;
      pen.stroke();
      write(pen, mark.name, x, y, size * 1.1, mark.now ? colours.paper : colours.ink, "center", 800);
    } else this.tag(pen, colours, mark, x, y, size, mark.name.includes(" ") ? outwards : 0);
    if (!mark.words) return;
    const words = `${waySign(mark)} ${mark.words}`;
    const aside = Math.min(x, width - x);
    if (outwards && Math.abs(mark.x) > Math.abs(mark.y)) {
      // beside the mark, outwards: below it they would run into those of the one opposite
      const align = outwards > 0 ? "left" : "right";
      this.fit(pen, words, x + outwards * size * 1.5, y, aside - size * 1.5 - 4, size, colours.ink, align);
    } else this.fit(pen, words, x, y + size * 1.9, 2 * aside - 6, size, colours.ink);
  }

  // A name that goes outwards leaves its neighbours' room to them.
  tag(pen, colours, mark, at, y, size, outwards) {
    pen.font = `800 ${size}px ${FONT}`;
    const half = pen.measureText(mark.name).width / 2 + size * 0.5;
    const x = at + outwards * (half - size * 0.5);
    pen.beginPath();
    pen.roundRect(x - half, y - size * 0.85, 2 * half, size * 1.7, 8);
    pen.fillStyle = mark.now ? colours.accent : colours.paper;
    pen.fill();
    pen.lineWidth = mark.now ? 5 : 2;
    pen.strokeStyle = colours.ink;
    pen.stroke();
    write(pen, mark.name, x, y, size, mark.now ? colours.paper : colours.ink, "center", 800);
  }

  line(pen, [[x0, y0], [x1, y1]], wide, colour) {
    pen.beginPath();
    pen.moveTo(x0, y0);
    pen.lineTo(x1, y1);
    pen.lineWidth = wide;
    pen.lineCap = "round";
    pen.strokeStyle = colour;
    pen.stroke();
  }

  fit(pen, words, x, y, room, size, colour, align = "center") {
    pen.font = `700 ${size}px ${FONT}`;
    const wide = pen.measureText(words).width;
    write(pen, words, x, y, size * Math.min(1, room / wide), colour, align, 700);
  }
}

function waySign(mark) {
  return { 1: "▲", [-1]: "▼", 0: "" }[mark.way];
}
