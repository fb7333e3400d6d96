"""Accessibility as the browser itself sees it: names, contrast, focus order, headings."""

CONTROLS = {"button", "textbox", "combobox", "link", "checkbox", "radio", "spinbutton", "tab",
            "slider", "switch", "listbox", "option"}  # fmt: skip
NAMED_PICTURES = {"image", "img"}
LEAST_CONTRAST, LEAST_LARGE = 4.5, 3.0
"""WCAG 2.2, 1.4.3: text, and text of 24 px or more (or 18.7 px and bold); 1.4.11: icons."""


def tree(page):
    """Return (role, name, ignored, properties) of every node of the accessibility tree."""
    session = page.context.new_cdp_session(page)
    try:
        session.send("Accessibility.enable")
        nodes = session.send("Accessibility.getFullAXTree")["nodes"]
    finally:
        session.detach()
    return [
        (
            node.get("role", {}).get("value", ""),
            node.get("name", {}).get("value", "").strip(),
            {p["name"]: p["value"].get("value") for p in node.get("properties", [])},
        )
        for node in nodes
        if not node.get("ignored")
    ]


def without_names(page):
    """Return the roles of controls and pictures that nobody who hears the page can tell."""
    wanted = CONTROLS | NAMED_PICTURES
    return [role for role, name, _ in tree(page) if role in wanted and not name]


def headings(page):
    """Return the levels of the headings in their order."""
    return [props.get("level") for role, _, props in tree(page) if role == "heading"]


CONTRASTS = """(walk) => {
  const bad = [];
  const probe = document.createElement('canvas').getContext('2d', { willReadFrequently: true });
  const rgba = (colour) => {
    probe.clearRect(0, 0, 1, 1);
    probe.fillStyle = colour;
    probe.fillRect(0, 0, 1, 1);
    return [...probe.getImageData(0, 0, 1, 1).data];
  };
  const light = ([r, g, b]) => {
    const part = (v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4);
    return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  };
  const over = (top, below) => {
    const a = top[3] / 255;
    return [0, 1, 2].map((i) => top[i] * a + below[i] * (1 - a)).concat(255);
  };
  const parent = (node) => node.parentElement || (node.getRootNode().host ?? null);
  const behind = (element) => {
    const layers = [];
    for (let at = element; at; at = parent(at)) {
      const colour = rgba(getComputedStyle(at).backgroundColor);
      layers.push(colour);
      if (colour[3] === 255) break;
    }
    return layers.reverse().reduce((below, top) => over(top, below), [255, 255, 255, 255]);
  };
  const look = (root) => {
    for (const element of root.querySelectorAll('*')) {
      if (element.shadowRoot) look(element.shadowRoot);
      const own = [...element.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
      const box = element.getBoundingClientRect();
      if (!own || !box.width || !box.height || !element.checkVisibility({
        checkOpacity: true, checkVisibilityCSS: true })) continue;
      if (element.closest('[aria-hidden="true"], [disabled], script, style, svg')) continue;
      const style = getComputedStyle(element);
      const ground = behind(element);
      const ink = over(rgba(style.color), ground);
      const [one, other] = [light(ink), light(ground)].sort((a, b) => b - a);
      const contrast = (one + 0.05) / (other + 0.05);
      const size = parseFloat(style.fontSize);
      const icon = style.fontFamily.includes('Material Symbols')
        || element.textContent.trim().endsWith(' icon'); // named so by Streamlit's own parts
      const large = icon || size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
      if (contrast < (large ? walk.large : walk.small)) {
        bad.push(`${element.textContent.trim().slice(0, 40)}: ${contrast.toFixed(2)}`);
      }
    }
  };
  look(document.body);
  return bad;
}"""

FOCUSED = """() => {
  let at = document.activeElement;
  while (at && at.shadowRoot && at.shadowRoot.activeElement) at = at.shadowRoot.activeElement;
  if (!at || at === document.body) return null;
  const box = at.getBoundingClientRect();
  const style = getComputedStyle(at);
  const ring = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) > 0;
  return {
    name: (at.getAttribute('aria-label') || at.textContent || '').trim(), x: box.x, y: box.y,
    width: box.width, ring: ring || style.boxShadow !== 'none', tag: at.tagName,
    inside: Boolean(at.getRootNode().host), line: at.classList.contains('line'),
  };
}"""


def faint(page):
    """Return texts with too little contrast against what is behind them."""
    return page.evaluate(CONTRASTS, {"small": LEAST_CONTRAST, "large": LEAST_LARGE})


def tabbed(page, most=60):
    """Return what gets the focus, one press of Tab after another, until it comes round."""
    seen = []
    for _ in range(most):
        page.keyboard.press("Tab")
        at = page.evaluate(FOCUSED)
        if at is None or (seen and same(at, seen[0])):
            break
        seen.append(at)
    return seen


def same(one, other):
    return (one["name"], one["x"], one["y"]) == (other["name"], other["x"], other["y"])
