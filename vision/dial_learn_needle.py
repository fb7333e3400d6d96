"""What teaching photos show of a needle: its colour against the face, its width, its reach."""

from dataclasses import dataclass

import numpy as np

from calibration.dial_sheet import DialSheet
from vision.dial_learn import LearnedPhoto
from vision.dial_marks import sample
from vision.dial_needle import line_points
from vision.dial_pose import Float
from vision.dial_profiles import linear

_FIRST_HUB = 0.12  # of the scale's radius
_REACH = (-0.6, 1.02)
_STEPS = 163
_SIDE = 0.14  # how far across the strip looks, of the radius
_ACROSS = 81
_CHROMA = 0.35  # a needle with this share of colour is told from ink and shadow by colour alone


@dataclass(frozen=True, slots=True, eq=False)
class LearnedNeedle:
    """The needle's colour step, width against reach, and hub."""

    colour: Float
    contrast: float
    u_mm: Float
    half_width_mm: Float
    hub_mm: float


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


def _axis(step: Float) -> Float:
    """Return the direction to measure along: without grey, so without ink and shadow, if it can."""
    chroma = step - step.mean()
    chosen = chroma if np.linalg.norm(chroma) > _CHROMA * np.linalg.norm(step) else step
    return np.asarray(chosen / np.linalg.norm(chosen))


def _recentre(strip: Float, u: Float, v: Float, axis: Float, line: _Line, radius: float) -> None:
    """Move a line onto the centroids of the needle's rows, robustly."""
    rows = (u > 0.2 * radius) & (u < 0.75 * radius)
    near = np.abs(v) < 0.09 * radius
    weight = np.clip(strip[rows][:, near] @ axis, 0.0, None)
    weight = np.where(weight > 0.4 * weight.max(axis=1, keepdims=True), weight, 0.0)
    centre = (weight * v[near]).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9)
    A = np.stack([np.ones(int(rows.sum())), u[rows]], axis=1)
    keep = np.ones(len(A), dtype=bool)
    solved = np.zeros(2)
    for _ in range(5):
        solved = np.linalg.lstsq(A[keep], centre[keep], rcond=None)[0]
        rest = np.abs(centre - A @ solved)
        keep = rest < max(2.5 * 1.4826 * float(np.median(rest)), 1e-3 * radius)
    line.miss_mm += float(solved[0])
    line.angle_rad += float(np.arctan(solved[1]))


def _widths(strip: Float, v: Float, axis: Float, radius: float) -> tuple[Float, float]:
    """Return (u,) half widths by area over full contrast, and that contrast."""
    near = np.abs(v) < 0.07 * radius
    step = strip[:, near] @ axis
    edge = np.concatenate([step[:, :4], step[:, -4:]], axis=1).mean(axis=1, keepdims=True)
    step = step - edge
    peak = np.sort(step, axis=1)[:, -3:].mean(axis=1)
    full = float(np.quantile(peak, 0.8))
    inner = np.abs(v[near]) < 0.055 * radius
    area = np.clip(step[:, inner], 0.0, None)
    area = np.where(area > 0.12 * full, area, 0.0).sum(axis=1) * (v[1] - v[0])
    return area / (2 * full), full


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


def learn_needle(photos: list[LearnedPhoto], sheet: DialSheet) -> LearnedNeedle:
    """Learn the needle from photos whose owner read it to a fraction of a division."""
    radius = sheet.scale_outer_diameter_mm / 2
    u = radius * np.linspace(*_REACH, _STEPS)
    v = radius * np.linspace(-_SIDE, _SIDE, _ACROSS)
    rising = 1.0 if sheet.clockwise else -1.0
    per_division = rising * 2 * np.pi / sheet.marks_per_turn
    lines = [_Line(one.photo.reading_divisions * per_division) for one in photos]
    for _ in range(3):
        strips = [_strip(one, sheet, line, u, v) for one, line in zip(photos, lines, strict=True)]
        axis = _axis(_colour(strips, u, v, radius))
        for strip, line in zip(strips, lines, strict=True):
            _recentre(strip, u, v, axis, line, radius)
    strips = [_strip(one, sheet, line, u, v) for one, line in zip(photos, lines, strict=True)]
    axis = _axis(_colour(strips, u, v, radius))
    learned = [_widths(strip, v, axis, radius) for strip in strips]
    half = np.median([width for width, _ in learned], axis=0)
    contrast = float(np.median([full for _, full in learned]))
    return LearnedNeedle(axis, contrast, u, _reach(half, u, radius), _FIRST_HUB * radius)
