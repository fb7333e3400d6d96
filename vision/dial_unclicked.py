"""Teaching photos without clicks: the scale is found by its marks, zero by the owner's reading.

The needle stands as many divisions beyond zero as the owner read. So zero is the mark that lies
as much behind the needle, and the needle must then stand where a whole number of marks fits.
Nothing here reads numerals: the owner is asked to confirm the mark.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from calibration.dial_sheet import DialSheet, TeachingPhoto
from readings import BadInputError, DialSight, frozen_array
from vision.dial_beat import Candidate
from vision.dial_cold import SHRINKS
from vision.dial_find import find_scale
from vision.dial_learn import first_look, settle_photo
from vision.dial_marks import ScaleLook, sample
from vision.dial_needle import telling_axis
from vision.dial_pose import Float, PlanePose
from vision.dial_profiles import linear
from vision.dial_rotation import detail, match_turn, unroll, view_radii
from vision.dial_scale import ScaleFit

_HEARD = 0.2  # coherence of marks worth a closer look
_ANGLES = 1440
_RINGS = np.linspace(0.14, 0.86, 37)  # of the scale's radius: where a needle is looked for
_SHADING = 61  # directions over which the face's own level is taken
_FULL = 0.8  # of the marks' contrast: a step that counts in full
_APART_RAD = np.deg2rad(12.0)
_ONE = 0.75  # share of the best needle's score from which a second one leaves doubt
_REACHES_RAD = np.deg2rad([5.0, 3.0])  # about a direction, where a needle's middle is sought
_LEAST_RINGS = 8
_OFF_PIVOT = 0.012  # of the radius: a line that misses the pivot by more is not all needle
_OFF_MARK = 0.25  # of a division: what reading by eye and needle may differ by
_ALIKE = 0.25  # correlation of two photos' numerals by which they can be compared


@dataclass(frozen=True, slots=True, eq=False)
class FoundZero:
    """What was taken as zero in a photo without clicks."""

    photo: TeachingPhoto
    image: NDArray[np.uint8]
    sight: DialSight


def _cannot(photo: TeachingPhoto, why: str) -> BadInputError:
    return BadInputError(
        f"{why} in {photo.file}: add clicks_px for it to dial.json (zero, quarter, half, "
        "three_quarters and pivot, in pixels)."
    )


def find_marks(
    gray: NDArray[np.uint8], sheet: DialSheet, camera: CameraModel, sign: float
) -> Candidate | None:
    """Return the most rhythmic scale of marks of one sign in a grey picture, None where none."""
    found: list[Candidate] = []
    for shrink in SHRINKS:
        found += find_scale(gray, camera, first_look(sheet, sign), shrink=shrink)[:1]
        if found and found[-1].coherence > 2 * _HEARD:
            break
    best = max(found, key=lambda one: one.coherence, default=None)
    return best if best is not None and best.coherence > _HEARD else None


def sign_of_marks(
    gray: NDArray[np.uint8], sheet: DialSheet, camera: CameraModel, *, free_camera: bool
) -> float:
    """Return +1 for bright marks, -1 for dark ones: of which more fit, rim included.

    The gaps between marks beat as well as the marks do, but they do not end at the rim.
    """
    merit = {}
    for sign in (-1.0, 1.0):
        found = find_marks(gray, sheet, camera, sign)
        look = first_look(sheet, sign)
        fit = settle_photo(gray, found.pose, look, free_camera=free_camera) if found else None
        merit[sign] = fit.fit.merit if fit else 0.0
    return max(merit, key=lambda sign: merit[sign])


def _steps(image: NDArray[np.uint8], scale: ScaleFit, sheet: DialSheet) -> Float:
    """Return (rings, directions, 3) how the light steps off the face, over the marks' contrast."""
    radius = sheet.scale_outer_diameter_mm / 2
    angle = 2 * np.pi * np.arange(_ANGLES) / _ANGLES
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    points = (radius * _RINGS[:, None, None] * ring).reshape(-1, 2)
    pixels = scale.pose.project(points, -sheet.needle_height_mm)
    light = linear(sample(image, pixels.reshape(len(_RINGS), _ANGLES, 2)))
    light = (light / max(scale.scan.light, 1e-6)).astype(np.float32)
    half = _SHADING // 2
    round_ = np.concatenate([light[:, -half:], light, light[:, :half]], axis=1)
    face = np.stack([_middle(round_[..., k], half) for k in range(3)], axis=-1)
    return np.asarray(cv2.blur(light - face, (3, 1)), dtype=np.float64)


