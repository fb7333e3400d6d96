// Any typed key means next, where the step waits for one. Never a checklist line.

const NAMED_KEYS = new Set([
  "Enter", "PageUp", "PageDown", "ArrowUp", "ArrowDown", "ArrowLeft", "ArrowRight",
]);

// what a drawing that was reached by Tab does with keys itself
const OWN_KEYS = new Set(["Enter", " ", "ArrowUp", "ArrowDown", "ArrowLeft", "ArrowRight"]);

function isTyping(element) {
  return element instanceof HTMLElement
    && (element.isContentEditable || /^(INPUT|TEXTAREA|SELECT)$/.test(element.tagName));
}

// `waiting` says whether the step waits for a key; other keys are kept from the page's own
// shortcuts, and a pedal's must not scroll the step away; arrows may.
function captureKeys(waiting, next) {
  const listen = (event) => {
    const target = event.composedPath()[0];
    const plain = !event.ctrlKey && !event.metaKey && !event.altKey;
    const typed = event.key.length === 1 || NAMED_KEYS.has(event.key);
    if (!plain || !typed || isTyping(target)) return;
    if (!waiting() && event.key.startsWith("Arrow")) return;
    if (OWN_KEYS.has(event.key) && target.dataset && target.dataset.keys === "own") return;
    const press = event.key === "Enter" || event.key === " ";
    const button = target instanceof HTMLElement ? target.closest("button, a, summary") : null;
    event.stopImmediatePropagation();
    if (button && press && !button.classList.contains("line")) return;
    event.preventDefault();
    if (!event.repeat && waiting()) next();
  };
  window.addEventListener("keydown", listen, true);
  return () => window.removeEventListener("keydown", listen, true);
}
