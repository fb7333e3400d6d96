// The live picture with what was recognised drawn on it. The newest picture wins.

const NO_PICTURE_AFTER_MS = 1500;
const OVERLAY_LAG = 12; // pictures by which an overlay may be behind

// The browser's own decoder is several times quicker than the way by a Blob; not all have it.
async function decoded(jpeg) {
  if (!window.ImageDecoder) return createImageBitmap(new Blob([jpeg], { type: "image/jpeg" }));
  const decoder = new ImageDecoder({ data: jpeg, type: "image/jpeg" });
  try {
    return (await decoder.decode()).image;
  } finally {
    decoder.close();
  }
}

class Picture {
  constructor(canvas, root, seen, counters) {
    this.canvas = canvas;
    this.root = root;
    this.seen = seen;
    this.counters = counters;
    this.bitmap = null;
    this.live = null;
    this.at = performance.now();
    this.stale = false;
    this.due = false;
    this.later = null;
    this.closed = false;
  }

  // A picture that is not closed stalls the browser's decoder.
  close() {
    this.closed = true;
    for (const held of [this.bitmap, this.later && this.later.bitmap]) if (held) held.close();
    this.bitmap = null;
    this.later = null;
  }

  async show(header, jpeg) {
    const bitmap = await decoded(jpeg).catch(() => null);
    this.seen(header ? header.index : -1); // each one, drawn or overtaken: the next may come
    if (bitmap === null) return;
    if (this.closed) {
      bitmap.close();
      return;
    }
    this.at = performance.now();
    if (this.due) {
      // two came within one frame of the screen: the newer is drawn with the next frame
      if (this.later) this.later.bitmap.close();
      this.later = { bitmap, header };
    } else this.take(bitmap, header);
  }

  take(bitmap, header) {
    if (this.bitmap) this.bitmap.close();
    this.bitmap = bitmap;
    this.header = header;
    this.due = true;
    requestAnimationFrame(() => this.next());
  }

  next() {
    this.due = false;
    if (this.closed) return;
    this.stale = false;
    this.draw();
    this.counters.frames += 1;
    const later = this.later;
    this.later = null;
    if (later) this.take(later.bitmap, later.header);
  }

  tick(now, why) {
    const stale = now - this.at > NO_PICTURE_AFTER_MS;
    if (stale && (!this.stale || why !== this.why)) {
      this.stale = true;
      this.why = why;
      this.drawNone(why);
    }
    return stale;
  }

  // A VideoFrame and an ImageBitmap name their sizes differently.
  width() {
    return this.bitmap.displayWidth || this.bitmap.width;
  }

  height() {
    return this.bitmap.displayHeight || this.bitmap.height;
  }

  place(width, height) {
    const scale = Math.min(width / this.width(), height / this.height());
    const w = this.width() * scale;
    const h = this.height() * scale;
    return { x: (width - w) / 2, y: (height - h) / 2, w, h };
  }

  draw() {
    const { pen, width, height } = fitCanvas(this.canvas);
    const at = this.place(width, height);
    pen.drawImage(this.bitmap, at.x, at.y, at.w, at.h);
    const near = this.live && Math.abs(this.live.index - this.header.index) <= OVERLAY_LAG;
    if (near) this.drawOverlay(pen, at);
  }

  drawOverlay(pen, at) {
    const full = this.header.picture_width || this.width();
    const k = at.w / full;
    const overlay = this.live.overlay;
    pen.save();
    pen.translate(at.x, at.y);
    for (const corners of overlay.markers_px) this.trace(pen, corners, k, true, "#ffd24a", 2);
    if (overlay.outline_px.length > 2) this.trace(pen, overlay.outline_px, k, true, "#59e0d0", 2.5);
    if (overlay.needle_px.length === 2) this.trace(pen, overlay.needle_px, k, false, "#ff7ae0", 3);
    if (overlay.zero_px) {
      circle(pen, overlay.zero_px[0] * k, overlay.zero_px[1] * k, 6);
      pen.lineWidth = 2.5;
      pen.strokeStyle = "#59e0d0";
      pen.stroke();
    }
    pen.restore();
  }

  trace(pen, points, k, shut, colour, width) {
    pen.beginPath();
    points.forEach(([x, y], i) => (i ? pen.lineTo(x * k, y * k) : pen.moveTo(x * k, y * k)));
    if (shut) pen.closePath();
    pen.lineJoin = "round";
    pen.lineWidth = width + 2;
    pen.strokeStyle = "rgba(0, 0, 0, 0.55)";
    pen.stroke();
    pen.lineWidth = width;
    pen.strokeStyle = colour;
    pen.stroke();
  }

  drawNone(why) {
    const colours = pageColours(this.root);
    const { pen, width, height } = fitCanvas(this.canvas);
    pen.fillStyle = colours.panel;
    pen.fillRect(0, 0, width, height);
    pen.strokeStyle = colours.faint;
    pen.lineWidth = 1;
    for (let x = -height; x < width; x += 26) {
      pen.beginPath();
      pen.moveTo(x, height);
      pen.lineTo(x + height, 0);
      pen.stroke();
    }
    const size = Math.min(width / 7, height / 4);
    pen.fillStyle = colours.panel;
    pen.fillRect(0, height / 2 - size, width, size * 2.1);
    write(pen, "No picture", width / 2, height / 2 - size * 0.2, size, colours.ink, "center", 700);
    write(pen, why, width / 2, height / 2 + size * 0.65, size * 0.33, colours.ink);
  }
}
