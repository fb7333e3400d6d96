"""Read a taught dial: a picture becomes a reading, or is refused with its reason."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from calibration.dials import TaughtDial
from readings import DialSight, Frame, Reading
from vision.dial_cold import SHRINKS, find_dial
from vision.dial_hold import HeldScale, Stillness
from vision.dial_judge import (
    MAX_SIGMA_DIVISIONS,
    STILL_FRONT,
    judge_needle,
    judge_scale,
    judge_turn,
    reach_mm,
    sigma_divisions,
)
from vision.dial_likeness import contradicts
from vision.dial_marks import scale_look
from vision.dial_needle import NeedleFit, NeedleView, fit_needle, needle_look
from vision.dial_needle_search import candidates, likeness
from vision.dial_rotation import turn_of
from vision.dial_scale import ScaleFit, settle
from vision.dial_shade import shade_px
from vision.dial_smear import fit_smeared, smear_trials
from vision.dial_track_needle import NeedleTrack, better_needle
from vision.dial_track_turns import Sight, TurnsTold
from vision.dial_track_watch import ClarityWatch, FrozenWatch
from vision.picture import Picture
from vision.quick import wrapped_rad

_BLACK = 6  # a picture whose brightest percent is under this grey level carries no light
_RIVAL = 0.7  # of the best needle's score: what comes so near may be the needle as well
_APART_RAD = 0.15
_WORTH = 0.6  # needle candidates whose likeness is within this share of the best are fitted
_MOST_SMEAR = 4.0  # divisions a needle may sweep during an exposure
_ON_ITS_WAY_PX = 2.0  # a dial that lies farther from where it lay may still be moving, ...
_STREAM_S = 0.5  # ... unless so much time or none went by: such pictures are no stream


@dataclass(frozen=True, slots=True, eq=False)
class _RefusalError(Exception):
    """Ends a reading with a flag."""

    flag: str
    sight: DialSight | None = None


class DialReader:
    """Reads one taught dial, picture after picture.

    Keeps the last pose: while the picture of the scale is still, the next read only looks at
    the needle and checks that nothing moved. A dial that moved is found anew, a part of the
    search a picture, and read as soon as it stands.

    On a stream the needle is followed over its whole turns. `Reading.turns` counts from zero, so
    it is told only where the turns counter was read, or where only one turn lies within the
    dial's travel, and as long as no turn may have been missed since. `Reading.turns_followed`
    counts from the stream's first reading and is told always. A reading that may hide a missed
    turn, which the counter does not settle, is flagged "ambiguous turn".
    """

    def __init__(self, dial: TaughtDial, camera: CameraModel | None = None) -> None:
        self._dial = dial
        self._camera = camera
        self._look = scale_look(dial)
        self._needle = needle_look(dial)
        self._most_rad = _MOST_SMEAR * 2 * np.pi / dial.marks_per_turn
        self._track = NeedleTrack(dial, self._needle, self._most_rad)
        self._turns = TurnsTold(dial)
        self._frozen = FrozenWatch()
        self._clarity = ClarityWatch()
        self._held: HeldScale | None = None
        self._turn_of_search = 0
        self._shrinks_in_turn: tuple[int, ...] = SHRINKS
        self._then_s: float | None = None
        self._gap_s = 0.0

    def reset(self) -> None:
        """Forget the stream: the next picture is read from cold."""
        self._held = None
        self._then_s = None
        self._turn_of_search = 0
        for kept in (self._track, self._turns, self._frozen, self._clarity):
            kept.forget()

    def read(self, frame: Frame) -> Reading:
        """Return what one picture says.

        A refusal carries its flag; numbers are None then. Nothing is raised for a bad picture.
        """
        try:
            return self._read(frame)
        except _RefusalError as refusal:
            self._turns.miss()
            return Reading("refused", frame.t_s, flags=(refusal.flag,), sight=refusal.sight)

    def _read(self, frame: Frame) -> Reading:
        self._gap_s = 0.0 if self._then_s is None else frame.t_s - self._then_s
        self._then_s = frame.t_s
        picture = self._picture(frame)
        held, light = self._hold(picture)
        smeared = self._clarity.look(picture, light)
        view = NeedleView(picture.image, held.scale.pose, self._needle, held.scale.blur_px, light)
        needle = self._find_needle(view, held)
        flag = judge_needle(needle, self._dial)
        self._track.note(needle if flag is None else None)
        if flag is not None or needle is None:
            raise _RefusalError(flag or "needle hidden", held.sight(None))
        reading = self._reading(frame.t_s, held, needle, view)
        found = self._turns.tell(reading, Sight(picture, held.scale, needle, light))
        if "off the taught scale" in found.flags:
            raise _RefusalError("off the taught scale", reading.sight)
        return replace(found, flags=(*found.flags, "lens smeared")) if smeared else found

    def _picture(self, frame: Frame) -> Picture:
        """Return a frame's picture if there is anything in it to read."""
        image = frame.image
        if image is None:
            raise _RefusalError(frame.flags[0] if frame.flags else "unreadable file")
        height, width = image.shape[:2]
        if self._camera is not None and (width, height) != self._camera.size:
            raise _RefusalError("wrong size")
        picture = Picture(image)
        if picture.some.max() < _BLACK:
            raise _RefusalError("black picture")
        if self._frozen.look(picture, frame.t_s):
            raise _RefusalError("frozen picture")
        return picture

    def _hold(self, picture: Picture) -> tuple[HeldScale, float]:
        """Return the scale's pose in this picture, the held one if nothing moved."""
        held = self._held
        if held is None:
            return self._take(picture, self._find(picture.gray))
        state, light = held.check(picture.image)
        if state is Stillness.STILL:
            return held, light
        if state is Stillness.COVERED:
            raise _RefusalError("scale hidden", held.sight(None))
        again = self._follow(picture.gray) if state is Stillness.MOVED else None
        if again is None:
            self._track.forget()
        taken = self._take(picture, again or self._find(picture.gray))
        self._demand_rest(held, taken[0])
        return taken

    def _demand_rest(self, old: HeldScale, new: HeldScale) -> None:
        """Refuse a picture in which the dial is elsewhere than before: it may be on its way."""
        moved = np.abs(new.outline_px - old.outline_px).max()
        if moved > _ON_ITS_WAY_PX and 0 < self._gap_s < _STREAM_S:
            raise _RefusalError("dial moving", new.sight(None))

    def _take(self, picture: Picture, scale: ScaleFit) -> tuple[HeldScale, float]:
        """Hold a scale from now on."""
        self._held = HeldScale(scale, self._dial, self._look, self._needle, picture)
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
        that no picture takes long, the one that found it last before the others.
        """
        if self._held is None:
            return SHRINKS
        self._turn_of_search += 1
        return (self._shrinks_in_turn[(self._turn_of_search - 1) % len(SHRINKS)],)

    def _find(self, gray: NDArray[np.uint8]) -> ScaleFit:
        """Find the scale anywhere and turn it to its zero."""
        shrinks = self._shrinks()
        found = find_dial(gray, self._dial, self._look, self._camera, shrinks)
        if isinstance(found, str):
            raise _RefusalError(found)
        if len(shrinks) == 1:
            others = tuple(shrink for shrink in SHRINKS if shrink not in shrinks)
            self._shrinks_in_turn = shrinks + others
        return found

    def _find_needle(self, view: NeedleView, held: HeldScale) -> NeedleFit | None:
        """Return the needle that was followed, or else the best of the whole turn."""
        followed = self._track.find(view, held)
        if followed is not None:
            return followed
        field = held.field
        found = candidates(likeness(view.image, field, view.mark_light), field)
        worth = [angle for angle, score in found if score > _WORTH * found[0][1]]
        fits = [fit for angle in worth if (fit := fit_needle(view, angle))]
        fits.sort(key=lambda fit: fit.score, reverse=True)
        best = next((fit for fit in fits if not self._contradicted(view, fit)), None)
        if best is not None and best.front_share > STILL_FRONT:
            if self._rivals(best, fits, view):
                raise _RefusalError("needle ambiguous", held.sight(None))
            return best
        start = worth[0] if best is None else best.angle_rad
        moved = self._in_motion(view, start, best)
        if moved is None or moved is best:
            return moved
        return None if self._contradicted(view, moved) else moved

    def _contradicted(self, view: NeedleView, fit: NeedleFit) -> bool:
        return contradicts(view, fit, self._dial.radius_mm)

    def _rivals(self, best: NeedleFit, fits: list[NeedleFit], view: NeedleView) -> bool:
        """Return whether another line might as well be the needle."""
        for fit in fits:
            apart = abs(wrapped_rad(fit.angle_rad - best.angle_rad))
            as_good = fit.score > _RIVAL * best.score and judge_needle(fit, self._dial) is None
            if apart > _APART_RAD and as_good and not self._contradicted(view, fit):
                return True
        return False

    def _in_motion(
        self, view: NeedleView, angle_rad: float, still: NeedleFit | None
    ) -> NeedleFit | None:
        """Try a needle that moved during the exposure; the better of it and the still one."""
        trials = smear_trials(self._most_rad)
        fan = fit_smeared(view, (angle_rad, 0.0), trials, float(trials[0]))
        return better_needle(fan, still, self._dial) or still

    def _reading(self, t_s: float, held: HeldScale, needle: NeedleFit, view: NeedleView) -> Reading:
        dial = self._dial
        turn = dial.rising * needle.angle_rad / (2 * np.pi)
        divisions = float(turn % 1.0 * dial.marks_per_turn) % dial.marks_per_turn
        shade = shade_px(view, needle, reach_mm(dial))
        pose_rad = held.pose_sigma_rad(needle)
        sigma = sigma_divisions(held.scale, needle, dial, pose_rad, shade_px=shade)
        if sigma > MAX_SIGMA_DIVISIONS:
            raise _RefusalError("needle blurred", held.sight(needle))
        return Reading(
            "ok",
            t_s,
            divisions=divisions,
            sigma_divisions=sigma,
            value_mm=dial.value_mm(divisions),
            sigma_mm=sigma * dial.graduation_mm,
            sight=held.sight(needle),
        )
