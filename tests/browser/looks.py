"""What a page must look like at any step, told by the page itself."""

from playwright.sync_api import TimeoutError

FIND = """(() => {
  const find = (node) => {
    const here = node.querySelector('.sh');
    if (here) return here;
    for (const one of node.querySelectorAll('*')) {
      const inside = one.shadowRoot && find(one.shadowRoot);
      if (inside) return inside;
    }
    return null;
  };
  return find(document.body);
})()"""

OVERFLOWS = (
    """() => {
  const sh = """
    + FIND
    + """;
  const inside = (box) => box.top >= -1 && box.left >= -1
    && box.bottom <= innerHeight + 1 && box.right <= innerWidth + 1;
  const bad = [];
  const left = sh.querySelector('.left');
  if (left.scrollHeight > left.clientHeight + 2) {
    bad.push(`left column scrolls by ${left.scrollHeight - left.clientHeight}`);
  }
  const edge = left.getBoundingClientRect().right + 1;
  for (const one of left.querySelectorAll('*')) {
    const box = one.getBoundingClientRect();
    if (box.width && box.right > edge) bad.push(one.className + ' beyond its column');
  }
  for (const name of ['headline', 'value', 'remaining', 'target', 'next', 'line', 'picture']) {
    for (const one of sh.querySelectorAll('.' + name)) {
      const box = one.getBoundingClientRect();
      if (box.width && !inside(box)) bad.push(name + ' beyond the screen');
    }
  }
  for (const one of sh.querySelectorAll('button')) {
    const box = one.getBoundingClientRect();
    if (box.width && !inside(box)) {
      const [left, top, right] = [box.left, box.top, box.right].map(Math.round);
      bad.push(`button ${one.textContent} at ${left}, ${top}, to ${right}`);
    }
    const cut = one.scrollWidth > one.clientWidth + 1 || one.scrollHeight > one.clientHeight + 1;
    if (box.width && cut) bad.push('cut: ' + one.textContent);
  }
  return bad;
}"""
)

SMALL = (
    """(least) => ["""
    + FIND
    + """].flatMap((sh) => [...sh.querySelectorAll('.line, .foot button')])
  .map((one) => [one.textContent, one.getBoundingClientRect()])
  .filter(([, box]) => box.width && Math.min(box.width, box.height) < least - 0.5)
  .map(([text, box]) => `${text} ${box.width} x ${box.height}`)"""
)


def choose(box, typed, name, tries=8):
    """Choose from a long list, which shows its first lines until something is typed.

    The page may draw itself anew meanwhile, which shuts the list: then once more.
    """
    option = box.page.get_by_role("option", name=name, exact=True)
    for _ in range(tries):
        box.click()
        box.fill(typed)
        try:
            option.click(timeout=4000)
        except TimeoutError:
            box.press("Escape")
        else:
            return
    raise AssertionError(f"the list never showed {name!r}")
