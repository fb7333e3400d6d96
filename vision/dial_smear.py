"""A needle that moved during the exposure: a fan about the pivot instead of a bar.

At distance u from the pivot the needle is smeared over u times the angle it swept, and as
much paler; in light (not display levels) the smear is even, so its middle is the needle at
the middle of the exposure. The angle swept is the one under which the fan fits best.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from readings.median import median
from vision.dial_needle import (
    BOTH_ENDS,
    Line,
    NeedleFit,
    NeedleView,
    Strip,
    follow_line,
    line_points,
    move_line,
    needle_rows,
    scale_across,
    telling_axis,
)
from vision.dial_pose import Float
from vision.dial_profiles import match_even

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


def _scan_fans(view: NeedleView, lines: Float, smear_rad: Float, u: Float) -> Strip:
    """Measure needles swept about lines (n, 2) by angles (n,), one row each at places u (n,)."""
    look, blur_px = view.look, view.blur_px
    angle_rad, miss_mm = lines.T
    scale = scale_across(view.pose, look, angle_rad, u)
    half = look.width_at(u) * scale
    smear = np.abs(u) * smear_rad * scale
    span = half + smear / 2 + 2.5 * blur_px + 2.5
    v_px = span[:, None] * np.linspace(-1.0, 1.0, _ACROSS)
    aside = (span / scale)[:, None] * BOTH_ENDS
    ends = line_points(angle_rad[:, None], miss_mm[:, None], u[:, None], aside)
    axis = telling_axis(look.step)
    profiles = view.light_in_rows(ends, _ACROSS, axis / float(look.step @ axis))
    seen = match_even(v_px, profiles, *smeared_bar(v_px, half[:, None], smear[:, None], blur_px))
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


def scan_fan(view: NeedleView, line: Line, smear_rad: float, u: Float) -> Strip:
    """Measure a needle swept over `smear_rad` about a line at places `u` (mm) along it."""
    return _scan_fans(view, np.tile(line, (len(u), 1)), np.full(len(u), smear_rad), u)


def smear_trials(most_rad: float) -> Float:
    """Return the angles swept that are tried where up to `most_rad` are possible."""
    return np.asarray(most_rad * np.arange(1, _TRIALS + 1) / _TRIALS)


@dataclass(frozen=True, slots=True)
class _Trial:
    """One smear that was tried, the line it settled on, and the noise its fan left."""

    noise: float
    smear_rad: float
    line: Line


def _try_smears(view: NeedleView, smears: Float, start: Line, rounds: int) -> list[_Trial]:
    """Fit a fan of each smear by few rows, each with a line of its own, all in one go."""
    rows = needle_rows(view.look)[::_FEW]
    tried = [_Trial(np.inf, smear, start) for smear in smears.tolist()]
    for _ in range(rounds):
        if not tried:
            break
        lines = np.repeat([one.line for one in tried], len(rows), axis=0)
        smear = np.repeat([one.smear_rad for one in tried], len(rows))
        whole = _scan_fans(view, lines, smear, np.tile(rows, len(tried)))
        strips = [whole.part(k * len(rows), len(rows)) for k in range(len(tried))]
        tried = [
            _Trial(median(strip.noise), one.smear_rad, line)
            for one, strip in zip(tried, strips, strict=True)
            if (line := move_line(strip, one.line)) is not None
        ]
    return tried


def fit_smeared(view: NeedleView, start: Line, trials: Float, step_rad: float) -> NeedleFit | None:
    """Fit a needle that swept about one of the angles `trials` (rad); None where no fan fits.

    Each trial gets a line of its own. Too small a trial makes the outer rows paler than the inner
    ones, too large a one stronger: the right one makes all alike. Half of `step_rad` to both sides
    of the best is tried as well; all rows are measured about the best only.
    """
    found = _try_smears(view, trials, start, 2)
    if not found:
        return None
    best = min(found, key=_noise)
    between = best.smear_rad + np.array([-step_rad / 2, step_rad / 2])
    best = min([best, *_try_smears(view, between, best.line, 2)], key=_noise)
    rows, smear = needle_rows(view.look), best.smear_rad
    fan = follow_line(
        lambda at: scan_fan(view, at, smear, rows), best.line, 3, settled_rad=_SETTLED_RAD
    )
    return None if fan is None else replace(fan, smear_rad=smear)


def _noise(trial: _Trial) -> float:
    return trial.noise
