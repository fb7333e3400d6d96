"""Follow a needle from picture to picture of a held dial, quicker than it is found anew.

Every picture is still searched over the whole turn, coarsely: the needle must be the best there
is. What is saved is the work of telling it from rivals and of preparing its rows; all of them are
measured as in a first picture. What does not look like the needle that was followed is left to
the full search.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.dials import TaughtDial
from vision.dial_hold import HeldScale, fixed_maps, look_up
from vision.dial_judge import STILL_FRONT, judge_needle
from vision.dial_needle import (
    Line,
    NeedleFit,
    NeedleLook,
    NeedleView,
    follow_line,
    telling_axis,
)
from vision.dial_needle_search import NeedleField, candidates, step_from_face
from vision.dial_rows import colour_table, light_by
from vision.dial_smear import fit_smeared, smear_trials
from vision.dial_track_gauge import NeedleGauge
from vision.quick import wrapped_rad

_RIVAL = 0.6  # candidates whose likeness is under this share of the best are none
_COARSE_RAD = 0.003  # what a coarse direction may be off by
_NEAR_RAD = 0.04  # a candidate this near to where the needle is expected is the needle
_SETTLED_RAD = 2e-3  # a last step this small leaves what clips show: no more error than half of it
_LESS_FRONT = 0.04  # as much less of the needle's front in sight is no cause to look anew
_CLEARLY = 0.05  # more of a needle's front in sight speaks for one fit over another
_LESS_STRENGTH = 0.9
_SLOW = 0.4  # of the most smear: a needle that goes by less between two pictures is hardly smeared
_FASTER = 1.5  # a needle may turn as much faster within an exposure than between pictures


class _CoarseSearch:
    """Look for the best needle over the whole turn, at half of a full search's rings.

    The same likeness and score as `vision.dial_needle_search`, in single precision.
    """

    def __init__(self, field: NeedleField) -> None:
        some = slice(None, None, 2)
        self._field = replace(field, radii_mm=field.radii_mm[some])
        self._maps = fixed_maps(field.x_px[some], field.y_px[some])
        axis = telling_axis(field.look.step)
        self._light = colour_table(axis / float(field.look.step @ axis))

    def best(self, image: NDArray[np.uint8], light: float) -> tuple[float, float]:
        """Return the best direction, and the score of the next best over its own."""
        like = step_from_face(light_by(self._light, look_up(image, self._maps)), light)
        (angle, best), (_, rival) = candidates(like, self._field, count=2, fine=True)
        return angle, rival / max(best, 1e-9)


@dataclass(frozen=True, slots=True, eq=False)
class _Tools:
    """What is prepared for one held scale."""

    held: HeldScale
    search: _CoarseSearch
    gauge: NeedleGauge


class NeedleTrack:
    """The needle of one dial: where it was, and how it turned from picture to picture."""

    def __init__(self, dial: TaughtDial, look: NeedleLook, most_rad: float) -> None:
        self._dial = dial
        self._look = look
        self._most_rad = most_rad
        self._last: NeedleFit | None = None
        self._step_rad = 0.0
        self._coarse_rad: float | None = None
        """Where the coarse search saw the needle in this picture."""
        self._beside_rad: float | None = None
        """How far the fitted line lies from that: what passes the pivot aside looks turned."""
        self._whole = (2.0, 2.0)
        """Share and strength of the needle's front when it was last read as a still one."""
        self._exposed: float | None = None
        """Share of the time between two pictures over which the last one was smeared."""
        self._tools: _Tools | None = None

    def forget(self) -> None:
        """Lose the needle: the next picture is searched in full."""
        self._last, self._step_rad = None, 0.0
        self._coarse_rad, self._beside_rad = None, None
        self._whole, self._exposed = (2.0, 2.0), None

    def note(self, fit: NeedleFit | None) -> None:
        """Take in the needle that was believed in this picture; None where none was."""
        if fit is None:
            self.forget()
            return
        last, self._last = self._last, fit
        self._step_rad = 0.0 if last is None else wrapped_rad(fit.angle_rad - last.angle_rad)
        seen, self._coarse_rad = self._coarse_rad, None
        self._beside_rad = None if seen is None else wrapped_rad(fit.angle_rad - seen)
        if fit.smear_rad == 0.0:
            self._whole = (fit.front_share, fit.strength)
        elif abs(self._step_rad) > fit.smear_rad / 2:
            self._exposed = fit.smear_rad / abs(self._step_rad)

    def find(self, seen: NeedleView, held: HeldScale) -> NeedleFit | None:
        """Return the followed needle in a picture; None where it has to be searched in full."""
        last = self._last
        if last is None:
            return None
        if self._tools is None or self._tools.held is not held:
            gauge = NeedleGauge(held.scale, self._look)
            self._tools = _Tools(held, _CoarseSearch(held.field), gauge)
        angle = self._direction(seen, self._tools.search, last)
        if angle is None:
            return None
        rounds = 2 if last.smear_rad else 4  # a smeared one will hardly do as a still one
        fit = self._still(seen, self._tools.gauge, (angle, last.miss_mm), rounds)
        if fit is not None and self._alike(fit, last):
            return fit
        fan = self._moving(seen, fit or replace(last, angle_rad=angle), last)
        return better_needle(fan, fit, self._dial)

    def _direction(self, seen: NeedleView, search: _CoarseSearch, last: NeedleFit) -> float | None:
        """Return the best direction of the whole turn where it surely is the needle's.

        The last one where the needle seems to rest.
        """
        angle, rival = search.best(seen.image, seen.mark_light)
        expected = last.angle_rad + self._step_rad
        near = abs(wrapped_rad(angle - expected)) < _NEAR_RAD + abs(self._step_rad)
        if not near and rival > _RIVAL:
            return None
        self._coarse_rad = angle
        start = angle + (self._beside_rad or 0.0)
        rests = abs(wrapped_rad(start - last.angle_rad)) < _COARSE_RAD
        return last.angle_rad if rests else start

    def _alike(self, fit: NeedleFit, last: NeedleFit) -> bool:
        """Return whether a still fit may stand: as whole as cold reading asks, or as before.

        A needle of which less is in sight while it hardly moves is no smeared one.
        """
        if fit.front_share > STILL_FRONT:
            return True
        slow = abs(wrapped_rad(fit.angle_rad - last.angle_rad)) < _SLOW * self._most_rad
        front, strength = self._whole
        return (
            slow
            and fit.front_share > front - _LESS_FRONT
            and fit.strength > _LESS_STRENGTH * strength
        )

    def _still(
        self, seen: NeedleView, gauge: NeedleGauge, line: Line, rounds: int
    ) -> NeedleFit | None:
        return follow_line(
            lambda at: gauge.scan(seen.image, at, seen.mark_light),
            line,
            rounds,
            settled_rad=_SETTLED_RAD,
        )

    def _moving(self, seen: NeedleView, start: NeedleFit, last: NeedleFit) -> NeedleFit | None:
        """Return a needle smeared by no more than its motion since the last picture explains."""
        gone, turned = abs(wrapped_rad(start.angle_rad - last.angle_rad)), abs(self._step_rad)
        trials = smear_trials(self._most_rad)
        step = float(trials[0])
        if self._exposed is None:
            likely = trials[: 1 + int(np.searchsorted(trials, _FASTER * max(gone, turned)))]
        else:
            likely = np.array([np.clip(self._exposed * gone, 0.75 * step, self._most_rad)])
        return fit_smeared(seen, (start.angle_rad, start.miss_mm), likely, step)


def better_needle(
    fan: NeedleFit | None, still: NeedleFit | None, dial: TaughtDial
) -> NeedleFit | None:
    """Return the better one of a smeared and a still needle; None where neither is believed."""
    if fan is not None and judge_needle(fan, dial) is None:
        shown = 0.0 if still is None else still.front_share + _CLEARLY
        if fan.front_share > shown:
            return fan
    return None if judge_needle(still, dial) is not None else still
