"""Whether a line that fits can be the taught needle at all: its colour, and where it ends.

A wire or a scratch across the face may pass the pivot and be as dark and as thin as the needle,
but it goes on behind the needle's tail; another dial's needle has another colour.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.dial_judge import MIN_TAIL
from vision.dial_marks import sample
from vision.dial_needle import NeedleFit, NeedleLook, line_points, scan_strip
from vision.dial_pose import Float, PlanePose
from vision.dial_profiles import linear
from vision.quick import median

_COLOUR = (
    0.92  # cosine between the colour steps seen and taught; other dials' needles: 0.86 to 0.91
)
_COLOUR_FRONT = 0.95  # where a tail was taught and is not seen
_BEHIND = 0.7  # share of the rows behind the tail that look like a needle; faces: up to 0.46
_ROWS = 24
_GAP, _REACH, _LONGEST = 0.08, 0.62, 0.5  # of the radius: where those rows lie, and for which tails
_STRONG = 0.35
_BESIDE_PX = 1.5
_COLOUR_AT = (0.25, 0.6)  # of the radius


@dataclass(frozen=True, slots=True, eq=False)
class NeedleView:
    """One picture of a needle's surroundings, about one settled pose."""

    image: NDArray[np.uint8]
    pose: PlanePose
    look: NeedleLook
    radius_mm: float
    blur_px: float
    mark_light: float

    def contradicts(self, fit: NeedleFit) -> bool:
        """Return whether colour or length say that a fitted line is not the taught needle."""
        missing = self.look.tail_mm > self.look.hub_mm and fit.tail_share <= MIN_TAIL
        alike = _COLOUR_FRONT if missing else _COLOUR
        return self.colour(fit) < alike or self.behind(fit) > _BEHIND

    def colour(self, fit: NeedleFit) -> float:
        """Return the cosine between the steps of colour from face to needle, seen and taught."""
        look = self.look
        u = np.linspace(*_COLOUR_AT, _ROWS + 1) * self.radius_mm
        clear_px = 2.5 * self.blur_px + _BESIDE_PX
        beside = look.width_at(u) + clear_px / fit.px_per_mm + u * fit.smear_rad / 2
        step = self._light(fit, u, 0.0 * u)
        step = step - (self._light(fit, u, beside) + self._light(fit, u, -beside)) / 2
        seen = np.array([median(channel) for channel in step.T])
        length = float(np.linalg.norm(seen) * np.linalg.norm(look.step))
        return float(seen @ look.step) / max(length, 1e-9)

    def _light(self, fit: NeedleFit, u: Float, v: Float) -> Float:
        points = line_points(fit.angle_rad, fit.miss_mm, u, v)
        return linear(sample(self.image, self.pose.project(points, -self.look.height_mm)))

    def behind(self, fit: NeedleFit) -> float:
        """Return the share of rows behind the tail where the line goes on; 0 for long tails."""
        look, radius = self.look, self.radius_mm
        if look.tail_mm > _LONGEST * radius:
            return 0.0
        u = -np.linspace(look.tail_mm + _GAP * radius, _REACH * radius, _ROWS)
        half = median(look.half_width_mm[look.half_width_mm > 0])
        bar = replace(look, u_mm=np.array([-radius, radius]), half_width_mm=np.full(2, half))
        line, blur = (fit.angle_rad, fit.miss_mm), self.blur_px
        strip = scan_strip(self.image, self.pose, bar, line, blur, self.mark_light, u)
        beside_px = np.abs(strip.offset_mm) * strip.px_per_mm
        near = beside_px < _BESIDE_PX + half * strip.px_per_mm / 2
        return float(np.mean((strip.strength > _STRONG) & near))
