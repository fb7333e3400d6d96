"""Where a sweep begins, ends and repeats itself."""

from collections.abc import Callable
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np

from readings import Sweep
from readings.median import median
from sweeps.fourier import Float

TURN_RAD = 2 * pi
MIN_OVERLAP_RAD = np.radians(10.0)
_SAME_PLACE_RAD = np.radians(1.0)
_MANY = 720
_STOP_SLACK_RAD = np.radians(6.0)


@dataclass(frozen=True, slots=True)
class Return:
    """Mean difference, later minus earlier, where the same places were touched twice."""

    mean_mm: float
    u_mm: float


def turned_rad(sweep: Sweep) -> float:
    """Return the angle swept from end to end in radians, returns included."""
    return float(np.ptp(sweep.angle_rad)) if len(sweep) else 0.0


def distinct_places(angle_rad: Float) -> int:
    """Return how many places at least a degree apart were touched, whole turns folded.

    >>> distinct_places(np.radians([0.0, 90.0, 180.0, 360.0]))
    3
    """
    angle = np.asarray(angle_rad, dtype=np.float64)
    if len(angle) == 0:
        return 0
    if len(angle) > _MANY:
        degree = angle * (1 / _SAME_PLACE_RAD)
        seen_at = np.bincount((degree - np.floor(degree.min())).astype(np.int64))
        turns = -(-len(seen_at) // 360)
        folded_in = np.pad(seen_at, (0, 360 * turns - len(seen_at))).reshape(turns, 360)
        return int(np.count_nonzero(folded_in.any(axis=0)))
    folded = np.sort(np.mod(angle, TURN_RAD))
    _, firsts = np.unique(folded // _SAME_PLACE_RAD, return_index=True)
    seen = [float(folded[0])]
    for angle in folded[firsts].tolist():
        if angle - seen[-1] >= _SAME_PLACE_RAD:
            seen.append(angle)
    wraps = len(seen) > 1 and seen[0] + TURN_RAD - float(folded[-1]) < _SAME_PLACE_RAD / 2
    return len(seen) - 1 if wraps and seen[-1] > TURN_RAD - _SAME_PLACE_RAD / 2 else len(seen)


def covered_rad(swept_rad: float, places: int) -> float:
    """Return how much of a turn the places cover, a whole one at most.

    From the first of n even stops to the last is a step less than a turn, yet the turn is
    covered: what is missing counts where it is no wider than a step and a half.

    >>> covered_rad(1.5 * pi, 4) == TURN_RAD
    True
    """
    step = swept_rad / max(places - 1, 1)
    return TURN_RAD if TURN_RAD - swept_rad <= 1.5 * step else swept_rad


def first_turn(sweep: Sweep) -> np.ndarray:
    """Return which stops are data: those less than a turn from the first."""
    from_start = np.abs(sweep.angle_rad - sweep.angle_rad[0])
    data: np.ndarray = from_start < TURN_RAD - _STOP_SLACK_RAD
    return data


def mean_return(sweep: Sweep, curve: Callable[[Float], Float]) -> Return | None:
    """Return how the reading came back, None where nothing was touched twice.

    The fitted curve repeats every turn, so the difference of its mean residuals over the
    overlap is the difference of the readings, whatever the slope there.
    """
    if sweep.kind == "stops":
        return _stops_return(sweep)
    travelled = np.abs(sweep.angle_rad - sweep.angle_rad[0])
    overlap = float(travelled.max()) - TURN_RAD
    if overlap < MIN_OVERLAP_RAD:
        return None
    early, late = (
        sweep.value_mm[part] - curve(sweep.angle_rad[part])
        for part in (travelled <= overlap, travelled >= TURN_RAD)
    )
    return _difference(early, late, median(sweep.sigma_mm))


def _difference(early: Float, late: Float, sigma_mm: float) -> Return | None:
    if len(early) == 0 or len(late) == 0:
        return None
    early_mid, late_mid = median(early), median(late)
    spread = 1.4826 * median(np.abs(np.concatenate([early - early_mid, late - late_mid])))
    spread = max(spread, sigma_mm)  # a handful of readings may lie together by chance
    near = [_near(part, mid, spread) for part, mid in ((early, early_mid), (late, late_mid))]
    u_mm = spread * sqrt(1 / len(near[0]) + 1 / len(near[1]))
    return Return(float(near[1].mean() - near[0].mean()), u_mm)


def _near(part: Float, mid: float, spread: float) -> Float:
    """Return the residuals that are no outliers; all of a part that has nothing in its middle."""
    close = np.abs(part - mid) <= 5 * spread + 1e-12
    return part[close] if close.any() else part


def _stops_return(sweep: Sweep) -> Return | None:
    again = ~first_turn(sweep)
    if not again.any():
        return None
    place = np.mod(sweep.angle_rad, TURN_RAD)
    pairs = [_earlier(place, again, int(i)) for i in np.flatnonzero(again)]
    steps = [sweep.value_mm[i] - sweep.value_mm[j] for i, j in pairs if j is not None]
    u_mm = median(sweep.sigma_mm) * sqrt(2.0 / max(len(steps), 1))
    return Return(float(np.mean(steps)), u_mm) if steps else None


def _earlier(place: Float, again: np.ndarray, index: int) -> tuple[int, int | None]:
    apart = np.abs(np.angle(np.exp(1j * (place - place[index]))))
    same = np.flatnonzero(~again & (apart < _STOP_SLACK_RAD))
    return index, int(same[0]) if len(same) else None
