// The page's line to the dashboard: reconnects by itself, gives pictures and messages on.

const RECONNECT_MS = 400;

class Link {
  constructor(hear) {
    this.hear = hear; // {message(topic, body, shown), picture(header, jpeg), line(open)}
    this.waiting = new Map();
    this.number = 0;
    this.header = null;
    this.closed = false;
    this.open();
  }

  open() {
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    this.socket = new WebSocket(`${scheme}//${location.host}/live`);
    this.socket.binaryType = "arraybuffer";
    this.socket.onopen = () => this.hear.line(true);
    this.socket.onmessage = (event) => this.receive(event.data);
    this.socket.onclose = () => this.lost();
  }

  receive(data) {
    if (typeof data !== "string") {
      this.hear.picture(this.header, data);
      return;
    }
    const { topic, body, shown } = JSON.parse(data);
    if (topic === "preview") this.header = body;
    else if (topic === "answer") this.answered(body);
    else this.hear.message(topic, body, shown);
  }

  answered(body) {
    const resolve = this.waiting.get(body.id);
    this.waiting.delete(body.id);
    if (resolve) resolve(body);
  }

  lost() {
    this.hear.line(false);
    for (const resolve of this.waiting.values()) {
      resolve({ ok: false, said: "The line to the dashboard broke: look before trying again." });
    }
    this.waiting.clear();
    if (!this.closed) setTimeout(() => this.closed || this.open(), RECONNECT_MS);
  }

  seen(index) {
    if (this.socket.readyState === WebSocket.OPEN) {
      this.socket.send(JSON.stringify({ seen: index }));
    }
  }

  command(name, args = {}) {
    if (this.socket.readyState !== WebSocket.OPEN) {
      return Promise.resolve({ ok: false, said: "No line to the dashboard: nothing was done." });
    }
    const id = ++this.number;
    return new Promise((resolve) => {
      this.waiting.set(id, resolve);
      this.socket.send(JSON.stringify({ name, args, id }));
    });
  }

  close() {
    this.closed = true;
    this.socket.close();
  }
}
