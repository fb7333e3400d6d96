"""What teaching photos show of a turns counter: its place, its hand, and how it counts."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.counters import TaughtCounter
from calibration.dial_sheet import DialSheet
from readings import frozen_array
from vision.dial_counter_hand import (
    AREA,
    COLUMNS,
    Patch,
    agreement,
    first_level,
    fit_hand,
    hand_look,
    open_share,
    patch_grid,
    see_patch,
    turn_back,
)
from vision.dial_counter_ring import Ring, find_ring, parabola_top
from vision.dial_learn import LearnedPhoto
from vision.dial_marks import sample
from vision.dial_needle import NeedleLook
from vision.dial_pose import Float
from vision.quick import spread, wrapped_rad

_SAME = 0.03  # of the scale's radius: circles of two photos this near are one counter's
_QUARTER_RAD = np.deg2rad(15.0)  # how far from a quarter the bezel may have turned a counter
_ONE_RAD = np.deg2rad(3.0)  # bearings within it are one: the bezel was not turned between photos
_ON_TICK_RAD = np.deg2rad(5.0)  # from a hand that stands on a mark to that mark
_TICKS = (4, 30)  # marks a counter may have
_TICK_RINGS = np.linspace(0.78, 1.25, 36)  # of its circle's radius: where its marks may be
_TICK_COLUMNS = 360
_TICK_CLEAR = 8.0  # power of the marks' rhythm over that of other rhythms
_FUNDAMENTAL = 0.3  # share of a rhythm's power by which half its rate is the marks' own
_STRONG = 0.6  # of the strongest step: pixels that are the hand
_HAND_SHARE = 0.985  # quantile of the patch that surely belongs to the hand
_OPEN = 0.9  # share of a patch in the open from which it may begin a hand's look
_ALIKE = 0.7  # correlation by which the photos' hands are one
_IN_SIGHT = 0.8  # share of the hand in the open by which a photo tells its direction
_SCATTER_RAD = np.deg2rad(2.2)  # how far a hand stands from where the readings say, k = 1
_MISFIT = 9.0  # squared standard deviations from which a way of counting does not fit


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """A photo with its counter: its circle, the patch in it and the needle's turns from zero."""

    one: LearnedPhoto
    ring: Ring
    patch: Patch
    turns: float


def _rings(photos: list[LearnedPhoto], radius_mm: float, sign: float) -> list[Ring | None]:
    """Return each photo's circle, None where it is not the one that most photos show."""
    found = [find_ring(one.gray, one.scale.pose, radius_mm, sign) for one in photos]
    shapes = np.array([[r.distance_mm, r.radius_mm] for r in found if r is not None])
    if not len(shapes):
        return found
    usual = np.median(shapes, axis=0)

    def same(ring: Ring | None) -> bool:
        if ring is None:
            return False
        off = np.abs(np.array([ring.distance_mm, ring.radius_mm]) - usual)
        return bool(off.max() < _SAME * radius_mm)

    kept = [ring if same(ring) else None for ring in found]
    return kept if 2 * sum(r is not None for r in kept) > len(photos) else [None] * len(photos)


def _seen(
    photos: list[LearnedPhoto], rings: list[Ring | None], sheet: DialSheet, needle: NeedleLook
) -> list[_Seen]:
    rising = 1.0 if sheet.clockwise else -1.0
    radius = float(np.median([r.radius_mm for r in rings if r is not None]))
    out = []
    for one, ring in zip(photos, rings, strict=True):
        if ring is None:
            continue
        turns = one.photo.reading_divisions / sheet.marks_per_turn
        line = (rising * 2 * np.pi * turns, 0.0)
        grid = patch_grid(one.scale.pose, needle, ring.centre_mm, radius)
        patch = see_patch(one.image, grid, line, one.scale.blur_px)
        out.append(_Seen(one, ring, patch, turns))
    return out


def _hand_step(seen: list[_Seen]) -> Float:
    """Return the (3,) step from face to hand, over the marks' contrast, by what stands out."""
    steps = []
    for one in seen:
        light = one.patch.light[one.patch.in_open] / one.one.scale.scan.light
        apart = light - np.median(light, axis=0)
        size = np.linalg.norm(apart, axis=1)
        strong = size > _STRONG * float(np.quantile(size, _HAND_SHARE))
        steps.append(np.median(apart[strong], axis=0))
    return np.asarray(np.median(steps, axis=0), dtype=np.float64)


def _best_shift(level: Float, weight: Float, hand: Float) -> tuple[float, float]:
    score = agreement(level, weight, hand_look(hand)).score
    best = int(np.argmax(score))
    return (best + parabola_top(score, best)) * 2 * np.pi / COLUMNS, float(score[best])


