"""What hands do at the bench when a headline is told, from its words alone."""

import re

_RULES = (
    (r"Top of the head (left|right)", lambda m: ("tilt", +1 if m[1] == "right" else -1, None)),
    (r"Top of the head to the (back|front)", lambda m: ("nod", +1 if m[1] == "back" else -1, None)),
    (r"Shim (\w+) (\w+): ([\d.]+) mm", lambda m: (f"shim-{m[1]}-{m[2]}", +1, float(m[3]))),
    (
        r"Slacken (\d), tighten (\d)",
        lambda m: ("jaws-1-3" if m[2] in "13" else "jaws-2-4", +1 if m[2] in "12" else -1, None),
    ),
    (
        r"Tap side (\d) in",
        lambda m: ("sides-1-3" if m[1] in "13" else "sides-2-4", +1 if m[1] in "12" else -1, None),
    ),
    (
        r"Far centre (up|down) ([\d.]+) mm",
        lambda m: ("height", +1 if m[1] == "up" else -1, float(m[2])),
    ),
    (
        r"Far centre to the (back|front)",
        lambda m: ("sideways", +1 if m[1] == "back" else -1, None),
    ),
    (
        r"Jack (\d) (up|down) ([\d.]+) turn",
        lambda m: (f"jack-{m[1]}", +1 if m[2] == "up" else -1, float(m[3])),
    ),
    (
        r"(Tighten|Slacken) the (front|back) jack ([\d.]+) turn",
        lambda m: (f"{m[2]}-jack", +1 if m[1] == "Tighten" else -1, float(m[3])),
    ),
)


def knob_told(headline):
    """Return (knob, way, amount in its unit or None where the needle tells); None for no knob."""
    for pattern, meant in _RULES:
        found = re.match(pattern, headline)
        if found:
            return meant(found)
    return None


def table_told(headline):
    """Return the slide and way that a headline names, None where it names none."""
    found = re.match(r"Table (right|left|to the back|to the front)", headline)
    ways = {
        "right": ("x", 1),
        "left": ("x", -1),
        "to the back": ("y", 1),
        "to the front": ("y", -1),
    }
    return ways[found[1]] if found else None
