// A photo on which places are clicked one after another; a touch takes the last one back.

const RING_PX = 16;

class Clicks {
  constructor(component) {
    this.root = component.parentElement.querySelector(".clicks");
    this.canvas = this.root.querySelector("canvas");
    this.asked = this.root.querySelector(".asked");
    this.places = [];
    this.canvas.addEventListener("click", (event) => this.click(event));
    this.canvas.addEventListener("keydown", (event) => this.key(event));
    this.root.querySelector(".back").addEventListener("click", () => this.takeBack());
    this.aim = null;
    this.update(component);
  }

  update(component) {
    this.component = component;
    const { photo, words } = component.data;
    this.words = words;
    if (photo !== this.photo) {
      this.photo = photo;
      this.places = [];
      this.image = new Image();
      this.image.addEventListener("load", () => this.draw());
      this.image.src = photo;
    }
    this.draw();
  }

  click(event) {
    const box = this.canvas.getBoundingClientRect();
    const k = this.image.naturalWidth / box.width;
    this.put([(event.clientX - box.left) * k - 0.5, (event.clientY - box.top) * k - 0.5]);
  }

  // By keys: arrows move a cross, Enter puts the place there.
  key(event) {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const far = event.shiftKey ? 1 : 10;
    this.aim = this.aim || [this.image.naturalWidth / 2, this.image.naturalHeight / 2];
    if (step) this.aim = [this.aim[0] + far * step[0], this.aim[1] + far * step[1]];
    else if (event.key === "Enter" || event.key === " ") this.put([...this.aim]);
    else return;
    event.preventDefault();
    event.stopPropagation();
    this.draw();
  }

  put(place) {
    if (this.places.length >= this.words.length) return;
    this.places.push(place);
    this.tell();
  }

  takeBack() {
    this.places.pop();
    this.tell();
  }

  tell() {
    this.draw();
    this.component.setStateValue("places", this.places);
  }

  draw() {
    const next = this.words[this.places.length];
    this.asked.textContent = next
      ? `${this.places.length + 1} of ${this.words.length}: click ${next}.`
      : "All places are clicked. Touch Back to put the last one elsewhere.";
    const { naturalWidth: width, naturalHeight: height } = this.image;
    if (!width) return;
    this.canvas.width = width;
    this.canvas.height = height;
    const pen = this.canvas.getContext("2d");
    pen.drawImage(this.image, 0, 0);
    const size = (RING_PX * width) / (this.canvas.getBoundingClientRect().width || width);
    this.places.forEach((place, i) => this.mark(pen, place, size, String(i + 1)));
    if (this.aim) this.mark(pen, this.aim, size, "+");
  }

  mark(pen, [x, y], size, words) {
    for (const [wide, colour] of [[size * 0.35, "#000000"], [size * 0.15, "#ffe14d"]]) {
      pen.lineWidth = wide;
      pen.strokeStyle = colour;
      pen.beginPath();
      pen.arc(x + 0.5, y + 0.5, size, 0, 2 * Math.PI);
      pen.moveTo(x - size * 0.4, y + 0.5);
      pen.lineTo(x + size * 0.4, y + 0.5);
      pen.moveTo(x + 0.5, y - size * 0.4);
      pen.lineTo(x + 0.5, y + size * 0.4);
      pen.stroke();
    }
    pen.font = `bold ${size * 1.6}px sans-serif`;
    pen.lineWidth = size * 0.3;
    pen.strokeStyle = "#000000";
    pen.strokeText(words, x + size * 1.2, y - size);
    pen.fillStyle = "#ffe14d";
    pen.fillText(words, x + size * 1.2, y - size);
  }
}

const clicked = new WeakMap();

export default function (component) {
  const known = clicked.get(component.parentElement);
  if (known) known.update(component);
  else clicked.set(component.parentElement, new Clicks(component));
}