def _hand(seen: list[_Seen], step: Float) -> Float | None:
    """Return the hand's look (rings, directions), its heavier end at 0; None where unlike."""
    levels = [first_level(one.patch, step, one.one.scale.scan.light) for one in seen]
    weights = [open_share(one.patch) for one in seen]
    start = int(np.argmax([weight.mean() for weight in weights]))
    if weights[start].mean() < _OPEN:
        return None
    hand = levels[start]
    for _ in range(4):
        total, count = np.zeros_like(hand), np.full_like(hand, 1e-6)
        for level, weight in zip(levels, weights, strict=True):
            angle, score = _best_shift(level, weight, hand)
            if score > _ALIKE and weight.mean() > _OPEN:
                total += turn_back(level * weight, angle)
                count += np.clip(turn_back(weight, angle), 0.0, 1.0)
        hand = np.clip(total / count, 0.0, 1.0)
    return turn_back(hand, _axis(hand))


def _axis(hand: Float) -> float:
    """Return the direction of a hand's long axis towards its heavier end, shadows left out."""
    core = np.clip(hand - 0.5, 0.0, 0.4)
    around = np.exp(2j * np.pi * np.arange(COLUMNS) / COLUMNS)
    axis = float(np.angle((core * AREA**3 * around**2).sum())) / 2
    heavier = (core * AREA**2 * around).sum() * np.exp(-1j * axis)
    return axis if heavier.real > 0 else axis + np.pi


def _rhythms(one: _Seen, radius_mm: float, sign: float) -> NDArray[np.complex128]:
    """Return the Fourier terms (rings, rhythms) of the ink about a counter's circle."""
    angle = 2 * np.pi * np.arange(_TICK_COLUMNS) / _TICK_COLUMNS
    way = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    points = one.ring.centre_mm + radius_mm * _TICK_RINGS[:, None, None] * way
    pixels = one.one.scale.pose.project(points.reshape(-1, 2)).reshape(*points.shape)
    ink = sign * np.log(sample(one.one.gray, pixels).astype(np.float64) + 4.0)
    ink -= np.median(ink, axis=1, keepdims=True)
    limit = 3.0 * spread(ink.ravel()) + 1e-6
    return np.asarray(np.fft.rfft(np.clip(ink, -limit, 2 * limit), axis=1))


@dataclass(frozen=True, slots=True, eq=False)
class Ticks:
    """The marks along a counter's circle: how many, and where one stands in each photo (rad)."""

    count: int
    at_rad: Float


def find_ticks(seen: list[_Seen], radius_mm: float, sign: float) -> Ticks | None:
    """Return the marks along a counter's circle; None where they cannot be counted."""
    terms = np.array([_rhythms(one, radius_mm, sign) for one in seen])
    power = (np.abs(terms) ** 2).sum(axis=0)
    power /= np.median(power[:, _TICKS[0] : 2 * _TICKS[1]], axis=1, keepdims=True)
    clearest = power[:, _TICKS[0] : 2 * _TICKS[1]].max(axis=1)
    rows = clearest >= np.sort(clearest)[-5]
    rhythm = power[rows].mean(axis=0)
    count = _count(rhythm)
    if count is None:
        return None
    return Ticks(count, -np.angle(terms[:, rows, count].sum(axis=1)) / count)


def _count(rhythm: Float) -> int | None:
    """Return the number of marks by the power of what repeats; None where nothing does."""
    best = int(np.argmax(rhythm[_TICKS[0] : 2 * _TICKS[1]])) + _TICKS[0]
    if rhythm[best] < _TICK_CLEAR:
        return None
    for part in (5, 4, 3, 2):
        low = best // part
        if best % part == 0 and low >= _TICKS[0] and rhythm[low] > _FUNDAMENTAL * rhythm[best]:
            return low
    return best


def _home(bearings: Float) -> tuple[float, bool] | None:
    """Return the bearing where the bezel's turn counts as none, and whether that is likely.

    Faces are printed with their counter at a quarter of the scale, so it is the nearest one.
    Where the photos show the counter at one bearing far from a quarter, it is that bearing, for
    as long as the bezel is not turned. None where neither holds.
    """
    mean = float(np.angle(np.exp(1j * bearings).mean()))
    quarter = round(mean / (np.pi / 2)) * np.pi / 2
    if np.abs(wrapped_rad(bearings - quarter)).max() < _QUARTER_RAD:
        return quarter, True
    return (mean, False) if np.abs(wrapped_rad(bearings - mean)).max() < _ONE_RAD else None


def _off_ticks(hands: Float, ticks: Float, turned: Float, count: int) -> float:
    """Return how far (rms, rad) hands stand from where a mark says that they should.

    `hands` are their directions with the turns since zero taken off, so each should stand on a
    mark, its tip or its tail.
    """
    pitch = 2 * np.pi / count
    off = hands - (ticks - turned)
    either = [(off + half + pitch / 2) % pitch - pitch / 2 for half in (0.0, np.pi)]
    return float(min(np.sqrt(np.mean(one**2)) for one in either))


