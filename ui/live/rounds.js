// The rounds of a setup, one after another: how far off each was, against the tolerance.

const SHOWN_ROUNDS = 5;
const FAR_TIMES = 100; // tolerances at the top of the strip; the scale is logarithmic

class Rounds {
  constructor(canvas, root) {
    this.canvas = canvas;
    this.root = root;
    this.rounds = [];
    this.due = false;
  }

  setState(shown) {
    this.rounds = shown ? shown.rounds.slice(-SHOWN_ROUNDS) : [];
    this.root.classList.toggle("with-rounds", this.rounds.length > 0);
    const words = this.rounds.map(([off, , locked]) => `off by ${off} mm${locked ? ", locked" : ""}`);
    this.canvas.setAttribute("aria-label", `rounds so far: ${words.join("; ")}`);
    this.due = true;
  }

  draw() {
    if (!this.due || !this.rounds.length) return;
    this.due = false;
    const colours = pageColours(this.root);
    const { pen, width, height } = fitCanvas(this.canvas);
    const text = Math.max(13, Math.min(20, height * 0.24));
    const [top, floor] = [text * 1.9, height - 5];
    const place = (share) => {
      const far = Math.log10(Math.max(share, 0.1) * 10) / Math.log10(10 * FAR_TIMES);
      return floor - Math.min(1, far) * (floor - top);
    };
    pen.globalAlpha = 0.28;
    pen.fillStyle = colours.there;
    pen.fillRect(0, place(1), width, height - place(1));
    pen.globalAlpha = 1;
    pen.strokeStyle = colours.ink;
    pen.lineWidth = 1.5;
    pen.setLineDash([6, 5]);
    pen.beginPath();
    pen.moveTo(0, place(1));
    pen.lineTo(width, place(1));
    pen.stroke();
    pen.setLineDash([]);
    const room = height - place(1);
    write(pen, "tolerance", width - 6, place(1) + room / 2, Math.min(text, room * 0.7), colours.ink, "right");
    this.drawRounds(pen, colours, place, width, text);
  }

  drawRounds(pen, colours, place, width, text) {
    const apart = width / SHOWN_ROUNDS;
    const at = this.rounds.map(([, share], i) => [apart * (i + 0.5), place(share)]);
    pen.beginPath();
    at.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
    pen.strokeStyle = colours.ink;
    pen.lineWidth = 3;
    pen.stroke();
    this.rounds.forEach(([off, share, locked], i) => {
      circle(pen, ...at[i], 7);
      pen.fillStyle = share <= 1 ? colours.there : colours.high;
      pen.fill();
      pen.lineWidth = 2;
      pen.strokeStyle = colours.ink;
      pen.stroke();
      const words = `${off}${locked ? " locked" : ""}${i ? "" : " mm"}`; // the unit once
      pen.font = `600 ${text * 0.95}px ${FONT}`;
      const fit = Math.min(1, (apart * 0.94) / pen.measureText(words).width);
      write(pen, words, at[i][0], text * 0.7, text * 0.95 * fit, colours.ink);
    });
  }
}
