"""What teaching photos show of a needle: its colour against the face, its width, its reach."""

from dataclasses import dataclass, replace

import numpy as np

from calibration.dial_sheet import DialSheet
from readings import BadInputError
from vision.dial_learn import LearnedPhoto
from vision.dial_marks import sample
from vision.dial_needle import NeedleLook, NeedleView, line_points, scan_rows, telling_axis
from vision.dial_pose import Float
from vision.dial_profiles import linear

_FIRST_HUB = 0.12  # of the scale's radius
_REACH = (-0.6, 1.02)
_STEPS = 163
_SIDE = 0.14  # how far across the strip looks, of the radius
_ACROSS = 81
_REACHES = (0.09, 0.06, 0.045, 0.045)  # of the radius: how far the needle is looked for, in turn
_SEEN = 0.5  # share of the needle's front that must show its contrast


@dataclass(slots=True)
class _Line:
    angle_rad: float
    miss_mm: float = 0.0


def _strip(one: LearnedPhoto, sheet: DialSheet, line: _Line, u: Float, v: Float) -> Float:
    """Return light (u, v, 3) above the face's, over the marks' contrast, along a line."""
    points = line_points(
        line.angle_rad, line.miss_mm, u[:, None], np.broadcast_to(v, (len(u), len(v)))
    )
    pixels = one.scale.pose.project(points.reshape(-1, 2), -sheet.needle_height_mm)
    light = linear(sample(one.image, pixels.reshape(*points.shape)))
    side = np.abs(v) > 0.6 * v.max()
    face = np.median(light[:, side], axis=1)
    return np.asarray((light - face[:, None]) / one.scale.scan.light)


def _colour(strips: list[Float], u: Float, v: Float, radius: float) -> Float:
    """Return the (3,) mean step from face to needle where the needle is surely wide."""
    rows = (u > 0.2 * radius) & (u < 0.6 * radius)
    core = np.abs(v) < 0.012 * radius
    return np.median([np.median(s[rows][:, core], axis=(0, 1)) for s in strips], axis=0)


def _recentre(
    strip: Float, u: Float, v: Float, axis: Float, line: _Line, radius: float, reach: float
) -> None:
    """Move a line onto the centroids of the needle's rows within `reach` (of the radius).

    Only what has over half of the needle's contrast counts: its shadow has less.
    """
    rows = (u > 0.2 * radius) & (u < 0.75 * radius)
    near = np.abs(v) < reach * radius
    level = strip[rows][:, near] @ axis
    full = float(np.quantile(np.sort(level, axis=1)[:, -3:].mean(axis=1), 0.8))
    weight = np.clip(level - 0.5 * full, 0.0, None)
    there = weight.sum(axis=1) > 0.2 * full
    if there.sum() < 10:
        return
    centre = (weight * v[near]).sum(axis=1)[there] / weight.sum(axis=1)[there]
    _follow(line, u[rows][there], centre)


def _widths(strip: Float, v: Float, axis: Float, radius: float) -> Float:
    """Return (u,) rough half widths by area over full contrast."""
    level = strip @ axis
    middle = len(v) // 2
    peak = np.sort(level[:, np.abs(v) < 0.03 * radius], axis=1)[:, -3:].mean(axis=1)
    full = float(np.quantile(peak, 0.8))
    there = level > 0.3 * full
    right = np.minimum.accumulate(there[:, middle:], axis=1)
    left = np.minimum.accumulate(there[:, middle::-1], axis=1)[:, ::-1]
    whole = np.concatenate([left[:, :-1], right], axis=1)
    area = np.where(whole, level, 0.0).sum(axis=1) * (v[1] - v[0])
    return np.asarray(area / (2 * full))


def _reach(half: Float, u: Float, radius: float) -> Float:
    """Return widths set to 0 beyond the tip and the tail: where the needle first ends."""
    thin = half < 0.25 * float(np.median(half[(u > 0.25 * radius) & (u < 0.6 * radius)]))
    out = half.copy()
    for way in (1, -1):
        gone = thin & (way * u > (0.45 if way > 0 else 0.12) * radius)
        run = gone & np.roll(gone, -way) & np.roll(gone, -2 * way)
        if run.any():
            limit = float(np.min(way * u[run]))
            out[way * u >= limit] = 0.0
    return out


def _view(one: LearnedPhoto, look: NeedleLook) -> NeedleView:
    scale = one.scale
    return NeedleView(one.image, scale.pose, look, scale.blur_px, scale.scan.light)


