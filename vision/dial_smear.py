"""A needle that moved during the exposure: a fan about the pivot instead of a bar.

At distance u from the pivot the needle is smeared over u times the angle it swept, and as
much paler; in light (not display levels) the smear is even, so its middle is the needle at
the middle of the exposure. The angle swept is the one under which the fan fits best.
"""

from dataclasses import replace

import numpy as np
from scipy.special import ndtr

from vision.dial_needle import (
    Line,
    NeedleFit,
    NeedleView,
    Strip,
    follow_line,
    line_points,
    needle_rows,
    scale_across,
    telling_axis,
)
from vision.dial_pose import Float
from vision.dial_profiles import match
from vision.quick import median

_ACROSS = 25
_TRIALS = 7
_FEW = 4  # every so manieth row tells which smear fits
_SETTLED_RAD = 5e-4  # a last step this small leaves under 0.001 division


def _ramp(x: Float, blur_px: float) -> Float:
    """Return the integral of a blurred step at x = 0."""
    z = x / blur_px
    return np.asarray(x * ndtr(z) + blur_px * np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi))


def smeared_bar(
    v_px: Float, half_px: Float, smear_px: Float, blur_px: float
) -> tuple[Float, Float]:
    """Return a bar swept evenly over `smear_px` and its derivative to its middle's position."""
    s = np.maximum(smear_px, 0.02)
    ends = [v_px + a * half_px + b * s / 2 for a in (1, -1) for b in (1, -1)]
    shape = [_ramp(x, blur_px) for x in ends]
    slope = [ndtr(x / blur_px) for x in ends]
    bar = (shape[0] - shape[1] - shape[2] + shape[3]) / s
    return bar, -(slope[0] - slope[1] - slope[2] + slope[3]) / s


def scan_fan(view: NeedleView, line: Line, smear_rad: float, u: Float) -> Strip:
    """Measure a needle swept over `smear_rad` about a line at places `u` (mm) along it."""
    look, blur_px = view.look, view.blur_px
    scale = scale_across(view.pose, look, line[0], u)
    half = look.width_at(u) * scale
    smear = np.abs(u) * smear_rad * scale
    span = half + smear / 2 + 2.5 * blur_px + 2.5
    v_px = span[:, None] * np.linspace(-1.0, 1.0, _ACROSS)
    axis = telling_axis(look.step)
    light = view.light(line_points(*line, u[:, None], v_px / scale[:, None]))
    profiles = light @ (axis / float(look.step @ axis))
    shape, slope = smeared_bar(v_px, half[:, None], smear[:, None], blur_px)
    ramp = v_px / span[:, None]
    seen = match(profiles, np.stack([np.ones_like(v_px), ramp, shape, slope], axis=2))
    limit = half + smear / 2 + blur_px
    return Strip(
        u,
        np.clip(seen.offset_px, -limit, limit) / scale,
        seen.sigma_px / scale,
        seen.contrast / view.mark_light,
        seen.noise / view.mark_light,
        np.zeros_like(u),
        scale,
    )


def smear_trials(most_rad: float) -> Float:
    """Return the angles swept that are tried where up to `most_rad` are possible."""
    return np.asarray(most_rad * np.arange(1, _TRIALS + 1) / _TRIALS)


def _try_smear(view: NeedleView, smear_rad: float, start: Line) -> tuple[float, float, Line] | None:
    """Return noise, smear and line of the best fan of one smear, by few rows."""
    rows = needle_rows(view.look)[::_FEW]
    noise: list[float] = []

    def scan(line: Line) -> Strip:
        strip = scan_fan(view, line, smear_rad, rows)
        noise.append(median(strip.noise))
        return strip

    fit = follow_line(scan, start, 2)
    return None if fit is None else (noise[-1], smear_rad, (fit.angle_rad, fit.miss_mm))


def fit_smeared(view: NeedleView, start: Line, trials: Float, step_rad: float) -> NeedleFit | None:
    """Fit a needle that swept about one of the angles `trials` (rad); None where no fan fits.

    Each trial gets a line of its own. Too small a trial makes the outer rows paler than the inner
    ones, too large a one stronger: the right one makes all alike. Half of `step_rad` to both sides
    of the best is tried as well; all rows are measured about the best only.
    """
    found = [one for smear in trials.tolist() if (one := _try_smear(view, smear, start))]
    if not found:
        return None
    between = min(found)[1] + np.array([-step_rad / 2, step_rad / 2])
    found += [one for smear in between.tolist() if (one := _try_smear(view, smear, start))]
    _, smear, line = min(found)
    rows = needle_rows(view.look)
    fan = follow_line(lambda at: scan_fan(view, at, smear, rows), line, 3, settled_rad=_SETTLED_RAD)
    return None if fan is None else replace(fan, smear_rad=smear)