def _middle(values: NDArray[np.float32], half: int) -> NDArray[np.float32]:
    """Return running medians along rows: a narrow needle does not move them."""
    windows = np.lib.stride_tricks.sliding_window_view(values, 2 * half + 1, axis=1)
    return np.asarray(np.median(windows[..., ::6], axis=-1), dtype=np.float32)


def needle_directions(steps: Float) -> list[tuple[float, float]]:
    """Return the two likeliest directions (rad) of a needle with their scores, the best first.

    A needle steps off the face alike all along its length; shadows less, print here and there.
    """
    size = np.linalg.norm(steps, axis=2, keepdims=True)
    bounded = steps * (np.minimum(size, _FULL) / (size + 1e-9))
    score = np.linalg.norm(bounded.mean(axis=0), axis=1)
    apart = int(_APART_RAD / (2 * np.pi) * _ANGLES)
    out = []
    for _ in range(2):
        best = int(np.argmax(score))
        out.append((2 * np.pi * best / _ANGLES, float(score[best])))
        score[np.arange(best - apart, best + apart + 1) % _ANGLES] = 0.0
    return out


def _middles(steps: Float, at: int, reach: int) -> tuple[Float, NDArray[np.bool_]]:
    """Return (rings,) how far beside a direction the needle's middle lies (of the radius)."""
    window = steps[:, np.arange(at - reach, at + reach + 1) % _ANGLES]
    core = np.median(window[:, reach - 1 : reach + 2], axis=(0, 1))
    axis = telling_axis(core)
    level = window @ axis
    full = float(np.quantile(level.max(axis=1), 0.7))
    weight = np.clip(level - 0.6 * full, 0.0, 0.3 * full)
    off = _RINGS[:, None] * np.tan(np.arange(-reach, reach + 1) * 2 * np.pi / _ANGLES)
    total = weight.sum(axis=1)
    return (weight * off).sum(axis=1) / np.maximum(total, 1e-9), total > 0.25 * full


def _sharpened(steps: Float, angle_rad: float) -> tuple[float, float]:
    """Return a needle's direction by a line through the middles of its width on every ring.

    Also how far that line misses the pivot, of the scale's radius.

    Only what has well over half of its contrast counts: its shadow has less.
    """
    slope, shift = 0.0, 0.0
    for reach_rad in _REACHES_RAD:
        at = round((angle_rad + slope) / (2 * np.pi) * _ANGLES)
        middle, held = _middles(steps, at, int(reach_rad / (2 * np.pi) * _ANGLES))
        angle_rad, slope, shift = at * 2 * np.pi / _ANGLES, 0.0, 1.0
        there = held
        for _ in range(5):
            if held.sum() < _LEAST_RINGS:
                break
            slope, shift = (float(one) for one in np.polyfit(_RINGS[held], middle[held], 1))
            rest = np.abs(middle - shift - slope * _RINGS)
            held = there & (rest < 3.0 * 1.4826 * float(np.median(rest[held])) + 1e-4)
    return angle_rad + float(np.arctan(slope)), abs(shift)


def _zero_turn(photo: TeachingPhoto, sheet: DialSheet, angle_rad: float) -> tuple[int, float]:
    """Return by how many marks zero lies from the pose's own, and what does not fit a mark."""
    rising = 1.0 if sheet.clockwise else -1.0
    marks = rising * angle_rad / (2 * np.pi) * sheet.marks_per_turn - photo.reading_divisions
    return round(marks), abs(marks - round(marks))