def _refine(
    photos: list[LearnedPhoto], lines: list[_Line], look: NeedleLook, radius: float
) -> NeedleLook:
    """Return the look with its widths set by where both edges really are, over all photos."""
    u = look.u_mm
    for _ in range(4):
        halves = []
        for one, line in zip(photos, lines, strict=True):
            at = (line.angle_rad, line.miss_mm)
            seen, scale = scan_rows(_view(one, look), at, u)
            halves.append(look.half_width_mm + seen.widen_px / scale)
            good = (u > 0.15 * radius) & (look.half_width_mm > 0) & (u < look.rim_mm)
            _follow(line, u[good], (seen.offset_px / scale)[good])
        half = np.median(halves, axis=0)
        half = np.where(look.half_width_mm > 0, np.maximum(half, 1e-3 * radius), 0.0)
        look = replace(look, half_width_mm=_smoothed(half))
    return look


def _follow(line: _Line, u: Float, offset: Float) -> None:
    """Move a line along offsets at places u, leaving out what does not follow."""
    A = np.stack([np.ones(len(u)), u], axis=1)
    keep = np.ones(len(u), dtype=bool)
    solved = np.zeros(2)
    for _ in range(5):
        solved = np.asarray(np.linalg.lstsq(A[keep], offset[keep], rcond=None)[0], np.float64)
        rest = np.abs(offset - A @ solved)
        keep = rest <= 3.0 * 1.4826 * float(np.median(rest)) + 1e-9
    line.miss_mm += float(solved[0])
    line.angle_rad += float(np.arctan(solved[1]))


def _smoothed(half: Float) -> Float:
    """Return widths freed of single rows that numerals or dirt spoiled."""
    reach = 3
    padded = np.pad(half, reach, mode="edge")
    window = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    return np.where(half > 0, np.median(window, axis=1), 0.0)


def learn_needle(photos: list[LearnedPhoto], sheet: DialSheet, rim_mm: float) -> NeedleLook:
    """Learn the needle from photos whose owner read it to a fraction of a division.

    `rim_mm` is where the marks begin.
    """
    radius = sheet.scale_outer_diameter_mm / 2
    u = radius * np.linspace(*_REACH, _STEPS)
    v = radius * np.linspace(-_SIDE, _SIDE, _ACROSS)
    rising = 1.0 if sheet.clockwise else -1.0
    per_division = rising * 2 * np.pi / sheet.marks_per_turn
    lines = [_Line(one.photo.reading_divisions * per_division) for one in photos]
    step = np.ones(3)
    for reach in _REACHES:
        strips = [_strip(one, sheet, line, u, v) for one, line in zip(photos, lines, strict=True)]
        step = _colour(strips, u, v, radius)
        if not np.linalg.norm(step) > 0:  # nothing stands out from the face, or it is not a number
            raise _no_needle(photos[0])
        for strip, line in zip(strips, lines, strict=True):
            _recentre(strip, u, v, telling_axis(step), line, radius, reach)
    strips = [_strip(one, sheet, line, u, v) for one, line in zip(photos, lines, strict=True)]
    step = _colour(strips, u, v, radius)
    half = np.median([_widths(strip, v, telling_axis(step), radius) for strip in strips], axis=0)
    hub = _FIRST_HUB * radius
    look = NeedleLook(sheet.needle_height_mm, step, u, _reach(half, u, radius), hub, rim_mm)
    look = _refine(photos, lines, look, radius)
    for one, line in zip(photos, lines, strict=True):
        _check_needle(one, line, look)
    return look


def _check_needle(one: LearnedPhoto, line: _Line, look: NeedleLook) -> None:
    """Refuse a photo in which no needle of the learned look lies where the owner read it."""
    u = look.u_mm[(look.u_mm > look.hub_mm) & (look.u_mm < min(look.tip_mm, look.rim_mm))]
    if not len(u):
        raise _no_needle(one)
    seen, _ = scan_rows(_view(one, look), (line.angle_rad, line.miss_mm), u)
    if np.mean(seen.contrast > 0.4 * one.scale.scan.light) < _SEEN:
        raise _no_needle(one)


def _no_needle(one: LearnedPhoto) -> BadInputError:
    return BadInputError(
        f"I cannot make out the needle at {one.photo.reading_divisions:g} divisions in "
        f"{one.photo.file}: check the reading, and which marks were clicked or taken as zero, or "
        "take the photo in softer light."
    )
