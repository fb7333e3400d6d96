// The guided page for a camera's calibration: the service finds the board, this only shows.

const CAMERA_TICK_MS = 250;
const CAMERA_SAID_MS = 8000;
const CAMERA_LINGER_MS = 300;
const OFF_HEADLINE = "A model of this camera";
const OFF_DETAIL = "Print the board (sparehand print board), keep it flat, lock the camera's focus, "
  + "then start. Hold the board still in each corner of the picture, and leaning to each side: "
  + "views are taken by themselves.";
const TILT_WORDS = {
  left: "left edge nearer", right: "right edge nearer",
  upper: "upper edge nearer", lower: "lower edge nearer",
};
const CORNER_COLOURS = { moving: "#ffb000", hold: "#ffe14a", unseen: "#ffb000" };
const TAKEN_COLOUR = "#46f0a0";

// The live picture with the parts not seen yet hatched, and the corners of the board.
class BoardPicture extends Picture {
  constructor(...all) {
    super(...all);
    this.board = null;
  }

  draw() {
    const { pen, width, height } = fitCanvas(this.canvas);
    const at = this.place(width, height);
    pen.drawImage(this.bitmap, at.x, at.y, at.w, at.h);
    if (this.board && this.board.state === "taking") this.drawBoard(pen, at);
  }

  drawBoard(pen, at) {
    const { cells, across, corners_px: corners, picture_px: full, seen, index } = this.board;
    if (across) this.drawCells(pen, at, cells, across);
    if (!corners.length || !full[0] || Math.abs(index - this.header.index) > OVERLAY_LAG) return;
    const k = at.w / full[0];
    for (const [x, y] of corners) {
      circle(pen, at.x + x * k, at.y + y * k, 6);
      pen.lineWidth = 5;
      pen.strokeStyle = "rgba(0, 0, 0, 0.6)";
      pen.stroke();
      pen.lineWidth = 2.5;
      pen.strokeStyle = CORNER_COLOURS[seen] || TAKEN_COLOUR;
      pen.stroke();
    }
  }

  drawCells(pen, at, cells, across) {
    const w = at.w / across;
    const h = at.h / (cells.length / across);
    cells.forEach((has, i) => {
      const x = at.x + (i % across) * w;
      const y = at.y + Math.floor(i / across) * h;
      if (has) this.frameCell(pen, x, y, w, h);
      else this.hatchCell(pen, x, y, w, h);
    });
  }

  frameCell(pen, x, y, w, h) {
    pen.lineWidth = 3;
    pen.strokeStyle = TAKEN_COLOUR;
    pen.strokeRect(x + 3, y + 3, w - 6, h - 6);
  }

  hatchCell(pen, x, y, w, h) {
    pen.save();
    pen.beginPath();
    pen.rect(x, y, w, h);
    pen.clip();
    pen.fillStyle = "rgba(0, 0, 0, 0.28)";
    pen.fillRect(x, y, w, h);
    pen.beginPath();
    for (let d = -h; d < w; d += 18) {
      pen.moveTo(x + d, y + h);
      pen.lineTo(x + d + h, y);
    }
    pen.lineWidth = 1.5;
    pen.strokeStyle = "rgba(255, 255, 255, 0.5)";
    pen.stroke();
    pen.restore();
  }
}

class CameraPage {
  constructor(component) {
    this.root = component.parentElement.querySelector(".cam");
    this.at = (name) => this.root.querySelector(`.${name}`);
    this.counters = window.__sparehand || { frames: 0, readings: 0, spoken: [], mounts: 0 };
    window.__sparehand = this.counters;
    window.__sparehandSound = window.__sparehandSound || new Sound(this.counters);
    this.sound = window.__sparehandSound;
    this.line = { dashboard: false, service: false };
    this.view = null;
    this.build();
    this.update(component);
    this.show({ state: "off", cells: [], tilts: [], corners_px: [], numbers: [], left_out: [], taken: 0, least: 0 });
    this.timer = setInterval(() => this.tick(), CAMERA_TICK_MS);
    this.tick();
  }

  build() {
    this.link = new Link({
      message: (topic, body) => this.message(topic, body),
      picture: (header, jpeg) => this.picture.show(header, jpeg),
      line: (open) => this.setLine("dashboard", open),
    });
    this.picture = new BoardPicture(
      this.at("picture"), this.root, (i) => this.link.seen(i), this.counters,
    );
    for (const button of this.root.querySelectorAll("[data-do]")) {
      button.addEventListener("click", () => this.command(button.dataset.do));
    }
    const touched = () => this.sound.unlock();
    const resized = () => this.resize();
    window.addEventListener("pointerdown", touched, true);
    window.addEventListener("resize", resized);
    this.free = () => {
      window.removeEventListener("pointerdown", touched, true);
      window.removeEventListener("resize", resized);
    };
  }

