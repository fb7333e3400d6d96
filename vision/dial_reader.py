"""Read a taught dial: a picture becomes a reading, or is refused with its reason."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from calibration.dials import TaughtDial
from readings import DialSight, Frame, Reading, frozen_array
from vision.dial_find import find_scale
from vision.dial_judge import (
    SMEARED_PX,
    judge_needle,
    judge_scale,
    judge_turn,
    sigma_divisions,
)
from vision.dial_marks import scale_look
from vision.dial_needle import NeedleFit, fit_needle, needle_look
from vision.dial_needle_search import candidates, likeness, needle_field
from vision.dial_pose import PlanePose, guessed_camera
from vision.dial_rotation import match_turn, unroll
from vision.dial_smear import fit_smeared
from vision.dial_scale import ScaleFit, settle, settle_best

_BLACK = 6  # a picture whose brightest percent is under this grey level carries no light
_HEARD = 0.2  # coherence worth a closer look
_SHRINKS = (2, 1, 4)
_WORTH = 0.6  # needle candidates whose likeness is within this share of the best are fitted
_MOST_SMEAR = 4.0  # divisions a needle may sweep during an exposure


@dataclass(frozen=True, slots=True, eq=False)
class _Refusal(Exception):
    flag: str
    sight: DialSight | None = None


class DialReader:
    """Reads one taught dial, picture after picture.

    Keeps the last pose: while the picture of the scale is still, the next read only looks at
    the needle and checks that nothing moved.
    """

    def __init__(self, dial: TaughtDial, camera: CameraModel | None = None) -> None:
        self._dial = dial
        self._camera = camera
        self._look = scale_look(dial)
        self._needle = needle_look(dial)

    def reset(self) -> None:
        """Forget the last pose."""

    def read(self, frame: Frame) -> Reading:
        """Return what one picture says."""
        try:
            return self._read(frame)
        except _Refusal as refusal:
            return Reading("refused", frame.t_s, flags=(refusal.flag,), sight=refusal.sight)

    def _read(self, frame: Frame) -> Reading:
        image = frame.image
        if image is None:
            raise _Refusal(frame.flags[0] if frame.flags else "unreadable file")
        height, width = image.shape[:2]
        if self._camera is not None and (width, height) != self._camera.size:
            raise _Refusal("wrong size")
        gray = np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
        if np.quantile(gray[::8, ::8], 0.99) < _BLACK:
            raise _Refusal("black picture")
        scale = self._find(gray)
        needle = self._find_needle(image, scale)
        return self._judge(frame, scale, needle)

    def _find(self, gray: NDArray[np.uint8]) -> ScaleFit:
        """Find the scale anywhere and turn it to its zero."""
        height, width = gray.shape
        camera = self._camera or guessed_camera(width, height)
        flag = "no dial"
        for shrink in _SHRINKS:
            for candidate in find_scale(gray, camera, self._look, shrink=shrink)[:1]:
                if candidate.coherence < _HEARD:
                    continue
                scale = self._settle(gray, candidate.pose)
                bad = judge_scale(scale)
                if scale is not None and bad is None:
                    return self._turn(gray, scale)
                flag = bad or flag
        raise _Refusal(flag)

    def _settle(self, gray: NDArray[np.uint8], pose: PlanePose) -> ScaleFit | None:
        """Settle a rough pose and its mirrored tilt; the better of the two."""
        starts = [pose, pose.mirrored()]
        return settle_best(gray, starts, self._look, free_camera=self._camera is None)

    def _turn(self, gray: NDArray[np.uint8], scale: ScaleFit) -> ScaleFit:
        dial = self._dial
        ring = unroll(gray, scale.pose, dial.view_radius_mm, dial.marks_per_turn, dial.rising)
        turn = match_turn(ring, dial.view)
        flag = judge_turn(turn)
        if flag is not None:
            raise _Refusal(flag)
        pose = scale.pose.turned(dial.rising * 2 * np.pi * turn.marks / dial.marks_per_turn)
        free = self._camera is None
        settled = settle(gray, pose, self._look, free_camera=free, blur_px=scale.blur_px, rounds=1)
        if settled is None:
            raise _Refusal("scale hidden")
        return settled

    def _find_needle(self, image: NDArray[np.uint8], scale: ScaleFit) -> NeedleFit | None:
        field = needle_field(scale.pose, self._needle)
        light, blur = scale.scan.light, scale.blur_px
        found = candidates(likeness(image, field, light), field)
        worth = [angle for angle, score in found if score > _WORTH * found[0][1]]
        fits = [
            fit
            for angle in worth
            if (fit := fit_needle(image, scale.pose, self._needle, angle, blur, light))
        ]
        best = max(fits, key=lambda fit: fit.score, default=None)
        still = best is not None and judge_needle(best, self._dial) is None
        if still and best is not None and best.widening_px < SMEARED_PX:
            return best
        most = _MOST_SMEAR * 2 * np.pi / self._dial.marks_per_turn
        start = best.angle_rad if still and best is not None else worth[0]
        fan = fit_smeared(image, scale.pose, self._needle, start, blur, light, most)
        return fan if fan is not None and judge_needle(fan, self._dial) is None else best

    def _judge(self, frame: Frame, scale: ScaleFit, needle: NeedleFit | None) -> Reading:
        dial = self._dial
        sight = _sight(dial, scale, needle)
        flag = judge_needle(needle, dial)
        if flag is not None or needle is None:
            raise _Refusal(flag or "needle hidden", sight)
        turn = dial.rising * needle.angle_rad / (2 * np.pi)
        divisions = float(turn % 1.0 * dial.marks_per_turn) % dial.marks_per_turn
        sigma = sigma_divisions(scale, needle, dial)
        return Reading(
            "ok",
            frame.t_s,
            divisions=divisions,
            sigma_divisions=sigma,
            value_mm=dial.value_mm(divisions),
            sigma_mm=sigma * dial.graduation_mm,
            sight=sight,
        )


def _sight(dial: TaughtDial, scale: ScaleFit, needle: NeedleFit | None) -> DialSight:
    pose = scale.pose
    circle = 2 * np.pi * np.arange(72) / 72
    rim = dial.radius_mm * np.stack([np.cos(circle), np.sin(circle)], axis=1)
    outline = pose.project(rim)
    ends = np.full((2, 2), np.nan)
    if needle is not None:
        way = np.array([np.cos(needle.angle_rad), np.sin(needle.angle_rad)])
        aside = needle.miss_mm * np.array([-way[1], way[0]])
        used = dial.needle_half_width_mm > 0
        reach = dial.needle_reach_mm[used]
        along = np.array([reach.min(initial=0.0), reach.max(initial=0.0)])
        ends = pose.project(aside + along[:, None] * way, -dial.needle_height_mm)
    pivot = pose.project(np.zeros((1, 2)), -dial.needle_height_mm)[0]
    return DialSight(
        pivot_px=frozen_array(pivot),
        needle_px=frozen_array(ends),
        zero_px=frozen_array(outline[0]),
        outline_px=frozen_array(outline),
        face_radius_px=float(np.max(np.linalg.norm(outline - outline.mean(axis=0), axis=1))),
        marks_used=int(round(scale.share * dial.marks_per_turn)),
        mark_scatter_px=scale.scatter_px,
    )
