"""Hold a settled scale while its picture stands still, and notice when it does not.

Everything that depends on the pose alone is prepared once: where to sample, how to turn a
profile into an offset. Each new picture then costs a few look-ups: did the marks move, is the
dial covered, do the numerals still stand where they stood (a bezel turned by whole marks moves
nothing else)?
"""

from dataclasses import dataclass
from enum import Enum

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dials import TaughtDial
from readings import DialSight, frozen_array
from readings.median import median
from vision.dial_judge import pose_sigma_rad, reach_mm
from vision.dial_marks import ScaleLook, sample_sideways, sideways_basis
from vision.dial_needle import NeedleFit, NeedleLook
from vision.dial_needle_search import NeedleField, needle_field
from vision.dial_pose import Float, PlanePose, pose_jacobian
from vision.dial_profiles import linear
from vision.dial_rotation import PER_MARK, even_out, match_turn
from vision.dial_scale import ScaleFit
from vision.picture import Picture
from vision.quick import spread

_LANES = 2  # samples along each band of a mark
_STILL_PX = 0.12  # a motion of the marks under this is noise or too small to matter
_SURE = 4.0  # standard deviations beyond which a motion is real
_SEEN = 0.12  # share of marks still in place that says: the dial is there, but covered
_IN_PLACE = 0.7  # of the bands that look like marks: fewer in place, and the scale has moved
_ENOUGH = 0.40  # share of marks that must be in place to read
_NUMERALS = 0.55  # of the numerals' correlation when settled
_STAND = 0.8  # of their contrast over the marks' when settled: so clearly nothing turned
_NEAR_PX = 0.8  # a mark in place lies within this of where it lay
_OUTLINE = 72  # corners of the scale's outline
_SIGMAS = 24  # directions over which the pose's part of sigma hardly changes
_MOST_BANDS = 120  # of the marks are looked at: every so manieth where there are more
_RING_STEP = 2  # the numerals are looked at in every second row and column


class Stillness(Enum):
    """What became of a held scale in a new picture."""

    STILL = "still"
    MOVED = "moved"
    COVERED = "covered"
    LOST = "lost"


FixedMaps = tuple[NDArray[np.int16], NDArray[np.uint16]]
"""Where to sample, in whole pixels and 32nds, as `cv2.remap` takes it quickest."""


def fixed_maps(x_px: NDArray[np.float32], y_px: NDArray[np.float32]) -> FixedMaps:
    """Return maps of pixel columns and rows (m, n) in fixed point."""
    whole, part = cv2.convertMaps(x_px, y_px, cv2.CV_16SC2)
    return np.asarray(whole, dtype=np.int16), np.asarray(part, dtype=np.uint16)


def _maps(pixels: Float) -> FixedMaps:
    flat = pixels.reshape(len(pixels), -1, 2)
    return fixed_maps(flat[..., 0].astype(np.float32), flat[..., 1].astype(np.float32))


