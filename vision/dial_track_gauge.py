"""Measure a needle again and again about one pose: what depends on the pose is prepared once.

The same rows, profiles and fit as a first picture's. The shapes that profiles are fitted with
depend on the needle's width in the picture alone, so there is one table of them for all
directions; where the rows find theirs changes slowly with the direction and is kept.
"""

from dataclasses import dataclass, fields
from typing import cast

import numpy as np
from numpy.typing import NDArray

from vision.dial_needle import (
    BOTH_ENDS,
    Line,
    NeedleLook,
    Strip,
    line_points,
    needle_rows,
    scale_across,
)
from vision.dial_pose import Float
from vision.dial_profiles import StripeShapes, stripe_shapes
from vision.dial_rows import colour_table, light_in_rows
from vision.dial_scale import ScaleFit

_ACROSS = 21
_HALF_STEP_PX = 0.04  # of the table: no half width is off by more than half of it
_PLACES = 120
"""Directions over whose distance widths in the picture change by under a percent."""


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Rows of samples about one direction, and what their profiles are fitted with."""

    px_per_mm: Float
    half_px: Float
    span_mm: Float
    """(n, 1) half length of each row."""
    shapes: StripeShapes


def _span(half_px: Float, blur_px: float) -> Float:
    return half_px + 2.5 * blur_px + 2.5


class NeedleGauge:
    """Measures needles about one settled scale."""

    def __init__(self, scale: ScaleFit, look: NeedleLook) -> None:
        self._scale = scale
        self._look = look
        self._u_mm = needle_rows(look)
        self._table: StripeShapes | None = None
        self._kept: dict[int, _Rows] = {}
        step = look.step / float(np.linalg.norm(look.step)) ** 2
        self._light = colour_table(step)

    def scan(self, image: NDArray[np.uint8], line: Line, mark_light: float) -> Strip:
        """Measure the needle about a line, as `vision.dial_needle.scan_strip` at all rows."""
        rows = self._about(line[0])
        seen = rows.shapes.match(self._profiles(image, line, rows))
        limit = rows.half_px + self._scale.blur_px + 1.0
        return Strip(
            self._u_mm,
            np.clip(seen.offset_px, -limit, limit) / rows.px_per_mm,
            seen.sigma_px / rows.px_per_mm,
            seen.contrast / mark_light,
            seen.noise / mark_light,
            seen.widen_px,
            rows.px_per_mm,
        )

    def _about(self, angle_rad: float) -> _Rows:
        place = round(_PLACES * angle_rad / (2 * np.pi)) % _PLACES
        if place not in self._kept:
            self._kept[place] = self._rows(2 * np.pi * place / _PLACES)
        return self._kept[place]

    def _rows(self, angle_rad: float) -> _Rows:
        blur = self._scale.blur_px
        px_per_mm = scale_across(self._scale.pose, self._look, angle_rad, self._u_mm)
        half = self._look.width_at(self._u_mm) * px_per_mm
        place = np.rint(half / _HALF_STEP_PX).astype(np.intp)
        most = int(place.max())
        if self._table is None or most >= len(self._table.solve):
            self._table = self._shapes(int(1.3 * most) + 1)
        span = _span(np.asarray(place * _HALF_STEP_PX, dtype=np.float64), blur)
        return _Rows(px_per_mm, half, (span / px_per_mm)[:, None], self._table.take(place))

    def _shapes(self, count: int) -> StripeShapes:
        """Return the table of shapes for half widths of 0, 1, 2 ... steps, in single precision."""
        half = np.asarray(_HALF_STEP_PX * np.arange(count), dtype=np.float64)
        blur = self._scale.blur_px
        v_px = _span(half, blur)[:, None] * np.linspace(-1.0, 1.0, _ACROSS)
        shapes = stripe_shapes(v_px, half, blur)
        single = (getattr(shapes, one.name).astype(np.float32) for one in fields(shapes))
        return StripeShapes(*single)

    def _profiles(self, image: NDArray[np.uint8], line: Line, rows: _Rows) -> Float:
        """Return (n, _ACROSS) light along the needle's colour step, on straight rows."""
        ends = line_points(*line, self._u_mm[:, None], rows.span_mm * BOTH_ENDS)
        pixels = self._scale.pose.project(ends.reshape(-1, 2), -self._look.height_mm)
        light = light_in_rows(image, pixels.reshape(-1, 2, 2), _ACROSS, self._light)
        return cast("Float", light)  # in single precision, as the shapes are