def locate_unclicked(
    image: NDArray[np.uint8],
    gray: NDArray[np.uint8],
    sheet: DialSheet,
    photo: TeachingPhoto,
    camera: CameraModel,
    look: ScaleLook,
    *,
    free_camera: bool,
) -> ScaleFit:
    """Return a photo's scale, turned to the mark that the owner's reading makes zero.

    Raises
    ------
    BadInputError
        If no scale, no needle or more than one needle is found, or the needle stands between
        the marks where the reading says it should not.
    """
    found = find_marks(gray, sheet, camera, look.sign)
    scale = settle_photo(gray, found.pose, look, free_camera=free_camera) if found else None
    if scale is None:
        raise _cannot(photo, f"I find no scale of {sheet.marks_per_turn} marks")
    steps = _steps(image, scale, sheet)
    (angle, best), (_, second) = needle_directions(steps)
    if second > _ONE * best:
        raise _cannot(photo, "I cannot tell which of two lines is the needle")
    angle, miss = _sharpened(steps, angle)
    if miss > _OFF_PIVOT:
        raise _cannot(photo, "I cannot make out the needle from its shadow or the print")
    turn, off = _zero_turn(photo, sheet, angle)
    if off > _OFF_MARK:
        raise _cannot(photo, f"No mark fits the reading {photo.reading_divisions:g}")
    rising = 1.0 if sheet.clockwise else -1.0
    pose = scale.pose.turned(rising * 2 * np.pi * turn / sheet.marks_per_turn)
    turned = settle_photo(gray, pose, look, free_camera=free_camera)
    if turned is None:
        raise _cannot(photo, f"I find no scale of {sheet.marks_per_turn} marks")
    return turned


def check_together(
    found: list[tuple[TeachingPhoto, NDArray[np.uint8], PlanePose]], look: ScaleLook, rising: float
) -> None:
    """Refuse photos whose numerals do not stand alike about the marks taken as zero.

    Raises
    ------
    BadInputError
        If the numerals of two photos clearly agree at another turn.
    """
    radii = view_radii(look.inner_mm, look.outer_mm)
    count = len(look.angle_rad)
    rings = [detail(unroll(gray, pose, radii, count, rising)) for _, gray, pose in found]
    for (photo, _, _), ring in zip(found[1:], rings[1:], strict=True):
        turn = match_turn(ring, rings[0])
        if turn.marks != 0 and turn.score > _ALIKE:
            off = turn.marks if turn.marks <= count / 2 else turn.marks - count
            msg = (
                f"The readings of {found[0][0].file.name} and {photo.file.name} make zero "
                f"{abs(off)} marks apart: check reading_divisions and clockwise in dial.json, or "
                "add clicks_px to both photos."
            )
            raise BadInputError(msg)


def zero_sight(pose: PlanePose, sheet: DialSheet, photo: TeachingPhoto) -> DialSight:
    """Return where scale, zero and needle were taken to be, for drawing."""
    radius = sheet.scale_outer_diameter_mm / 2
    circle = 2 * np.pi * np.arange(72) / 72
    outline = pose.project(radius * np.stack([np.cos(circle), np.sin(circle)], axis=1))
    rising = 1.0 if sheet.clockwise else -1.0
    angle = rising * 2 * np.pi * photo.reading_divisions / sheet.marks_per_turn
    way = radius * np.array([np.cos(angle), np.sin(angle)])
    needle = pose.project(np.array([-0.2 * way, 0.9 * way]), -sheet.needle_height_mm)
    pivot = pose.project(np.zeros((1, 2)), -sheet.needle_height_mm)[0]
    return DialSight(
        pivot_px=frozen_array(pivot),
        needle_px=frozen_array(needle),
        zero_px=frozen_array(outline[0]),
        outline_px=frozen_array(outline),
        face_radius_px=float(np.max(np.linalg.norm(outline - outline.mean(axis=0), axis=1))),
        marks_used=sheet.marks_per_turn,
        mark_scatter_px=0.0,
    )
