"""A needle that moved during the exposure: a fan about the pivot instead of a bar.

At distance u from the pivot the needle is smeared over u times the angle it swept, and as
much paler; in light (not display levels) the smear is even, so its middle is the needle at
the middle of the exposure. The angle swept is the one under which the fan fits best.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.dial_marks import sample
from vision.dial_needle import (
    Line,
    NeedleFit,
    NeedleLook,
    Strip,
    follow_line,
    line_points,
    needle_rows,
    scale_across,
    telling_axis,
)
from vision.dial_pose import Float, PlanePose
from vision.dial_profiles import linear, match

_ACROSS = 25
_TRIALS = 7


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


def scan_fan(
    image: NDArray[np.uint8],
    pose: PlanePose,
    look: NeedleLook,
    line: Line,
    blur_px: float,
    mark_light: float,
    smear_rad: float,
    u: Float,
) -> Strip:
    """Measure a needle swept over `smear_rad` about a line at places `u` (mm) along it."""
    scale = scale_across(pose, look, line[0], u)
    half = look.width_at(u) * scale
    smear = np.abs(u) * smear_rad * scale
    span = half + smear / 2 + 2.5 * blur_px + 2.5
    v_px = span[:, None] * np.linspace(-1.0, 1.0, _ACROSS)
    points = line_points(line[0], line[1], u[:, None], v_px / scale[:, None])
    pixels = pose.project(points.reshape(-1, 2), -look.height_mm).reshape(*v_px.shape, 2)
    axis = telling_axis(look.step)
    profiles = linear(sample(image, pixels)) @ (axis / float(look.step @ axis))
    shape, slope = smeared_bar(v_px, half[:, None], smear[:, None], blur_px)
    ramp = v_px / span[:, None]
    seen = match(profiles, np.stack([np.ones_like(v_px), ramp, shape, slope], axis=2))
    limit = half + smear / 2 + blur_px
    return Strip(
        u,
        np.clip(seen.offset_px, -limit, limit) / scale,
        seen.sigma_px / scale,
        seen.contrast / mark_light,
        seen.noise / mark_light,
        np.zeros_like(u),
        scale,
    )


def smear_trials(most_rad: float) -> Float:
    """Return the angles swept that are tried where up to `most_rad` are possible."""
    return np.asarray(most_rad * np.arange(1, _TRIALS + 1) / _TRIALS)


def fit_smeared(
    image: NDArray[np.uint8],
    pose: PlanePose,
    look: NeedleLook,
    angle_rad: float,
    blur_px: float,
    mark_light: float,
    most_rad: float,
) -> NeedleFit | None:
    """Fit a needle that swept up to `most_rad`; None where no fan fits.

    Each trial of the angle swept gets a line of its own. Too small a trial makes the outer rows
    paler than the inner ones, too large a one stronger: the right one makes all alike.
    """
    u = needle_rows(look)
    best: tuple[float, NeedleFit] | None = None
    for smear in smear_trials(most_rad):

        def scan(line: Line, smear: float = float(smear)) -> Strip:
            return scan_fan(image, pose, look, line, blur_px, mark_light, smear, u)

        fit = follow_line(scan, (angle_rad, 0.0), 3)
        if fit is None:
            continue
        noise = float(np.median(scan((fit.angle_rad, fit.miss_mm)).noise))
        if best is None or noise < best[0]:
            best = (noise, replace(fit, smear_rad=float(smear)))
    return None if best is None else best[1]
