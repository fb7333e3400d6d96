"""What teaching photos show of a scale: where the marks end, how wide they are, the numerals."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from calibration.dial_sheet import DialSheet, TeachingPhoto
from vision.dial_beat import pull
from vision.dial_cover import covered
from vision.dial_judge import judge_scale
from vision.dial_marks import ScaleLook, look_at_rings, sample, sample_sideways, sideways_basis
from vision.dial_needle import NeedleLook
from vision.dial_pose import Float, PlanePose, rotation_matrix
from vision.dial_profiles import match
from vision.dial_rotation import PER_MARK, even_out, view_radii
from vision.dial_scale import BLURS_PX, COARSE_BLUR_PX, ScaleFit, settle_best

_FIRST_INNER = 0.94  # share of the radius that the shortest marks surely reach inwards to
_FIRST_HALF_WIDTH = 0.11  # of the pitch
_ENOUGH = 0.6  # share of marks a teaching photo must show
_BRIGHTER = 0.3  # of the logarithm of a grey level, over the bare face's
_BLOB, _BLOB_ROWS = 0.018, 5  # what is wider than a stroke, of a turn and in rows
_AROUND = np.ones((5, 9), np.uint8)  # a reflection's surroundings, spoilt with it
_SHADE = 0.012  # of the ring's radius: how far beside a needle its shadow may lie
_CLICKS_NEAR = 0.08  # of the radius: how far clicks may lie from the mark ends they name


@dataclass(frozen=True, slots=True, eq=False)
class LearnedPhoto:
    """One teaching photo with its settled scale."""

    photo: TeachingPhoto
    image: NDArray[np.uint8]
    gray: NDArray[np.uint8]
    scale: ScaleFit


def first_look(sheet: DialSheet, sign: float) -> ScaleLook:
    """Return what is assumed of a scale's marks before any was seen."""
    count, outer = sheet.marks_per_turn, sheet.scale_outer_diameter_mm / 2
    rising = 1.0 if sheet.clockwise else -1.0
    width = _FIRST_HALF_WIDTH * 2 * np.pi * outer / count
    return ScaleLook(
        rising * 2 * np.pi * np.arange(count) / count,
        outer,
        np.full(count, _FIRST_INNER * outer),
        np.full(count, width),
        sign,
    )


def _rim_points(sheet: DialSheet) -> Float:
    rising = 1.0 if sheet.clockwise else -1.0
    angle = rising * np.pi / 2 * np.arange(4)
    return sheet.scale_outer_diameter_mm / 2 * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def poses_from_clicks(
    sheet: DialSheet, photo: TeachingPhoto, camera: CameraModel
) -> list[PlanePose]:
    """Return poses that the four clicked mark ends allow: square on, and both tilts."""
    assert photo.marks_px is not None
    rim = _rim_points(sheet)
    rays = camera.undistort(photo.marks_px)
    centre = rays.mean(axis=0)
    arms = rays - centre
    size = float(np.mean(np.linalg.norm(arms, axis=1)))
    cross = float(np.sum(rim[:, 0] * arms[:, 1] - rim[:, 1] * arms[:, 0]))
    turn = float(np.arctan2(cross, float(np.sum(rim * arms))))
    distance = sheet.scale_outer_diameter_mm / 2 / size
    flat = rotation_matrix(np.array([0.0, 0.0, turn]))
    out = [PlanePose(camera, flat, distance * np.append(centre, 1.0))]
    solid = np.column_stack([rim, np.zeros(4)])
    _, rotations, shifts, _ = cv2.solvePnPGeneric(
        solid, rays, np.eye(3), None, flags=cv2.SOLVEPNP_IPPE
    )
    for rotation, shift in zip(rotations, shifts, strict=True):
        facing = rotation_matrix(np.array(rotation, dtype=np.float64).ravel())
        place = np.array(shift, dtype=np.float64).ravel()
        if facing[:, 2] @ place > 0:  # seen from the front, not through the back
            out.append(PlanePose(camera, facing, place))
    return out


def _snap(pose: PlanePose, sheet: DialSheet, photo: TeachingPhoto) -> tuple[PlanePose, float]:
    """Return the pose turned by whole marks to agree with the clicks, and what is left (marks).

    Clicks that lie nowhere near the rim's quarters leave infinity.
    """
    assert photo.marks_px is not None
    clicked = pose.locate(photo.marks_px)
    rim = _rim_points(sheet)
    cross = np.sum(rim[:, 0] * clicked[:, 1] - rim[:, 1] * clicked[:, 0])
    turn = float(np.arctan2(cross, np.sum(rim * clicked)))
    marks = turn / (2 * np.pi) * sheet.marks_per_turn
    whole = round(marks)
    turned = pose.turned(2 * np.pi * whole / sheet.marks_per_turn)
    off = np.abs(turned.locate(photo.marks_px) - rim).max() / (sheet.scale_outer_diameter_mm / 2)
    return turned, abs(marks - whole) if off < _CLICKS_NEAR else float(np.inf)


def locate_photo(
    gray: NDArray[np.uint8],
    sheet: DialSheet,
    photo: TeachingPhoto,
    camera: CameraModel,
    look: ScaleLook,
) -> tuple[PlanePose, float]:
    """Return a teaching photo's rough pose, and how far its clicks lie from marks (marks)."""
    starts = poses_from_clicks(sheet, photo, camera)
    pulled = max((pull(gray, s, look, rounds=3) for s in starts), key=lambda c: c.coherence)
    return _snap(pulled.pose, sheet, photo)