def _zero(angles: Float, turns: Float, rate: float) -> tuple[float, float]:
    """Return the hand's direction at zero and how far (rms, rad) the photos are from one."""
    there = angles - 2 * np.pi * rate * turns
    zero = float(np.angle(np.exp(1j * there).mean()))
    return zero, float(np.sqrt(np.mean(wrapped_rad(there - zero) ** 2)))


def _rates(sheet: DialSheet, ticks: int | None) -> list[tuple[int, float]]:
    """Return the ways a counter may count: turns a turn of its hand, and the hand's sense."""
    if sheet.counter_turns is not None:
        turns = [sheet.counter_turns]
    elif ticks is not None:
        turns = [ticks, 2 * ticks] + ([ticks // 2] if ticks % 2 == 0 else [])
    else:
        return []
    known = sheet.counter_clockwise
    senses = (1.0, -1.0) if known is None else (1.0 if known else -1.0,)
    return [(one, sense) for one in turns for sense in senses]


def _way_of_counting(
    sheet: DialSheet, ticks: int | None, angles: Float, turns: Float
) -> tuple[int, float, float, float] | None:
    """Return turns a turn, sense (0 unknown), and a direction of the hand with its turns.

    Each of the counter's marks stands for a turn unless the photos' readings clearly say other;
    a sense that they leave open stays open. None where no way of counting agrees with them.
    """
    rates = _rates(sheet, ticks)
    fits = {rate: _zero(angles, turns, rate[1] / rate[0]) for rate in rates}
    misfit = {rate: len(angles) * (fits[rate][1] / _SCATTER_RAD) ** 2 for rate in rates}
    if not rates or min(misfit.values()) > _MISFIT * len(angles):
        return None
    likely = [rate for rate in rates if misfit[rate] < min(misfit.values()) + _MISFIT]
    usual = [rate for rate in likely if rate[0] == rates[0][0]]
    left = usual or likely
    if len({rate[0] for rate in left}) > 1:
        return None
    if len(left) == 1:
        return left[0][0], left[0][1], fits[left[0]][0], 0.0
    return left[0][0], 0.0, float(angles[0]), float(turns[0])


def _stands_on_ticks(
    ticks: Ticks,
    good: list[int],
    angles: Float,
    turns: Float,
    turned: Float,
    counts: tuple[int, float, float, float],
) -> bool:
    """Return whether the hands stand where the counter's own marks say, the bezel's turn off.

    Where the sense is open, they must for either.
    """
    off = [
        _off_ticks(
            angles - sense * 2 * np.pi * turns / counts[0],
            ticks.at_rad[good],
            turned,
            ticks.count,
        )
        for sense in ((counts[1],) if counts[1] else (1.0, -1.0))
    ]
    return bool(max(off) < _ON_TICK_RAD)


def learn_counter(
    photos: list[LearnedPhoto], sheet: DialSheet, needle: NeedleLook, sign: float
) -> TaughtCounter | None:
    """Learn a dial's turns counter; None where the photos do not show one that can be counted by.

    The owner's readings are taken as turns from zero: a reading of -28 lies below it. `sign` is
    +1 where print is brighter than the face.
    """
    scale_mm = sheet.scale_outer_diameter_mm / 2
    rings = _rings(photos, scale_mm, sign)
    seen = _seen(photos, rings, sheet, needle) if any(rings) else []
    if not seen:
        return None
    step = _hand_step(seen)
    hand = _hand(seen, step)
    if hand is None:
        return None
    look = hand_look(hand)
    fits = [fit_hand(one.patch, step, one.one.scale.scan.light, look) for one in seen]
    good = [i for i, fit in enumerate(fits) if fit.score > _ALIKE and fit.seen > _IN_SIGHT]
    bearings = np.array([seen[i].ring.bearing_rad for i in good])
    if not good:
        return None
    placed = _home(bearings)
    if placed is None:
        return None
    home, likely = placed
    radius = float(np.median([one.ring.radius_mm for one in seen]))
    ticks = find_ticks(seen, radius, sign)
    turned = wrapped_rad(bearings - home)
    rising = 1.0 if sheet.clockwise else -1.0
    turns = np.array([seen[i].turns for i in good]) - rising * turned / (2 * np.pi)
    angles = np.array([fits[i].angle_rad for i in good]) - turned
    counts = _way_of_counting(sheet, None if ticks is None else ticks.count, angles, turns)
    if counts is None:
        return None
    stands = ticks is not None and _stands_on_ticks(ticks, good, angles, turns, turned, counts)
    return TaughtCounter(
        distance_mm=float(np.median([one.ring.distance_mm for one in seen])),
        home_rad=home,
        home_sure=likely and stands,
        ring_mm=radius,
        turns=counts[0],
        rising=counts[1],
        seen_rad=counts[2],
        seen_turns=counts[3],
        hand_step=frozen_array(step),
        hand=frozen_array(hand),
    )
