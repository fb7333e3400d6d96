"""The needle: a bar of taught colour and width on a line through the pivot.

All places are in the needle's own plane (at its height above the scale), u along the needle
from the pivot, v across it. Its direction there is its direction on the scale.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from calibration.dials import TaughtDial
from readings.median import median
from vision.dial_marks import sample
from vision.dial_pose import Float, PlanePose
from vision.dial_profiles import Stripes, linear, match_stripe
from vision.dial_rows import colour_table, light_in_rows

_ROWS = 100  # along the needle's front in a fit
_ACROSS = 21
_CHROMA = 0.35  # share of colour in a needle that suffices to tell it by colour alone
_LEAST_ROWS = 12
_LEAST_STRENGTH = 0.25
_SETTLED_RAD = 2e-4  # a last step this small leaves a tenth of it: under 0.0005 division
_SETTLED_PX = 0.05
_LAGS = 12  # rows over which neighbours may err alike


@dataclass(frozen=True, slots=True, eq=False)
class NeedleLook:
    """What a needle looks like; lengths in mm, widths against u."""

    height_mm: float
    step: Float
    """(3,) linear BGR from face to needle, over the marks' contrast."""
    u_mm: Float
    half_width_mm: Float
    hub_mm: float
    rim_mm: float
    """Beyond this radius marks may be mixed up with the needle."""

    @property
    def tip_mm(self) -> float:
        """How far the needle reaches in front of the pivot."""
        return float(self.u_mm[self.half_width_mm > 0].max(initial=0.0))

    @property
    def tail_mm(self) -> float:
        """How far it reaches behind the pivot."""
        return float(-self.u_mm[self.half_width_mm > 0].min(initial=0.0))

    def width_at(self, u_mm: Float) -> Float:
        """Return half widths at places along the needle."""
        return np.asarray(np.interp(u_mm, self.u_mm, self.half_width_mm, left=0.0, right=0.0))


def telling_axis(step: Float) -> Float:
    """Return the unit colour axis that tells a needle of colour step `step` from all else.

    Without grey, so blind to ink and shadow, where the needle has colour enough.
    """
    chroma = step - step.mean()
    chosen = chroma if np.linalg.norm(chroma) > _CHROMA * np.linalg.norm(step) else step
    return np.asarray(chosen / np.linalg.norm(chosen))


