// A job as a grid: what is done, in hand and next; a touch of a place tells of it, one begins it.

const SIGNS = {
  inside: "✓", outside: "✗", "cannot tell": "?", none: "?", "in hand": "▶", next: "➜", "not yet": "·",
};

const BEGUN_MS = 5000;

class JobPage {
  constructor(component) {
    this.root = component.parentElement.querySelector(".sh.job");
    this.at = (name) => this.root.querySelector(`.${name}`);
    this.session = null;
    this.link = new Link({
      message: (topic, body) => topic === "state" && this.state(body),
      picture: () => {}, // none is asked for: one that is not seen is the last one sent
      line: () => {},
    });
    this.at("begin").addEventListener("click", () => this.begin(this.data.begin));
    this.at("this").addEventListener("click", () => this.begin(this.chosen));
    this.at("show").addEventListener("click", () => this.wish("record", this.chosen.done));
    this.at("leave").addEventListener("click", () => this.choose(null));
    this.resized = () => this.resize();
    window.addEventListener("resize", this.resized);
    this.update(component);
  }

  update(component) {
    this.component = component;
    this.data = component.data;
    this.resize();
    const drawn = JSON.stringify(this.data);
    if (drawn !== this.drawn) {
      this.drawn = drawn;
      this.draw();
    }
  }

  resize() {
    const paper = getComputedStyle(this.root).getPropertyValue("--st-background-color").trim();
    this.root.classList.toggle("dark", isDark(paper));
    this.root.style.setProperty("--tall", "0px");
  }

  // The book says more once another setup runs or ends: the page asks for itself anew.
  state(view) {
    const session = `${view.setup_id}/${view.finished}`;
    // while one is begun from here the script is at it: it must not be interrupted
    if (this.session !== null && session !== this.session && !this.begun) {
      this.component.setTriggerValue("changed", session);
    }
    this.session = session;
  }

  begin(place) {
    if (!place || this.begun) return;
    this.begun = true; // a trembling finger begins one setup
    setTimeout(() => (this.begun = false), BEGUN_MS);
    this.wish(place.wish || "begin", { part: place.part, operation: place.operation });
  }

  wish(what, value) {
    this.component.setTriggerValue("wish", { what, value });
  }

  draw() {
    const { job, progress, begin, heads, rows, beyond } = this.data;
    this.at("name").textContent = job;
    this.at("progress").textContent = progress;
    this.at("beyond").textContent = beyond;
    this.at("begin").disabled = !begin.wish;
    this.at("begin").firstChild.textContent = begin.headline;
    this.at("begin").lastChild.textContent = begin.detail;
    const pair = rows.some((row) => row.pair.length);
    this.root.style.setProperty("--columns", String(heads.length - pair));
    this.root.style.setProperty("--pair", pair ? "minmax(210px, 1.35fr)" : "");
    const grid = this.at("grid");
    grid.replaceChildren(this.heading(heads), ...rows.map((row) => this.row(row)));
    this.choose(null);
  }

  heading(heads) {
    const row = made("div", "row", "", "row");
    row.append(made("span", "head", "Part", "columnheader"));
    for (const { name, small } of heads) {
      const head = made("span", "head", name, "columnheader");
      head.append(made("small", "", small));
      row.append(head);
    }
    return row;
  }

  row({ part, cells, pair }) {
    const row = made("div", "row", "", "row");
    row.append(made("span", "part", part, "rowheader"));
    for (const cell of cells) {
      const slot = made("span", "slot", "", "cell");
      slot.append(this.cell(cell));
      row.append(slot);
    }
    if (pair.length) {
      const slot = made("div", "pair", "", "cell");
      slot.append(...pair.map((told) => this.told(told)));
      row.append(slot);
    }
    return row;
  }

  cell(cell) {
    const button = made("button", "cell");
    button.type = "button";
    button.dataset.state = cell.state;
    button.dataset.place = `${cell.part}/${cell.operation}`;
    button.setAttribute("aria-pressed", "false");
    const word = made("span", "word");
    word.append(made("i", "", SIGNS[cell.state]), cell.word);
    button.append(
      word, made("span", "number", cell.number), made("span", "spread", cell.spread),
      made("span", "remark", cell.remark),
    );
    button.addEventListener("click", () => this.choose(cell, button));
    return button;
  }

  told({ label, number, spread, remark }) {
    const told = made("p", "told-one");
    const words = made("span", "label", `${label} `);
    words.append(made("b", "number", number), ` ${spread}`);
    told.append(words, made("span", "remark", remark));
    return told;
  }

  choose(cell, button = null) {
    const again = cell && this.chosen === cell;
    for (const one of this.root.querySelectorAll(".cell[aria-pressed='true']")) {
      one.setAttribute("aria-pressed", "false");
    }
    this.chosen = again ? null : cell;
    this.at("chosen").hidden = !this.chosen;
    if (!this.chosen) return;
    button.setAttribute("aria-pressed", "true");
    this.at("what").textContent = cell.what;
    this.at("show").hidden = cell.done === null;
    this.at("this").hidden = cell.state === "in hand" || !this.data.free;
    this.at("this").textContent = cell.done === null ? "Begin this one" : "Begin it once more";
  }

  close() {
    this.closed = true;
    window.removeEventListener("resize", this.resized);
    this.link.close();
  }
}

function made(kind, name, words = "", role = "") {
  const element = document.createElement(kind);
  if (name) element.className = name;
  if (role) element.setAttribute("role", role);
  element.textContent = words;
  return element;
}

const JOB_LINGER_MS = 300;
const jobsMounted = new WeakMap();

export default function (component) {
  const place = component.parentElement;
  const known = jobsMounted.get(place);
  const page = known && !known.closed ? known : new JobPage(component);
  clearTimeout(page.leaving);
  if (page === known) page.update(component);
  jobsMounted.set(place, page);
  return () => {
    page.leaving = setTimeout(() => page.close(), JOB_LINGER_MS);
  };
}