def settle_photo(
    gray: NDArray[np.uint8], pose: PlanePose, look: ScaleLook, *, free_camera: bool
) -> ScaleFit | None:
    """Settle a teaching photo from a rough pose; None where too few marks agree."""
    fit = settle_best(gray, [pose, pose.mirrored()], look, free_camera=free_camera)
    good = fit is not None and fit.share >= _ENOUGH and judge_scale(fit) is None
    return fit if good else None


def _radial_contrast(one: LearnedPhoto, look: ScaleLook, radii: Float) -> Float:
    """Return (marks, rings) contrast of each mark against its gaps, over its own outer part."""
    count = len(look.angle_rad)
    pitch = 2 * np.pi / count
    lanes = np.array([-0.5, -0.42, -0.05, 0.0, 0.05, 0.42, 0.5]) * pitch
    angle = look.angle_rad[:, None] + lanes
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    points = ring[:, None] * radii[None, :, None, None]
    pixels = one.scale.pose.project(points.reshape(-1, 2)).reshape(*points.shape)
    values = sample(one.gray, pixels).astype(np.float64)
    contrast = look.sign * (values[..., 2:5].mean(-1) - values[..., [0, 1, 5, 6]].mean(-1))
    outer = (radii > 0.955 * look.outer_mm) & (radii < 0.985 * look.outer_mm)
    return np.asarray(contrast / np.maximum(contrast[:, outer].mean(axis=1, keepdims=True), 1e-6))


def learn_inner_ends(photos: list[LearnedPhoto], look: ScaleLook) -> Float:
    """Return (marks,) the radius of each mark's inner end: where its contrast halves."""
    radii = look.outer_mm * np.linspace(0.72, 0.985, 90)
    stack = np.array([_radial_contrast(one, look, radii) for one in photos])
    contrast = np.median(stack, axis=0)
    dark = contrast < 0.5
    last = np.where(dark.any(axis=1), dark.shape[1] - 1 - np.argmax(dark[:, ::-1], axis=1), 0)
    inner = radii[np.minimum(last + 1, len(radii) - 1)]
    inner = np.minimum(inner, float(np.quantile(inner, 0.9)))
    few = max(2, len(inner) // 25)
    return np.asarray(np.maximum(inner, float(np.sort(inner)[few - 1])), dtype=np.float64)


def learn_half_width(photos: list[LearnedPhoto], look: ScaleLook) -> float:
    """Return the marks' half width in mm: the one under which their profiles fit best.

    Each photo may be blurred as it likes; some fifty marks of each tell enough.
    """
    widths = look.pitch_mm * np.linspace(0.04, 0.26, 12)
    wide = replace(look, half_width_mm=np.full_like(look.half_width_mm, widths[-1]))
    every = max(1, len(look.angle_rad) // 50) * 2
    noise = np.zeros(len(widths))
    for one in photos:
        seen = sample_sideways(one.gray, one.scale.pose, wide, COARSE_BLUR_PX)
        some = np.arange(0, len(seen.half_px), every)
        v_px, half_px, profiles = seen.v_px[some], seen.half_px[some], seen.profiles[some]
        for i, width in enumerate(widths):
            half = half_px * (width / widths[-1])
            trials = (match(profiles, sideways_basis(v_px, half, b)) for b in BLURS_PX)
            noise[i] += min(float(np.median(trial.noise)) for trial in trials)
    return float(widths[int(np.argmin(noise))])


def _reflections(level: Float) -> NDArray[np.bool_]:
    """Return where a ring of log grey levels stands off its rows by more than strokes can.

    Strokes of numerals vanish in an opening wider than they are; what is left is a reflection.
    """
    off = np.abs(level - np.median(level, axis=1, keepdims=True))
    wide = (_BLOB_ROWS, int(_BLOB * level.shape[1]) | 1)
    blob = cv2.morphologyEx((off > _BRIGHTER).astype(np.uint8), cv2.MORPH_OPEN, np.ones(wide))
    return np.asarray(cv2.dilate(blob, _AROUND)) > 0


def _clear_ring(
    one: LearnedPhoto, look: ScaleLook, needle: NeedleLook, radii: Float, rising: float
) -> Float:
    """Return a photo's ring of numerals, NaN where its needle or a reflection hides them."""
    count = len(look.angle_rad)
    pose = one.scale.pose
    angle = rising * 2 * np.pi * np.arange(count * PER_MARK) / (count * PER_MARK)
    seen = look_at_rings(one.gray, pose.project_rings(radii, angle)).astype(np.float32)
    points = radii[:, None, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    pixels = pose.project(points.reshape(-1, 2))
    size_px = float(np.linalg.norm(pixels - pixels.mean(axis=0), axis=1).max())
    line = (rising * 2 * np.pi * one.photo.reading_divisions / count, 0.0)
    hidden = covered(pose, needle, line, pixels, _SHADE * size_px).reshape(seen.shape)
    hidden |= _reflections(np.log(seen + 4.0))
    seen = np.where(hidden, np.median(seen, axis=1, keepdims=True), seen)
    ring = even_out(seen)
    ring[hidden] = np.nan
    return np.asarray(ring / (np.nanstd(ring) + 1e-9))


def learn_view(
    photos: list[LearnedPhoto], look: ScaleLook, needle: NeedleLook, rising: float
) -> tuple[Float, Float]:
    """Return the taught view of the numerals (rows, columns) and its radii.

    What needle or reflection hide in one photo comes from the others; what they hide in all
    says nothing (0).
    """
    radii = view_radii(look.inner_mm, look.outer_mm)
    rings = np.array([_clear_ring(one, look, needle, radii, rising) for one in photos])
    view = np.zeros(rings.shape[1:])
    seen = ~np.isnan(rings).all(axis=0)
    view[seen] = np.nanmedian(rings[:, seen], axis=0)
    return view, radii
