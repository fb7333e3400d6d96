// What every drawing needs: a sharp canvas, the page's colours, text.

function fitCanvas(canvas) {
  const box = canvas.getBoundingClientRect();
  const ratio = window.devicePixelRatio || 1;
  const width = Math.max(1, Math.round(box.width * ratio));
  const height = Math.max(1, Math.round(box.height * ratio));
  if (canvas.width !== width || canvas.height !== height) {
    canvas.width = width;
    canvas.height = height;
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, box.width, box.height);
  return { pen, width: box.width, height: box.height };
}

// Read again only when the page's look changed: asking for computed style is not cheap.
function pageColours(root) {
  const look = `${root.className}|${root.style.cssText}`;
  if (!root.colours || root.colours.look !== look) {
    const style = getComputedStyle(root);
    const get = (name) => style.getPropertyValue(name).trim();
    root.colours = {
      look, ink: get("--ink"), paper: get("--paper"), faint: get("--faint"), panel: get("--panel"),
      low: get("--low"), high: get("--high"), there: get("--there"), accent: get("--accent"),
    };
  }
  return root.colours;
}

function scrollerOf(root) {
  return root.getRootNode().host?.closest(".stMain, [data-testid='stMain']") || null;
}

// From where it stands to the screen's lower edge, however far the page is scrolled.
function fillScreen(root, least) {
  const main = scrollerOf(root);
  const top = root.getBoundingClientRect().top + (main ? main.scrollTop : window.scrollY);
  const height = Math.max(least, window.innerHeight - Math.max(0, top) - 8);
  root.style.setProperty("--tall", `${height}px`);
}

function isDark(colour) {
  const probe = document.createElement("canvas").getContext("2d");
  probe.fillStyle = colour || "#ffffff";
  probe.fillRect(0, 0, 1, 1);
  const [r, g, b] = probe.getImageData(0, 0, 1, 1).data;
  return 0.2126 * r + 0.7152 * g + 0.0722 * b < 110;
}

function write(pen, text, x, y, size, colour, align = "center", weight = 600) {
  pen.font = `${weight} ${size}px ${FONT}`;
  pen.fillStyle = colour;
  pen.textAlign = align;
  pen.textBaseline = "middle";
  pen.fillText(text, x, y);
}

function circle(pen, x, y, radius) {
  pen.beginPath();
  pen.arc(x, y, radius, 0, 2 * Math.PI);
}

const FONT = '"Atkinson Hyperlegible", "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif';

// Angles of the work: from the right, anticlockwise seen from above; the screen's y runs down.
function fromAbove(cx, cy, radius, angle) {
  return [cx + radius * Math.cos(angle), cy - radius * Math.sin(angle)];
}

const SIDES = { right: 0, back: Math.PI / 2, left: Math.PI, front: 1.5 * Math.PI };
