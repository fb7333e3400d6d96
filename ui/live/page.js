// The live block, put together. Streamlit calls the default export on every rerun of the
// page; what is mounted stays mounted.

const TICK_MS = 250;
const READING_STALE_MS = 1000;
const LINGER_MS = 300;
const SAID_MS = 4000;
const REFUSED_MS = 8000;
const DRAWING_BEATS = 6; // of 60 a second
const NEXT_WANTED = new Set(["key", "place", "sizes"]);

class Page {
  constructor(component) {
    this.root = component.parentElement.querySelector(".sh");
    this.at = (name) => this.root.querySelector(`.${name}`);
    this.counters = window.__sparehand || { frames: 0, readings: 0, spoken: [], mounts: 0 };
    window.__sparehand = this.counters;
    this.counters.mounts += 1;
    window.__sparehandSound = window.__sparehandSound || new Sound(this.counters);
    this.sound = window.__sparehandSound;
    this.view = null;
    this.readAt = 0;
    this.beat = 0;
    this.line = { dashboard: false, service: false };
    this.build();
    this.update(component);
    this.timer = setInterval(() => this.tick(), TICK_MS);
    this.tick();
    this.frame();
  }

  build() {
    const told = (answer) => this.told(answer);
    this.link = new Link({
      message: (topic, body, shown) => this.message(topic, body, shown),
      picture: (header, jpeg) => this.picture.show(header, jpeg),
      line: (open) => this.setLine("dashboard", open),
    });
    const bench = (name, args) => this.link.command("bench", { do: name, ...args }).then(told);
    this.picture = new Picture(this.at("picture"), this.root, (i) => this.link.seen(i), this.counters);
    this.dial = new DialFace(this.at("dial"), this.root);
    this.polar = new Polar(this.at("polar"), this.root);
    this.arcs = new PolarArcs(this.polar, this.root, (from_deg, to_deg, out) =>
      this.link.command("leave-out", { from_deg, to_deg, out }).then(told));
    this.scheme = new SchemePicture(this.at("scheme"), this.root);
    this.rounds = new Rounds(this.at("rounds"), this.root);
    this.machine = new Machine(this.at("machine"), this.root, bench);
    this.buttons = new BenchButtons(this.at("bench"), bench);
    this.step = new Step(this.root, this.link, told);
    this.keypad = new Keypad(this.root, this.link, told);
    this.at("next").addEventListener("click", () => this.next());
    this.at("mute").addEventListener("click", () => this.mute());
    this.at("voice").addEventListener("click", () => this.nextVoice());
    setText(this.at("voice"), this.sound.voiceWords);
    this.at("nose-bare").addEventListener("click", (event) => {
      if (event.detail) this.link.command("nose").then(told); // a touch, no key or pedal
    });
    this.at("tool").addEventListener("click", () => this.link.command("changed", { what: "tool" }).then(told));
    this.at("record").addEventListener("click", () => this.component.setTriggerValue("wish", "record"));
    this.at("another").addEventListener("click", () => this.component.setTriggerValue("wish", "another"));
    const touched = () => this.sound.unlock();
    window.addEventListener("pointerdown", touched, true);
    this.at("listen").addEventListener("click", touched); // pressed by a key too
    // a button touched by hand keeps no focus: a pedal's Enter must not press it again
    const blur = (event) => event.detail && event.target.closest("button")?.blur();
    this.root.addEventListener("click", blur);
    const turns = () => this.root.dataset.wants === "turn";
    const waiting = () => turns() || NEXT_WANTED.has(this.root.dataset.wants)
      || this.root.dataset.kind === "point";
    const freeKeys = captureKeys(waiting, () => (turns() ? this.mark() : this.next()));
    const resized = () => {
      this.resize();
      requestAnimationFrame(() => this.toTop()); // once it is laid out
    };
    window.addEventListener("resize", resized);
    this.free = () => {
      window.removeEventListener("pointerdown", touched, true);
      window.removeEventListener("resize", resized);
      freeKeys();
    };
  }

  update(component) {
    this.component = component;
    this.root.classList.toggle("compact", Boolean(component.data && component.data.compact));
    setText(this.at("beside"), (component.data && component.data.beside) || "");
    this.resize();
    this.tellRevision();
  }

  resize() {
    fillScreen(this.root, 420);
    const paper = getComputedStyle(this.root).getPropertyValue("--st-background-color").trim();
    this.root.classList.toggle("dark", isDark(paper));
    this.fitDigits();
    this.step.fitHeadline();
    this.fitBeside();
    for (const drawn of [this.polar, this.machine, this.scheme, this.rounds]) drawn.due = true;
    if (this.picture.bitmap && !this.picture.stale) this.picture.draw();
  }

  // It is quiet: where the step itself needs the room, it stands back.
  fitBeside() {
    const [beside, left] = [this.at("beside"), this.at("left")];
    beside.hidden = false;
    beside.hidden = left.scrollHeight > left.clientHeight + 1;
  }

  // A step is seen whole from its top, unless what is below it was opened.
  toTop() {
    const main = scrollerOf(this.root);
    if (main && !main.querySelector("details[open]")) main.scrollTop = 0;
  }

  // Digits 15 % of the screen's shorter side, and no less than 20 mm of a tablet's glass.
  fitDigits() {
    const pen = document.createElement("canvas").getContext("2d");
    pen.font = `700 100px ${FONT}`;
    const share = pen.measureText("0").actualBoundingBoxAscent / 100;
    const wanted = Math.max(0.152 * Math.min(window.innerWidth, window.innerHeight), 118);
    this.counters.digitPx = wanted;
    this.root.style.setProperty("--digits", `${wanted / share}px`);
    this.root.style.setProperty("--digit-high", `${wanted}px`);
  }

