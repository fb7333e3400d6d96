// The step in hand in words: headline, lines of a list, the reading and how far it is off.

const SIDE_SIGNS = { low: "▲", high: "▼", there: "■" };
const WAY_SIGNS = { right: "▶", left: "◀", back: "▲", front: "▼" };
const TABLE_HEADLINES = {
  right: "Table right", left: "Table left", back: "Table to the back", front: "Table to the front",
};
const LEAST_HEADLINE = 0.55;
const NEXT_WORDS = {
  point: "It points there", places: "It stands there", sizes: "The sizes are right", todo: "Done, next",
};

const LINE_WANTS = "A line wants a finger or the mouse: no key and no pedal touches it.";

class Step {
  constructor(root, link, told) {
    this.root = root;
    this.link = link;
    this.told = told; // shows what came of a command
    this.at = (name) => root.querySelector(`.${name}`);
    this.lines = "";
    this.headline = this.headlined = "";
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
    this.headline = advice ? advice.headline : "No setup is running";
    this.showHeadline(this.headline);
    this.setResult(view, shown);
    setText(this.at("detail"), advice ? advice.detail : "Start one on this page.");
    setText(this.at("caution"), view.caution);
    setText(this.at("next"), NEXT_WORDS[view.kind] || "Next");
    this.setNote(view, shown);
    this.setLines(view);
  }

  showHeadline(words) {
    if (words === this.headlined) return;
    this.headlined = words;
    setText(this.at("headline"), words);
    this.fitHeadline();
  }

  // At the end the large digits tell what was found, no longer where the needle stands.
  setResult(view, shown) {
    const [value, unit] = view.kind === "done" && shown ? shown.result : ["", ""];
    this.result = value ? { value, unit, verdict: shown.verdict.toLowerCase() } : null;
    const heard = this.result ? shown.offset : "reading of the dial in mm";
    this.at("value").setAttribute("aria-label", heard);
  }

  setNote(view, shown) {
    const advice = view.advice;
    const flags = shown ? shown.flags : [];
    const told = view.sentences.filter((sentence) => !flags.includes(sentence));
    const notes = [advice && advice.note, ...told].filter(Boolean);
    const noted = ((advice && advice.note) || "").toLowerCase();
    if (shown && shown.offset && advice && !noted.includes(shown.offset.toLowerCase())) {
      const judged = view.found && shown.verdict ? `, ${shown.verdict.toLowerCase()}` : "";
      notes.push(`Last found: ${shown.offset}${judged}.`);
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
    button.addEventListener("focus", () => {
      if (button.matches(":focus-visible")) this.told({ ok: true, said: LINE_WANTS });
    });
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
    if (this.result) this.showResult();
    else this.showReading(live, shown, fresh);
    const side = fresh ? shown.side : null;
    const target = live && live.target_mm !== null;
    this.root.dataset.target = String(Boolean(target));
    this.root.dataset.side = side || "";
    setText(this.at("target"), target ? `bring to ${shown.target}` : "");
    // the arrow tells the way of the hand wherever it is known, not the needle's
    const hand = fresh && shown.way ? WAY_SIGNS[shown.way] : "";
    setText(this.at("arrow"), side ? hand || SIDE_SIGNS[side] : "");
    setText(this.at("remaining"), side ? shown.remaining || "there" : "");
    setText(this.at("side-words"), side ? shown.side_words : "");
    setText(this.at("travel"), hand ? `${hand} ${shown.travel}` : "");
    this.headFor(fresh ? shown : null, side);
    setText(this.at("turned"), fresh && shown.turned ? `turned ${shown.turned} of 360°` : "");
    this.setBar(side, fresh ? shown.off : null);
    this.at("nose-bare").hidden = Boolean(fresh && live.nose === "fitted");
    setText(this.at("nose-words"), fresh ? shown.nose : "The camera cannot see the spindle nose.");
    const refused = live && fresh && live.value_mm === null && !this.result;
    const refusal = refused ? live.sentences.join(" ") : "";
    setText(this.at("refusal"), refusal);
  }

  showReading(live, shown, fresh) {
    setText(this.at("value"), fresh ? shown.value : "– – –");
    const needle = !live || (live.target_mm === null && live.across_mm === null);
    setText(this.at("unit"), needle ? "mm on the dial" : "mm");
    setText(this.at("divisions"), fresh ? shown.divisions : "");
    this.root.dataset.refused = String(!fresh || live.value_mm === null);
  }

  showResult() {
    setText(this.at("value"), this.result.value);
    setText(this.at("unit"), this.result.unit);
    setText(this.at("divisions"), this.result.verdict);
    this.root.dataset.refused = "false";
  }

  // What hands do first stands largest: turn the stylus there, or back after moving too far.
  headFor(shown, side) {
    const way = shown ? shown.way : "";
    const agrees = !way || (side && this.headline.startsWith(TABLE_HEADLINES[way]));
    const live = agrees ? "" : `${shown.travel[0].toUpperCase()}${shown.travel.slice(1)}`;
    this.showHeadline(live || this.headline);
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