  update(component) {
    this.board = (component.data && component.data.board) || {};
    this.resize();
  }

  resize() {
    fillScreen(this.root, 520);
    const paper = getComputedStyle(this.root).getPropertyValue("--st-background-color").trim();
    this.root.classList.toggle("dark", isDark(paper));
    if (this.picture.bitmap && !this.picture.stale) this.picture.draw();
  }

  message(topic, body) {
    if (topic === "calibration") this.show(body);
    else if (topic === "link") this.setLine("service", body.service);
    else if (topic === "health") setText(this.at("who"), body.source);
  }

  show(view) {
    const before = this.view;
    this.view = view;
    this.counters.calibration = view;
    this.picture.board = view;
    const data = this.root.dataset;
    data.state = view.state;
    data.seen = view.seen || "";
    data.good = String(Boolean(view.good));
    data.enough = String(view.taken >= view.least);
    const off = view.state === "off";
    setText(this.at("headline"), off ? OFF_HEADLINE : view.headline);
    setText(this.at("detail"), off ? OFF_DETAIL : view.detail);
    setText(this.at("taken"), `${view.taken}`);
    setText(this.at("of"), view.taken === 1 ? "view taken" : "views taken");
    for (const tilt of this.root.querySelectorAll(".tilt")) {
      const has = view.tilts.includes(tilt.dataset.tilt);
      tilt.dataset.has = String(has);
      setText(tilt.querySelector("span"), `${has ? "✓ " : ""}${TILT_WORDS[tilt.dataset.tilt]}`);
    }
    this.list(view);
    this.tell(before, view);
  }

  list(view) {
    const numbers = view.numbers.flatMap(([label, words]) => [part("dt", label), part("dd", words)]);
    this.at("numbers").replaceChildren(...numbers);
    this.at("out").replaceChildren(...view.left_out.map((words) => part("li", words)));
  }

  // Two tones for each view: whoever holds the board does not look at the screen.
  tell(before, view) {
    const took = before && before.state === "taking" && view.taken > before.taken;
    if (took) this.sound.confirm(false);
    const first = view.state === "taking" && view.taken === 0;
    if (took || first || !["off", "taking"].includes(view.state)) this.say(view.headline);
  }

  say(words) {
    if (words === this.heard) return;
    this.heard = words;
    this.sound.speak(words);
  }

  // A calibration that begins anew says everything anew.
  command(what) {
    if (what === "start") this.heard = "";
    const args = what === "start" ? { do: what, ...this.board } : { do: what };
    this.link.command("calibrate", args).then((answer) => this.told(answer));
  }

  told(answer) {
    const said = this.at("said");
    setText(said, answer.said || "");
    said.classList.toggle("bad", !answer.ok);
    clearTimeout(this.saying);
    this.saying = setTimeout(() => setText(said, ""), CAMERA_SAID_MS);
  }

  setLine(which, open) {
    this.line[which] = open;
    if (which === "dashboard" && !open) this.line.service = false;
    this.tick();
  }

  why() {
    if (!this.line.dashboard) return "The dashboard is away: I keep trying.";
    if (!this.line.service) return "The service is away: I keep trying.";
    return "No picture comes from the camera.";
  }

  tick() {
    const stale = this.picture.tick(performance.now(), this.why());
    this.root.dataset.stale = String(stale);
    setText(this.at("state"), stale ? "no picture" : "");
    this.at("listen").hidden = this.sound.on;
  }

  close() {
    this.closed = true;
    clearInterval(this.timer);
    clearTimeout(this.saying);
    this.free();
    this.picture.close();
    this.link.close();
  }
}

function part(kind, words) {
  const made = document.createElement(kind);
  made.textContent = words;
  return made;
}

const camerasMounted = new WeakMap();

export default function (component) {
  const place = component.parentElement;
  const known = camerasMounted.get(place);
  const page = known && !known.closed ? known : new CameraPage(component);
  clearTimeout(page.leaving);
  if (page === known) page.update(component);
  camerasMounted.set(place, page);
  return () => {
    page.leaving = setTimeout(() => page.close(), CAMERA_LINGER_MS);
  };
}
