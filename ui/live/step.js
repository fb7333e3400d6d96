// The step in hand in words: headline, lines of a list, the reading and how far it is off.

const SIDE_SIGNS = { low: "▲", high: "▼", there: "■" };
const WAY_SIGNS = { right: "▶", left: "◀", back: "▲", front: "▼" };
const LEAST_HEADLINE = 0.55;
const NEXT_WORDS = {
  point: "It points there", places: "It stands there", sizes: "The sizes are right", todo: "Done, next",
};

class Step {
  constructor(root, link, told) {
    this.root = root;
    this.link = link;
    this.told = told; // shows what came of a command
    this.at = (name) => root.querySelector(`.${name}`);
    this.lines = "";
  }

  setState(view, shown) {
    const advice = view.advice;
    const running = view.guide !== null;
    this.root.dataset.kind = running ? view.kind : "none";
    this.root.dataset.wants = advice ? advice.wants : "nothing";
    this.root.dataset.step = view.step;
    const count = running ? `Step ${view.step_number} of ${view.steps}` : "";
    setText(this.at("where"), [count, view.title].filter(Boolean).join(" · "));
    const part = [view.part, view.operation].filter(Boolean).join(", ");
    const wanted = shown && shown.tolerance ? `within ${shown.tolerance}` : "";
    setText(this.at("who"), [part, wanted].filter(Boolean).join(", "));
    setText(this.at("headline"), advice ? advice.headline : "No setup is running");
    setText(this.at("detail"), advice ? advice.detail : "Start one on this page.");
    setText(this.at("caution"), view.caution);
    setText(this.at("next"), NEXT_WORDS[view.kind] || "Next");
    this.setNote(view, shown);
    this.setLines(view);
    this.fitHeadline();
  }

  setNote(view, shown) {
    const advice = view.advice;
    const flags = shown ? shown.flags : [];
    const told = view.sentences.filter((sentence) => !flags.includes(sentence));
    const notes = [advice && advice.note, ...told].filter(Boolean);
    const noted = ((advice && advice.note) || "").toLowerCase();
    if (shown && shown.offset && advice && !noted.includes(shown.offset.toLowerCase())) {
      notes.push(`Last found: ${shown.offset}.`);
    }
    setText(this.at("note"), [...new Set(notes)].join(" "));
    setText(this.at("flags"), flags.join(" "));
  }

  // Buttons stay in place while only their marks change, so that no touch is lost.
  setLines(view) {
    const key = JSON.stringify([view.checklist, view.lines.map((line) => [line.key, line.text])]);
    if (key !== this.lines) {
      this.lines = key;
      this.buttons = view.lines.map((line) => this.lineButton(view.checklist, line));
      this.at("lines").replaceChildren(...this.buttons);
      this.at("lines").dataset.many = view.lines.length > 5 ? "yes" : "no";
    }
    view.lines.forEach((line, i) => {
      this.buttons[i].setAttribute("aria-pressed", String(line.ticked));
      setText(this.buttons[i].firstChild, line.ticked ? "✓" : "");
    });
  }

  lineButton(checklist, line) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "line";
    button.dataset.line = line.key;
    const box = document.createElement("span");
    box.className = "box";
    const text = document.createElement("span");
    text.textContent = line.text;
    button.append(box, text);
    button.addEventListener("click", (event) => {
      if (event.detail === 0) return; // a key or a pedal, not a touch
      button.disabled = true; // until answered: a trembling finger must not take the mark back
      this.link.command("touch", { checklist, line: line.key, who: "at the screen" })
        .then((answer) => {
          button.disabled = false;
          this.told(answer);
        });
    });
    return button;
  }

  fitHeadline() {
    const headline = this.at("headline");
    headline.style.setProperty("--shrink", "1");
    const wide = headline.clientWidth;
    if (!wide) return;
    const shrink = Math.max(LEAST_HEADLINE, Math.min(1, wide / headline.scrollWidth));
    headline.style.setProperty("--shrink", String(shrink * 0.995));
  }

  setLive(live, shown, fresh) {
    setText(this.at("value"), fresh ? shown.value : "– – –");
    setText(this.at("divisions"), fresh ? shown.divisions : "");
    this.root.dataset.refused = String(!fresh || live.value_mm === null);
    const side = fresh ? shown.side : null;
    const target = live && live.target_mm !== null;
    this.root.dataset.target = String(Boolean(target));
    this.root.dataset.side = side || "";
    setText(this.at("target"), target ? `bring to ${shown.target}` : "");
    setText(this.at("arrow"), side ? SIDE_SIGNS[side] : "");
    setText(this.at("remaining"), side ? shown.remaining || "there" : "");
    setText(this.at("side-words"), side ? shown.side_words : "");
    const way = fresh && shown.way ? `${WAY_SIGNS[shown.way]} ${shown.travel}` : "";
    setText(this.at("travel"), way);
    setText(this.at("turned"), fresh && shown.turned ? `turned ${shown.turned} of 360°` : "");
    this.setBar(side, fresh ? shown.off : null);
    setText(this.at("nose-words"), fresh ? shown.nose : "The camera cannot see the spindle nose.");
    const refusal = !live || !fresh ? "" : live.value_mm === null ? live.sentences.join(" ") : "";
    setText(this.at("refusal"), refusal);
  }

  // Middle third: inside the window. Beyond it the place is logarithmic, to the bar's ends.
  setBar(side, off) {
    const mark = this.at("mark");
    mark.style.visibility = side ? "visible" : "hidden";
    if (!side) return;
    const size = Math.abs(off);
    const share = size <= 1 ? size * 0.12 : 0.12 + 0.88 * Math.min(1, Math.log10(size) / 2.5);
    mark.style.left = `${50 + 49 * Math.sign(off) * share}%`;
  }
}
