"""Read a taught dial: a picture becomes a reading, or is refused with its reason."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from calibration.dials import TaughtDial
from readings import DialSight, Frame, Reading, frozen_array
from vision.dial_cold import SHRINKS, find_dial
from vision.dial_counter import TurnsCounter
from vision.dial_hold import HeldScale, Stillness
from vision.dial_judge import (
    STILL_FRONT,
    judge_needle,
    judge_scale,
    judge_turn,
    sigma_divisions,
)
from vision.dial_marks import scale_look
from vision.dial_needle import NeedleFit, fit_needle, needle_look
from vision.dial_needle_search import candidates, likeness
from vision.dial_rotation import turn_of
from vision.dial_scale import ScaleFit, settle
from vision.dial_smear import fit_smeared

_BLACK = 6  # a picture whose brightest percent is under this grey level carries no light
_WORTH = 0.6  # needle candidates whose likeness is within this share of the best are fitted
_MOST_SMEAR = 4.0  # divisions a needle may sweep during an exposure


@dataclass(frozen=True, slots=True, eq=False)
class _RefusalError(Exception):
    """Ends a reading with a flag."""

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
        self._counter = TurnsCounter(dial, dial.counter) if dial.counter else None
        self._held: HeldScale | None = None
        self._turn_of_search = 0

    def reset(self) -> None:
        """Forget the last pose: the next picture is read from cold."""
        self._held = None
        self._turn_of_search = 0

    def read(self, frame: Frame) -> Reading:
        """Return what one picture says.

        A refusal carries its flag; numbers are None then. Nothing is raised for a bad picture.
        """
        try:
            return self._read(frame)
        except _RefusalError as refusal:
            return Reading("refused", frame.t_s, flags=(refusal.flag,), sight=refusal.sight)

    def _read(self, frame: Frame) -> Reading:
        image = frame.image
        if image is None:
            raise _RefusalError(frame.flags[0] if frame.flags else "unreadable file")
        height, width = image.shape[:2]
        if self._camera is not None and (width, height) != self._camera.size:
            raise _RefusalError("wrong size")
        gray = np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
        if int(np.max(gray[::8, ::8])) < _BLACK:
            raise _RefusalError("black picture")
        held, light = self._hold(gray)
        needle = self._find_needle(image, held, light)
        reading = self._judge(frame, held.scale, needle)
        if self._counter is None or needle is None:
            return reading
        return self._counted(reading, self._counter.turns(image, gray, held.scale, needle, light))

    def _counted(self, reading: Reading, turns: int | None) -> Reading:
        """Return an accepted reading with the whole turns that the dial's counter tells."""
        if turns is None or reading.divisions is None:
            return reading
        value_mm = self._dial.value_mm(reading.divisions, turns)
        return replace(reading, turns=turns, value_mm=value_mm)

    def _hold(self, gray: NDArray[np.uint8]) -> tuple[HeldScale, float]:
        """Return the scale's pose in this picture, the held one if nothing moved."""
        if self._held is not None:
            state, light = self._held.check(gray)
            if state is Stillness.STILL:
                return self._held, light
            if state is Stillness.COVERED:
                raise _RefusalError("scale hidden", _sight(self._dial, self._held.scale, None))
            again = self._follow(gray) if state is Stillness.MOVED else None
            if again is not None:
                return self._take(gray, again)
        return self._take(gray, self._find(gray))

    def _take(self, gray: NDArray[np.uint8], scale: ScaleFit) -> tuple[HeldScale, float]:
        self._held = HeldScale(scale, self._dial, self._look, self._needle, gray)
        self._turn_of_search = 0
        return self._held, scale.scan.light

    def _follow(self, gray: NDArray[np.uint8]) -> ScaleFit | None:
        """Settle the held pose anew after a small knock; None where it went too far."""
        assert self._held is not None
        old = self._held.scale
        free = self._camera is None
        scale = settle(gray, old.pose, self._look, free_camera=free, blur_px=old.blur_px)
        if scale is None or judge_scale(scale) is not None:
            return None
        turn = turn_of(gray, scale.pose, self._dial)
        return scale if turn.marks == 0 and judge_turn(turn) is None else None

    def _shrinks(self) -> tuple[int, ...]:
        """Return how much to shrink the picture for the search.

        All ways for a first picture; while a stream's dial is lost, one a picture in turn, so
        that no picture takes long.
        """
        if self._held is None:
            return SHRINKS
        self._turn_of_search += 1
        return (SHRINKS[(self._turn_of_search - 1) % len(SHRINKS)],)

    def _find(self, gray: NDArray[np.uint8]) -> ScaleFit:
        """Find the scale anywhere and turn it to its zero."""
        found = find_dial(gray, self._dial, self._look, self._camera, self._shrinks())
        if isinstance(found, str):
            raise _RefusalError(found)
        return found

    def _find_needle(
        self, image: NDArray[np.uint8], held: HeldScale, light: float
    ) -> NeedleFit | None:
        scale, field = held.scale, held.field
        blur = scale.blur_px
        found = candidates(likeness(image, field, light), field)
        worth = [angle for angle, score in found if score > _WORTH * found[0][1]]
        fits = [
            fit
            for angle in worth
            if (fit := fit_needle(image, scale.pose, self._needle, angle, blur, light))
        ]
        best = max(fits, key=lambda fit: fit.score, default=None)
        if best is not None and best.front_share > STILL_FRONT:
            return best
        start = worth[0] if best is None else best.angle_rad
        return self._in_motion(image, scale, light, start, best)

    def _in_motion(
        self,
        image: NDArray[np.uint8],
        scale: ScaleFit,
        light: float,
        angle_rad: float,
        still: NeedleFit | None,
    ) -> NeedleFit | None:
        """Try a needle that moved during the exposure; the better of it and the still one."""
        most = _MOST_SMEAR * 2 * np.pi / self._dial.marks_per_turn
        blur = scale.blur_px
        fan = fit_smeared(image, scale.pose, self._needle, angle_rad, blur, light, most)
        if fan is None or judge_needle(fan, self._dial) is not None:
            return still
        return fan if still is None or fan.front_share > still.front_share + 0.05 else still

    def _judge(self, frame: Frame, scale: ScaleFit, needle: NeedleFit | None) -> Reading:
        dial = self._dial
        flag = judge_needle(needle, dial)
        if flag is not None or needle is None:
            raise _RefusalError(flag or "needle hidden", _sight(dial, scale, None))
        sight = _sight(dial, scale, needle)
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
        marks_used=round(scale.share * dial.marks_per_turn),
        mark_scatter_px=scale.scatter_px,
    )
