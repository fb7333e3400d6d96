// Sizes entered by hand: a button a size, and a keypad for greasy fingers.

const PAD = ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0", "⌫"];

class Keypad {
  constructor(root, link, told) {
    this.root = root;
    this.link = link;
    this.told = told;
    this.list = root.querySelector(".sizes");
    this.pad = root.querySelector(".pad");
    this.size = null;
    this.build();
  }

  build() {
    this.asked = this.pad.querySelector(".asked");
    this.typed = this.pad.querySelector(".typed");
    const keys = PAD.map((word) => this.key(word, word === "⌫" ? "delete" : word));
    this.pad.querySelector(".digits").replaceChildren(...keys);
    this.pad.querySelector(".enter").addEventListener("click", () => this.enter());
    this.pad.querySelector(".leave").addEventListener("click", () => this.open(null));
  }

  key(word, label) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = word;
    button.setAttribute("aria-label", label);
    button.addEventListener("click", () => this.press(word));
    return button;
  }

  press(word) {
    const now = this.fresh ? "" : this.text;
    this.fresh = false;
    if (word === "⌫") this.text = now.slice(0, -1);
    else if (word === "." && now.includes(".")) this.text = now;
    else this.text = (now + word).slice(0, 9);
    setText(this.typed, this.text || "–");
  }

  setState(view) {
    const shown = view.kind === "sizes" ? view.sizes : [];
    if (!shown.length) this.open(null);
    const key = JSON.stringify(shown);
    if (key === this.shown) return;
    this.shown = key;
    this.list.replaceChildren(...shown.map((size) => this.sizeButton(size)));
    this.list.dataset.many = shown.length > 3 ? "yes" : "no";
  }

  sizeButton(size) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "size";
    button.dataset.size = size.key;
    const label = document.createElement("span");
    setText(label, size.label);
    const value = document.createElement("b");
    setText(value, `${size.value} ${size.unit}`);
    button.append(label, value);
    button.addEventListener("click", () => this.open(size));
    return button;
  }

  open(size) {
    this.size = size;
    this.pad.hidden = size === null;
    this.list.hidden = size !== null;
    if (size === null) return;
    this.text = String(size.value);
    this.fresh = true;
    setText(this.asked, `${size.label} (${size.unit}, by ${size.tool})`);
    setText(this.typed, this.text);
  }

  enter() {
    const value = Number(this.text);
    if (!this.text || !Number.isFinite(value)) return;
    this.link.command("size", { key: this.size.key, value }).then((answer) => {
      this.told(answer);
      if (answer.ok || !answer.said) this.open(null);
    });
  }
}
