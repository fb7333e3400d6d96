"""Where a turning target stands, as a setup and a page want it."""

from collections import deque
from dataclasses import replace
from math import pi

import numpy as np

from readings import BadInputError
from setups import SetupState, Still, step_of
from setups.measured import TargetStop
from stream.messages import Live
from stream.tracking import STILL_COLLAR_RAD
from vision.target_datum import DatumPlace
from vision.target_pair import TargetPair

MOST_PICTURES = 15
_STEP_MM = 1.0


class Pairs:
    """The targets of the last pictures; one in which they are not seen begins anew."""

    def __init__(self) -> None:
        self._pairs: deque[TargetPair] = deque(maxlen=MOST_PICTURES)

    def take(self, pair: TargetPair | None) -> None:
        """Take in what a picture showed."""
        if pair is None:
            self._pairs.clear()
        else:
            self._pairs.append(pair)

    def at_rest(self) -> tuple[TargetPair, ...]:
        """Return those in which the target stood turned as in the last one."""
        turns = [pair.turning.turn_rad for pair in self._pairs]
        return tuple(
            pair
            for pair, turn in zip(self._pairs, turns, strict=True)
            if abs((turn - turns[-1] + pi) % (2 * pi) - pi) < STILL_COLLAR_RAD
        )


def with_target(still: Still, pairs: Pairs, state: SetupState | None) -> Still:
    """Return a rest with where the target stands in it; the same where none is looked for.

    Its place is the mean over the rest; its sigma stays that of one picture, for what a still
    picture errs by it errs by in the next.
    """
    seen = pairs.at_rest()
    stops = [] if state is None else [target_stop(pair, state) for pair in seen]
    told = [stop for stop in stops if stop is not None]
    if not told:
        return still
    x, y = (float(np.mean([getattr(stop, key) for stop in told])) for key in ("x_mm", "y_mm"))
    return replace(still, target=replace(told[-1], x_mm=x, y_mm=y))


def target_stop(pair: TargetPair, state: SetupState) -> TargetStop | None:
    """Return where the turning target stands; None at steps that do not say how high it is."""
    step = step_of(state)
    if step.kind != "orbit":
        return None
    size, height = state.task.size("target_size"), state.task.size(step.places)
    try:
        found = pair.place(size, height)
        higher = pair.place(size, height + _STEP_MM)
    except BadInputError:
        return None
    aside = (higher.place_mm - found.place_mm) / _STEP_MM
    own = _own_sigma_mm(pair, found)
    (xx, xy), (_, yy) = found.covariance_mm2.tolist()
    tilt = np.diag(pair.standing.covariance)[:2].tolist()
    x, y = pair.standing.centre_px.tolist()
    return TargetStop(
        x_mm=float(found.place_mm[0]),
        y_mm=-float(found.place_mm[1]),
        sigma_mm=own,
        turn_rad=-found.turn_rad % (2 * pi),
        common_mm2=(xx, -xy, yy),
        tilt_rad2=(tilt[0], tilt[1]),
        aside=(float(aside[0]), -float(aside[1])),
        still_px=(x, y),
    )


def _own_sigma_mm(pair: TargetPair, found: DatumPlace) -> float:
    """Return what the turning target's own centre in the picture errs by, in mm across it."""
    px = float(np.max(pair.turning.sigma_px))
    size_px = float(np.linalg.norm(np.diff(pair.turning.pose.project(np.eye(2)), axis=0)))
    return px * float(np.sqrt(2)) / max(size_px, 1e-9)


def with_place(live: Live, pair: TargetPair | None, state: SetupState | None) -> Live:
    """Return what the last picture said with the target's place across in it.

    At other steps a pair that is seen is nothing to complain of.
    """
    stop = None if pair is None or state is None else target_stop(pair, state)
    if stop is None:
        return live if pair is None else replace(live, sentences=())
    return replace(live, value_mm=stop.x_mm, sigma_mm=stop.sigma_mm, across_mm=stop.y_mm)