@dataclass(frozen=True, slots=True, eq=False)
class NeedleFit:
    """A needle line and how well it fits."""

    angle_rad: float
    """Direction of the tip in the plane's frame."""
    sigma_rad: float
    miss_mm: float
    """Signed distance of the line from the pivot."""
    sigma_miss_mm: float
    strength: float
    """Contrast over the taught contrast: 1 in good light, less under glare or in a shadow."""
    front_share: float
    """Share of the front rows that fit the line as a needle."""
    tail_share: float
    scatter_px: float
    px_per_mm: float
    widening_px: float
    """By how much the tip's edges lie farther apart than taught: a sign of smear."""
    smear_rad: float = 0.0
    """Angle the needle swept during the exposure, where it was fitted."""

    @property
    def score(self) -> float:
        """What candidates are ranked by: length in sight times contrast."""
        return self.front_share * min(self.strength, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """What rows along a line say: places, offsets and sigmas in mm, strengths, noise, px/mm."""

    u_mm: Float
    offset_mm: Float
    sigma_mm: Float
    strength: Float
    noise: Float
    widen_px: Float
    px_per_mm: Float

    def part(self, first: int, count: int) -> "Strip":
        """Return `count` rows from the `first` on."""
        some = slice(first, first + count)
        return Strip(*(getattr(self, field.name)[some] for field in fields(self)))


BOTH_ENDS = np.array([[-1.0, 1.0]])

Line = tuple[float, float]
"""Direction (rad) and signed distance from the pivot (mm)."""


@dataclass(frozen=True, slots=True, eq=False)
class NeedleView:
    """One picture in which a needle is measured, about one settled pose."""

    image: NDArray[np.uint8]
    pose: PlanePose
    look: NeedleLook
    blur_px: float
    mark_light: float
    """The marks' contrast in this picture, by which the needle's is judged."""

    def light_in_rows(self, ends_mm: Float, count: int, weights: Float) -> Float:
        """Return light (n, count) along `weights` (BGR) between ends (n, 2, 2) of rows.

        Ends are places in the needle's plane.
        """
        ends_px = self.pose.project(ends_mm.reshape(-1, 2), -self.look.height_mm)
        light = light_in_rows(self.image, ends_px.reshape(-1, 2, 2), count, colour_table(weights))
        return light.astype(np.float64)

    def light(self, points_mm: Float) -> Float:
        """Return light (..., 3) at points (..., 2) of the needle's plane."""
        pixels = self.pose.project(points_mm.reshape(-1, 2), -self.look.height_mm)
        return linear(sample(self.image, pixels.reshape(points_mm.shape)))


def needle_look(dial: TaughtDial) -> NeedleLook:
    """Return the look of a taught dial's needle."""
    return NeedleLook(
        dial.needle_height_mm,
        dial.needle_step,
        dial.needle_reach_mm,
        dial.needle_half_width_mm,
        dial.hub_mm,
        float(np.max(dial.mark_inner_mm)),
    )


def needle_rows(look: NeedleLook) -> Float:
    """Return the places along the needle that a fit looks at: front first, then tail."""
    front = np.linspace(look.hub_mm, min(look.tip_mm, look.rim_mm), _ROWS)
    step = front[1] - front[0]
    tail = -np.arange(look.hub_mm, max(look.tail_mm, look.hub_mm), step)
    return np.concatenate([front, tail])


def line_points(
    angle_rad: float | Float, miss_mm: float | Float, u_mm: Float, v_mm: Float
) -> Float:
    """Return plane points (m, n, 2) at (u, v) about a line, or about a line a row (m, 1)."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    v = v_mm + miss_mm
    return np.stack([u_mm * c - v * s, u_mm * s + v * c], axis=-1)


def scale_across(pose: PlanePose, look: NeedleLook, angle_rad: float | Float, u_mm: Float) -> Float:
    """Return pixels per mm across the needle at each row, of one direction or one a row (n,).

    Rows are parallel in the plane; what matters is how far apart two lines along the needle
    are in the picture, measured at right angles to it.
    """
    places = np.stack([u_mm, u_mm + 1e-2, u_mm])
    aside = np.array([[0.0], [0.0], [1e-2]])
    points = line_points(angle_rad, 0.0, places, aside).reshape(-1, 2)
    base, along, across = pose.project(points, -look.height_mm).reshape(3, -1, 2)
    along, across = along - base, across - base
    area = np.abs(along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0])
    return np.asarray(area / np.linalg.norm(along, axis=1) * 1e2)


def scan_rows(view: NeedleView, line: Line, u_mm: Float) -> tuple[Stripes, Float]:
    """Measure the needle across at places along a line; also return pixels per mm there.

    Contrasts come in units of light along the needle's own colour step.
    """
    look, blur_px = view.look, view.blur_px
    scale = scale_across(view.pose, look, line[0], u_mm)
    half_px = look.width_at(u_mm) * scale
    span = half_px + 2.5 * blur_px + 2.5
    v_px = span[:, None] * np.linspace(-1.0, 1.0, _ACROSS)
    ends = line_points(*line, u_mm[:, None], (span / scale)[:, None] * BOTH_ENDS)
    weights = look.step / float(np.linalg.norm(look.step)) ** 2
    profiles = view.light_in_rows(ends, _ACROSS, weights)
    return match_stripe(v_px, profiles, half_px, blur_px), scale


def scan_strip(view: NeedleView, line: Line, u: Float) -> Strip:
    """Measure a needle about a line at places `u` (mm) along it."""
    seen, scale = scan_rows(view, line, u)
    limit = view.look.width_at(u) * scale + view.blur_px + 1.0
    return Strip(
        u,
        np.clip(seen.offset_px, -limit, limit) / scale,
        seen.sigma_px / scale,
        seen.contrast / view.mark_light,
        seen.noise / view.mark_light,
        seen.widen_px,
        scale,
    )


def _good_rows(strip: Strip) -> NDArray[np.bool_]:
    """Return the rows that look like the needle by strength and fit."""
    strong = (strip.strength > _LEAST_STRENGTH) & np.isfinite(strip.sigma_mm)
    if not np.any(strong):
        return strong
    noise = median(strip.noise[strong])
    return np.asarray(strong & (strip.noise < 3.0 * noise))


@dataclass(frozen=True, slots=True, eq=False)
class _LineFit:
    """Shift and slope of the rows' offsets, their covariance, and what each row said."""

    shift_slope: Float
    covariance: Float
    held: NDArray[np.bool_]


def _fit_line(strip: Strip, good: NDArray[np.bool_]) -> _LineFit:
    """Fit a line through the good rows' offsets with Tukey weights."""
    u, offset, own = strip.u_mm[good], strip.offset_mm[good], strip.sigma_mm[good]
    sigma = np.hypot(own, median(own))
    base = 1.0 / sigma**2
    products = np.stack([np.ones_like(u), u, u * u, offset, u * offset])
    share = np.ones_like(u)
    for _ in range(4):
        ones, along, square, first, second = (products @ (base * share)).tolist()
        ones, square = ones + 1e-12, square + 1e-12
        size = ones * square - along * along
        shift = (square * first - along * second) / size
        slope = (ones * second - along * first) / size
        scaled = (offset - shift - slope * u) / sigma
        away = np.abs(scaled)
        spread = max(0.7, 1.4826 * median(away))
        share = (1.0 - np.minimum(away / (4.0 * spread), 1.0) ** 2) ** 2
    held = good.copy()
    held[good] = share > 0.2
    spread = _correlated_spread(scaled[share > 0.2])
    covariance = np.array([[square, -along], [-along, ones]]) * (spread**2 / size)
    return _LineFit(np.array([shift, slope]), covariance, held)


def _correlated_spread(scaled: Float) -> float:
    """Return how much a mean of scaled residuals scatters beyond independent unit noise.

    Neighbouring rows share pixels, shadow and print, so they err alike: the sum of the
    autocorrelation over the first lags says by how much.
    """
    power = float(np.mean(scaled**2)) + 1e-12
    total = 1.0
    for lag in range(1, min(_LAGS, len(scaled) // 3)):
        together = float(np.mean(scaled[lag:] * scaled[:-lag])) / power
        if together < 0.05:
            break
        total += 2.0 * together
    return float(np.sqrt(max(power, 0.5) * total))


@dataclass(frozen=True, slots=True, eq=False)
class _Moved:
    """Where a strip's rows move the line that they were measured about."""

    line: Line
    slope: float
    shift_mm: float
    fit: _LineFit


def _moved(strip: Strip, line: Line) -> _Moved | None:
    good = _good_rows(strip)
    if good.sum() < _LEAST_ROWS:
        return None
    fit = _fit_line(strip, good)
    shift, slope = float(fit.shift_slope[0]), float(fit.shift_slope[1])
    return _Moved((line[0] + float(np.arctan(slope)), line[1] + shift), slope, shift, fit)


def move_line(strip: Strip, line: Line) -> Line | None:
    """Return the line moved onto what a strip about it says; None where nothing fits."""
    moved = _moved(strip, line)
    return None if moved is None else moved.line


def follow_line(
    scan: Callable[[Line], Strip], line: Line, rounds: int, settled_rad: float = _SETTLED_RAD
) -> NeedleFit | None:
    """Move a line onto the needle that `scan` measures about it; None where nothing fits.

    In so many rounds at most; a step of `settled_rad` or less is the last, and leaves a tenth.
    """
    for _ in range(rounds):
        strip = scan(line)
        moved = _moved(strip, line)
        if moved is None:
            return None
        line, fit = moved.line, moved.fit
        shift_px = moved.shift_mm * float(strip.px_per_mm[0])
        if abs(moved.slope) < settled_rad and abs(shift_px) < _SETTLED_PX:
            break
    front = strip.u_mm > 0
    used = fit.held & front
    if used.sum() < _LEAST_ROWS // 2:
        return None
    return _summary(strip, fit, line, used, front)


def _summary(
    strip: Strip,
    fit: _LineFit,
    line: Line,
    used: NDArray[np.bool_],
    front: NDArray[np.bool_],
) -> NeedleFit:
    rest = strip.offset_mm - fit.shift_slope[0] - fit.shift_slope[1] * strip.u_mm
    outer = used & (strip.u_mm > 0.6 * strip.u_mm.max())
    return NeedleFit(
        angle_rad=line[0],
        sigma_rad=float(np.sqrt(fit.covariance[1, 1])),
        miss_mm=line[1],
        sigma_miss_mm=float(np.sqrt(fit.covariance[0, 0])),
        strength=median(strip.strength[used]),
        front_share=float(used.sum() / front.sum()),
        tail_share=float((fit.held & ~front).sum() / max(1, int((~front).sum()))),
        scatter_px=1.4826 * median(np.abs(rest[used] * strip.px_per_mm[used])),
        px_per_mm=median(strip.px_per_mm),
        widening_px=median(strip.widen_px[outer]) if outer.any() else 0.0,
    )


def fit_needle(view: NeedleView, angle_rad: float, *, rounds: int = 4) -> NeedleFit | None:
    """Fit the needle as a free line from a first direction; None where nothing fits."""
    u = needle_rows(view.look)
    return follow_line(lambda line: scan_strip(view, line, u), (angle_rad, 0.0), rounds)