  message(topic, body, shown) {
    if (topic === "reading") this.reading(body, shown);
    else if (topic === "state") this.state(body, shown);
    else if (topic === "bench") this.bench(body);
    else if (topic === "link") this.setLine("service", body.service);
    else if (topic === "saved") this.counters.saved = body;
    else if (topic === "signal") this.signal(body);
    else if (topic === "health") this.counters.health = body;
  }

  signal(body) {
    this.counters.signal = body;
    if (body.did === "nothing") return;
    this.sound.confirm(body.did === "undone");
    this.told({ ok: true, said: body.said });
  }

  reading(live, shown) {
    this.live = live;
    this.shown = shown;
    this.readAt = performance.now();
    this.picture.live = live;
    this.counters.readings += 1;
    this.counters.live = live;
    this.polar.setLive(live);
    this.showLive();
  }

  showLive() {
    const fresh = performance.now() - this.readAt < READING_STALE_MS && this.line.service;
    this.step.setLive(this.live || null, this.shown, fresh && Boolean(this.live));
    if (this.view) this.dial.update(this.live, this.shown, this.view, fresh);
    if (fresh && this.live) this.sound.follow(this.shown.side, this.shown.off);
    else this.sound.silence();
  }

  state(view, shown) {
    if (this.view && view.step !== this.view.step) this.toTop();
    this.view = view;
    this.counters.view = view;
    this.shownState = shown;
    this.step.setState(view, shown);
    this.keypad.setState(view);
    this.polar.setState(view, shown);
    this.arcs.setState(view, shown);
    this.scheme.setState(shown);
    this.rounds.setState(shown);
    this.buttons.setState(view, shown);
    if (view.advice) this.sound.say(shown.say);
    this.tellRevision();
    this.showLive();
    this.fitBeside();
  }

  tellRevision() {
    const data = this.component.data || {};
    if (this.view && data.revision !== this.view.revision && this.toldRevision !== this.view.revision) {
      this.toldRevision = this.view.revision;
      this.component.setTriggerValue("revision", this.view.revision);
    }
  }

  bench(body) {
    const panel = this.at("bench");
    if (panel.hidden) {
      panel.hidden = false;
      this.root.classList.add("with-bench");
      this.resize();
    }
    this.machine.update(body);
    this.buttons.update(body);
    this.counters.bench = body;
  }

  setLine(which, open) {
    this.line[which] = open;
    // once for each load of the page: a list shows nothing as ticked that was not touched since
    if (which === "service" && open && !window.__sparehandArrived) {
      window.__sparehandArrived = true;
      this.link.command("changed", { what: "reload" });
    }
    if (which === "dashboard" && !open) this.line.service = false;
    this.counters.linked = this.line.dashboard && this.line.service;
    this.tick();
  }

  why() {
    if (!this.line.dashboard) return "The dashboard is away: I keep trying.";
    if (!this.line.service) return "The service is away: I keep trying.";
    if (this.view && this.view.camera_lost) return "The camera is away: check its cable.";
    return "No picture comes from the camera.";
  }

  tick() {
    const stale = this.picture.tick(performance.now(), this.why());
    this.root.dataset.stale = String(stale);
    setText(this.at("state"), stale ? "no picture" : "");
    this.showLive();
    const deaf = !this.sound.on || !document.hasFocus();
    this.at("listen").hidden = !deaf;
  }

  // The picture is drawn as it comes; the drawings beside it take turns, that it is not kept.
  frame() {
    if (this.closed) return;
    this.beat = (this.beat + 1) % DRAWING_BEATS;
    if (this.beat === 0) this.dial.drawDue();
    if (this.beat === 1) this.scheme.draw();
    if (this.beat === 2) this.polar.draw();
    if (this.beat === 3) this.rounds.draw();
    if (this.beat === 4) this.machine.draw();
    requestAnimationFrame(() => this.frame());
  }

  next() {
    this.link.command("next").then((answer) => this.told(answer));
  }

  mark() {
    this.link.command("mark", { by: "key" }).then((answer) => {
      if (!answer.ok) this.told(answer);
    });
  }

  mute() {
    this.sound.mute(!this.sound.muted);
    const button = this.at("mute");
    button.setAttribute("aria-pressed", String(this.sound.muted));
    setText(button, this.sound.muted ? "Sound on" : "Mute");
  }

  nextVoice() {
    this.sound.nextVoice();
    setText(this.at("voice"), this.sound.voiceWords);
    if (this.shownState) this.sound.say(this.shownState.say);
  }

  told(answer) {
    const said = this.at("said");
    setText(said, answer.said || "");
    clearTimeout(this.saying);
    this.saying = setTimeout(() => setText(said, ""), answer.ok ? SAID_MS : REFUSED_MS);
    said.classList.toggle("bad", !answer.ok);
  }

  close() {
    this.closed = true;
    clearInterval(this.timer);
    this.free();
    this.sound.silence();
    this.picture.close();
    this.link.close();
  }
}

const mounted = new WeakMap();

export default function (component) {
  const place = component.parentElement;
  const known = mounted.get(place);
  const page = known && !known.closed ? known : new Page(component);
  clearTimeout(page.leaving);
  if (page === known) page.update(component);
  mounted.set(place, page);
  return () => {
    page.leaving = setTimeout(() => page.close(), LINGER_MS);
  };
}
