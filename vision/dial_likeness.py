"""Whether a line that fits can be the taught needle at all: its colour, and where it ends.

A wire or a scratch across the face may pass the pivot and be as dark and as thin as the needle,
but it goes on behind the needle's tail; another dial's needle has another colour.
"""

from dataclasses import replace

import numpy as np

from readings.median import median
from vision.dial_judge import MIN_TAIL
from vision.dial_needle import NeedleFit, NeedleView, line_points, scan_strip

_COLOUR = (
    0.92  # cosine between the colour steps seen and taught; other dials' needles: 0.86 to 0.91
)
_COLOUR_FRONT = 0.95  # where a tail was taught and is not seen
_EDGE = 1.4  # sides apart over the needle's own step: the edge of a reflection 2, faces to 0.9
_BEHIND = 0.7  # share of the rows behind the tail that look like a needle; faces: up to 0.46
_ROWS = 24
_GAP, _REACH, _LONGEST = 0.08, 0.62, 0.5  # of the radius: where those rows lie, and for which tails
_STRONG = 0.35
_BESIDE_PX = 1.5
_COLOUR_AT = (0.25, 0.6)  # of the radius


def contradicts(view: NeedleView, fit: NeedleFit, radius_mm: float) -> bool:
    """Return whether colour or length say that a fitted line is not the taught needle.

    `radius_mm` is that of the scale.
    """
    missing = view.look.tail_mm > view.look.hub_mm and fit.tail_share <= MIN_TAIL
    colour, edge = _colour_and_edge(view, fit, radius_mm)
    if colour < (_COLOUR_FRONT if missing else _COLOUR) or edge > _EDGE:
        return True
    return _behind(view, fit, radius_mm) > _BEHIND


def _colour_and_edge(view: NeedleView, fit: NeedleFit, radius_mm: float) -> tuple[float, float]:
    """Return what the steps of colour from the face to the line and across it say.

    The cosine between the step seen and the one taught; and by how much one side of the line is
    lighter than the other, over its step: the edge of a light patch is no bar.
    """
    u = np.linspace(*_COLOUR_AT, _ROWS + 1) * radius_mm
    clear_px = 2.5 * view.blur_px + _BESIDE_PX
    aside = view.look.width_at(u) + clear_px / fit.px_per_mm + u * fit.smear_rad / 2
    middle, left, right = (
        view.light(line_points(fit.angle_rad, fit.miss_mm, u, v)) for v in (0.0 * u, -aside, aside)
    )
    step = middle - (left + right) / 2
    seen = np.array([median(channel) for channel in step.T])
    length = float(np.linalg.norm(seen) * np.linalg.norm(view.look.step))
    along = view.look.step / float(np.linalg.norm(view.look.step))
    apart, bar = abs(median((left - right) @ along)), abs(float(seen @ along))
    return float(seen @ view.look.step) / max(length, 1e-9), apart / max(bar, 1e-9)


def _behind(view: NeedleView, fit: NeedleFit, radius_mm: float) -> float:
    """Return the share of rows behind the tail where the line goes on; 0 for long tails."""
    look = view.look
    if look.tail_mm > _LONGEST * radius_mm:
        return 0.0
    u = -np.linspace(look.tail_mm + _GAP * radius_mm, _REACH * radius_mm, _ROWS)
    half = median(look.half_width_mm[look.half_width_mm > 0])
    ends = np.array([-radius_mm, radius_mm])
    bar = replace(view, look=replace(look, u_mm=ends, half_width_mm=np.full(2, half)))
    strip = scan_strip(bar, (fit.angle_rad, fit.miss_mm), u)
    aside_px = np.abs(strip.offset_mm) * strip.px_per_mm
    near = aside_px < _BESIDE_PX + half * strip.px_per_mm / 2
    return float(np.mean((strip.strength > _STRONG) & near))