def look_up(image: NDArray[np.uint8], maps: FixedMaps) -> NDArray[np.uint8]:
    """Return bilinear samples of a picture at maps (m, n), a channel last where it has colour."""
    got = cv2.remap(image, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(got, dtype=np.uint8)


def _gray(image: NDArray[np.uint8], maps: FixedMaps) -> NDArray[np.uint8]:
    """Return grey samples of a colour picture: only what is looked at is turned grey."""
    return np.asarray(cv2.cvtColor(look_up(image, maps), cv2.COLOR_BGR2GRAY), dtype=np.uint8)


@dataclass(frozen=True, slots=True, eq=False)
class _MarkState:
    """Offsets (n,), contrasts and backgrounds of the bands in one picture."""

    offset_px: Float
    contrast: Float
    background: Float


class HeldScale:
    """A settled scale, prepared to be checked in picture after picture."""

    def __init__(
        self,
        scale: ScaleFit,
        dial: TaughtDial,
        look: ScaleLook,
        needle: NeedleLook,
        picture: Picture,
    ) -> None:
        self.scale = scale
        self.field: NeedleField = needle_field(scale.pose, needle)
        self._sign = look.sign
        self._start: tuple[TaughtDial, ScaleLook, Picture] | None = (dial, look, picture)

        circle = 2 * np.pi * np.arange(_OUTLINE) / _OUTLINE
        rim = dial.radius_mm * np.stack([np.cos(circle), np.sin(circle)], axis=1)
        self.outline_px: Float = frozen_array(scale.pose.project(rim))
        away = self.outline_px - self.outline_px.mean(axis=0)
        self._radius_px = float(np.max(np.linalg.norm(away, axis=1)))
        pivot = scale.pose.project(np.zeros((1, 2)), -dial.needle_height_mm)[0]
        self._pivot_px = frozen_array(pivot)
        self._dial = dial
        self._sigmas: dict[int, float] = {}

    def sight(self, needle: NeedleFit | None) -> DialSight:
        """Return where the scale, and a needle, are seen in the picture."""
        pose, dial, outline = self.scale.pose, self._dial, self.outline_px
        ends = np.full((2, 2), np.nan)
        if needle is not None:
            way = np.array([np.cos(needle.angle_rad), np.sin(needle.angle_rad)])
            aside = needle.miss_mm * np.array([-way[1], way[0]])
            reach = dial.needle_reach_mm[dial.needle_half_width_mm > 0]
            along = np.array([reach.min(initial=0.0), reach.max(initial=0.0)])
            ends = pose.project(aside + along[:, None] * way, -dial.needle_height_mm)
        return DialSight(
            pivot_px=self._pivot_px,
            needle_px=frozen_array(ends),
            zero_px=outline[0],
            outline_px=outline,
            face_radius_px=self._radius_px,
            marks_used=round(self.scale.share * dial.marks_per_turn),
            mark_scatter_px=self.scale.scatter_px,
        )

    def pose_sigma_rad(self, needle: NeedleFit) -> float:
        """Return the pose's part of a needle's sigma: one for all directions within 15 degrees."""
        place = round(_SIGMAS * needle.angle_rad / (2 * np.pi)) % _SIGMAS
        if place not in self._sigmas:
            dial = self._dial
            height, reach = dial.needle_height_mm, reach_mm(dial)
            self._sigmas[place] = pose_sigma_rad(self.scale, needle, height, reach)
        return self._sigmas[place]

    def _prepare(self) -> None:
        """Prepare the checks, once there is a second picture: a single one needs none."""
        if self._start is None:
            return
        dial, look, picture = self._start
        self._start = None
        self._prepare_marks(self.scale, look, picture.gray)
        self._prepare_ring(self.scale.pose, dial)
        self._first = self._marks(picture.image)
        ring = _gray(picture.image, self._ring_maps)
        self._numerals = self._correlation(ring)
        self._strength = self._over_marks(ring, self._first.contrast[self._used])

    def _prepare_marks(self, scale: ScaleFit, look: ScaleLook, gray: NDArray[np.uint8]) -> None:
        seen = sample_sideways(gray, scale.pose, look, scale.blur_px, lanes=_LANES)
        every = max(1, len(seen.points_mm) // _MOST_BANDS) | 1  # odd: both bands have their say
        some = slice(None, None, every)
        pixels, across = seen.pixels[some], seen.across[some]
        self._bands = len(pixels)
        self._mark_maps = _maps(pixels)
        self._shape = pixels.shape[:-1]
        basis = sideways_basis(seen.v_px[some], seen.half_px[some], scale.blur_px)
        self._turn = np.linalg.pinv(basis)
        self._slopes = pose_jacobian(scale.pose, seen.points_mm[some], across, 6)
        self._used = scale.scan.usable.ravel()[some]

    def _prepare_ring(self, pose: PlanePose, dial: TaughtDial) -> None:
        columns = dial.marks_per_turn * PER_MARK
        angle = dial.rising * 2 * np.pi * np.arange(0, columns, _RING_STEP) / columns
        ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        radii = dial.view_radius_mm[::_RING_STEP]
        points = (radii[:, None, None] * ring).reshape(-1, 2)
        pixels = pose.project(points).reshape(len(radii), len(angle), 2)
        self._ring_maps = _maps(pixels)
        view = dial.view[::_RING_STEP, ::_RING_STEP]
        self._view = view / (float(np.linalg.norm(view)) + 1e-12)
        self._shape_of_view = (self._view - self._view.mean()).ravel().astype(np.float32)
        self._per_mark = PER_MARK // _RING_STEP

    def _marks(self, image: NDArray[np.uint8]) -> _MarkState:
        profiles = _gray(image, self._mark_maps).reshape(self._shape).mean(axis=1)
        solved = np.einsum("nij,nj->ni", self._turn, profiles)
        contrast = np.where(np.abs(solved[:, 2]) < 1e-6, 1e-6, solved[:, 2])
        return _MarkState(solved[:, 3] / contrast, contrast * self._sign, solved[:, 0])

    def _over_marks(self, ring: NDArray[np.uint8], marks: Float) -> float:
        """Return the numerals' contrast where they are taught to stand, over the marks'."""
        seen = float(ring.ravel().astype(np.float32) @ self._shape_of_view)
        return seen / (median(marks) + 1e-6) if marks.size else 0.0

    def _correlation(self, seen: NDArray[np.uint8]) -> float:
        ring = even_out(seen.astype(np.float32))
        return float(np.sum(ring * self._view)) / (float(np.linalg.norm(ring)) + 1e-12)

    def _turned(self, seen: NDArray[np.uint8]) -> bool:
        """Return whether the numerals now fit another turn by whole marks better."""
        ring = even_out(seen.astype(np.float32))
        return match_turn(ring, self._view, self._per_mark).marks != 0

    def check(self, image: NDArray[np.uint8]) -> tuple[Stillness, float]:
        """Return what became of the scale in a colour picture, and its marks' light now."""
        self._prepare()
        now, then = self._marks(image), self._first
        ratio = now.contrast / np.maximum(then.contrast, 1e-6)
        alike = self._used & (ratio > 0.2) & (ratio < 4.0)
        moved = now.offset_px - then.offset_px
        near = alike & (np.abs(moved) < _NEAR_PX)
        share = float(near.sum()) / self._bands
        light = self._light(now, near)
        if share < _SEEN:
            return Stillness.LOST, light
        elsewhere = float(near.sum()) < _IN_PLACE * float(alike.sum())
        if elsewhere or self._shift_px(moved, near) > _STILL_PX:
            return Stillness.MOVED, light
        ring = _gray(image, self._ring_maps)
        if self._over_marks(ring, now.contrast[near]) < _STAND * self._strength:
            held = share / max(float(self._used.mean()), 1e-6)
            if self._correlation(ring) < _NUMERALS * self._numerals * min(1.0, held):
                return (Stillness.COVERED if not self._turned(ring) else Stillness.LOST), light
        return (Stillness.STILL if share >= _ENOUGH else Stillness.COVERED), light

    def _light(self, now: _MarkState, near: NDArray[np.bool_]) -> float:
        if not near.any():
            return self.scale.scan.light
        face = now.background[near]
        mark = face + self._sign * now.contrast[near]
        return median(np.abs(linear(mark) - linear(face)))

    def _shift_px(self, moved: Float, near: NDArray[np.bool_]) -> float:
        """Return how far the scale moved (rms of the marks, px) where that is beyond noise."""
        J, d = self._slopes[near], moved[near]
        apart = d - median(d)
        wide = spread(apart) + 1e-6
        share = (1.0 - np.minimum(np.abs(apart) / (4 * wide), 1.0) ** 2) ** 2
        normal = (J * share[:, None]).T @ J
        normal += 1e-6 * np.trace(normal) / 6 * np.eye(6)
        step = np.linalg.solve(normal, J.T @ (share * d))
        shift = float(np.sqrt(np.mean((J @ step) ** 2)))
        noise = wide * np.sqrt(6.0 / max(len(d), 6))
        return shift if shift > _SURE * noise else 0.0
