"""Pictures of a recorded sweep become samples: needle unwrapped, angle from collar or stops."""

from collections import Counter
from dataclasses import dataclass, replace
from itertools import pairwise
from math import pi, radians
from pathlib import Path

import numpy as np

from calibration.camera import CameraModel
from calibration.collars import Collar
from calibration.dial_errors_correct import Correction
from calibration.dials import TaughtDial
from readings import BadInputError, Reading, Sample, Sense, Sweep, flag_sentence
from sweeps import MIN_PAUSE_S, STOP_ANGLE_RAD, Stop, find_stops
from vision.collar_census import CollarCensus
from vision.collar_reader import CollarReader, CollarSight
from vision.dial_reader import DialReader
from vision.sources import PICTURES, open_source

TURN_RAD = 2 * pi
MIN_ARC_DEG = 120.0
MIN_STOPS = 3
_UNSURE_TURNS = 0.38
"""A needle that went further than this between two pictures may have passed a whole turn."""
_PART_OF_PAUSE = 0.3
_CLOSED_SHARE = 0.2
"""A last stop this much nearer to the first than any other is taken for its return."""
_TOO_FAST_RAD_S = TURN_RAD
"""Sixty turns a minute: no hand turns a spindle so fast through a sweep."""


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """One picture: what the needle says, and where the collar stands (sigma beside it)."""

    reading: Reading
    value_mm: float | None
    """With whole turns, following its neighbours."""
    unsure: bool
    angle_rad: float | None
    sigma_angle_rad: float


def look_through(
    source: str, dial: TaughtDial, camera: CameraModel | None, *, collar: int | None, fps: float
) -> list[Look]:
    """Read every picture of a source.

    Raises
    ------
    BadInputError
        If the source is missing, unreadable, empty or a single picture, or no picture of it
        could be read.
    """
    eyes = CollarReader(Collar(collar), camera) if collar is not None else None
    census = CollarCensus(Collar(collar)) if collar is not None else None
    if Path(source).suffix.lower() in PICTURES:
        msg = f"{source} is a single picture: a sweep needs a folder of pictures or a video."
        raise BadInputError(msg)
    pictures = open_source(source, fps=fps)
    reader = DialReader(dial, camera)
    readings: list[Reading] = []
    sights: list[CollarSight | None] = []
    try:
        for frame in pictures.frames():
            readings.append(reader.read(frame))
            sights.append(eyes.look(frame) if eyes is not None else None)
            if census is not None:
                census.look(frame)
    finally:
        pictures.close()
    _demand_readings(source, readings)
    wrong = census.contradiction() if census is not None else None
    if wrong is not None:
        msg = f"{wrong}: give --collar the number of markers that is printed on yours."
        raise BadInputError(msg)
    values = follow_needle(readings, dial.mm_per_turn)
    angles = [eyes.angle(s) if eyes is not None and s is not None else None for s in sights]
    return [
        Look(r, v, unsure, a.angle_rad if a else None, a.sigma_rad if a else 0.0)
        for r, (v, unsure), a in zip(readings, values, angles, strict=True)
    ]


def _demand_readings(source: str, readings: list[Reading]) -> None:
    if any(r.ok for r in readings):
        return
    reasons = Counter(flag for r in readings for flag in r.flags).most_common(1)
    why = flag_sentence(reasons[0][0]) if reasons else "Nothing was seen."
    msg = f"no picture of {source} could be read ({len(readings)} tried). {why}"
    raise BadInputError(msg)


def follow_needle(readings: list[Reading], turn_mm: float) -> list[tuple[float | None, bool]]:
    """Return each reading with its whole turns, and whether the step to it is in doubt.

    A reading whose turns are known is taken as it is; any other is placed within half a
    turn of the median of the three next to it, those before the first known one from there back.
    """
    known = (i for i, one in enumerate(readings) if one.ok and one.turns is not None)
    first = next(known, 0)
    back = _followed(readings[first::-1], turn_mm)[:0:-1]
    return back + _followed(readings[first:], turn_mm)


def _followed(readings: list[Reading], turn_mm: float) -> list[tuple[float | None, bool]]:
    """Return readings placed one after another, each near the last three."""
    followed: list[tuple[float | None, bool]] = []
    last: list[float] = []
    for reading in readings:
        if not reading.ok or reading.value_mm is None:
            followed.append((None, False))
            continue
        value, unsure = reading.value_mm, False
        if reading.turns is None and last:
            near = float(np.median(last[-3:]))
            value += round((near - value) / turn_mm) * turn_mm
            unsure = abs(value - last[-1]) > _UNSURE_TURNS * turn_mm
        last.append(value)
        followed.append((value, unsure))
    return followed


def corrected_looks(looks: list[Look], correction: Correction) -> list[Look] | None:
    """Return the looks put right by a dial's error table; None where it does not hold for all.

    Where no reading knows its turns, the sweep counts in the one turn of the
    table that holds all of it.
    """
    values = [look.value_mm for look in looks if look.value_mm is not None]
    known = any(look.value_mm is not None and look.reading.turns is not None for look in looks)
    turns = 0 if known else correction.turns_off(min(values), max(values))
    if turns is None:
        return None
    right: list[Look] = []
    for look in looks:
        if look.value_mm is None:
            right.append(look)
            continue
        found = correction.correct(look.value_mm + turns * correction.mm_per_turn)
        if found is None:
            return None
        right.append(replace(look, value_mm=look.value_mm + found.correction_mm))
    return right


def collar_sweep(
    looks: list[Look], *, gain: float, first_deg: float | None, sense: Sense | None
) -> Sweep:
    """Return the sweep of pictures that show both needle and collar.

    Without `first_deg` and `sense` the angle is the collar's own, rising with the marker
    number; `sense` says which way θ went, `first_deg` where it began.

    Raises
    ------
    BadInputError
        If the collar is never seen or turned under a third of a turn.
    """
    angles = _unwrapped(looks)
    seen = [look for look in looks if look.angle_rad is not None]
    if not seen:
        msg = "no marker of the collar was seen: turn the camera until its squares are in sight."
        raise BadInputError(msg)
    samples = [
        Sample(
            look.reading.t_s,
            look.value_mm * gain,
            (look.reading.sigma_mm or 0.0) * gain,
            angle,
            look.sigma_angle_rad,
        )
        for look, angle in zip(looks, angles, strict=True)
        if look.value_mm is not None and angle is not None
    ]
    _demand_arc(samples)
    samples = _turned(samples, first_deg, sense)
    return Sweep.from_samples(
        samples, sense=sense, refused=len(looks) - len(samples), flags=_flags(looks, angles)
    )


def _unwrapped(looks: list[Look]) -> list[float | None]:
    """Return the collar's angle over whole turns, picture by picture."""
    angles: list[float | None] = []
    last: float | None = None
    for look in looks:
        angle = look.angle_rad
        if angle is not None and last is not None:
            angle += round((last - angle) / TURN_RAD) * TURN_RAD
        last = angle if angle is not None else last
        angles.append(angle)
    return angles


def _demand_arc(samples: list[Sample]) -> None:
    angles = [s.angle_rad for s in samples]
    arc = np.degrees(max(angles) - min(angles)) if angles else 0.0
    if arc < MIN_ARC_DEG:
        msg = (
            f"the sweep covers {arc:.0f} degrees: an offset needs a third of a turn "
            f"({MIN_ARC_DEG:.0f} degrees) or more, better a little over a whole turn."
        )
        raise BadInputError(msg)


def _turned(samples: list[Sample], first_deg: float | None, sense: Sense | None) -> list[Sample]:
    if first_deg is None and sense is None:
        return samples
    rising = samples[-1].angle_rad > samples[0].angle_rad
    sign = 1.0 if sense is None or (sense == "anticlockwise") == rising else -1.0
    begin = samples[0].angle_rad
    start = sign * begin if first_deg is None else radians(first_deg)
    return [
        Sample(
            s.t_s,
            s.value_mm,
            s.sigma_mm,
            start + sign * (s.angle_rad - begin),
            s.sigma_angle_rad,
        )
        for s in samples
    ]


def _flags(looks: list[Look], angles: list[float | None]) -> tuple[str, ...]:
    missing = sum(a is None for a in angles)
    raised = {
        "ambiguous turn": any(look.unsure for look in looks),
        "turning too fast": _too_fast(looks, angles),
        "collar not seen": missing > 0.1 * len(looks),
    }
    return tuple(name for name, on in raised.items() if on)


def _too_fast(looks: list[Look], angles: list[float | None]) -> bool:
    seen = [(look.reading.t_s, a) for look, a in zip(looks, angles, strict=True) if a is not None]
    t, angle = np.array(seen).T
    if len(t) < 3:
        return False
    rate = np.abs(np.diff(angle)) / np.maximum(np.diff(t), 1e-9)
    return bool(np.median(rate) > _TOO_FAST_RAD_S)


def stop_sweep(
    looks: list[Look], per_turn: int, *, gain: float, first_deg: float, sense: Sense | None
) -> tuple[Sweep, tuple[Stop, ...]]:
    """Return the sweep of the pauses, and the pauses; the first lies at `first_deg`.

    Raises
    ------
    BadInputError
        If under three pauses are found, or one may have been hidden by a hand.
    """
    good = [look for look in looks if look.value_mm is not None]
    t = np.array([look.reading.t_s for look in good])
    value = np.array([look.value_mm for look in good]) * gain
    sigma = np.array([look.reading.sigma_mm or 0.0 for look in good]) * gain
    stops = find_stops(t, value, sigma)
    _demand_stops(stops, per_turn, looks, gain)
    sign = -1.0 if sense == "clockwise" else 1.0
    samples = [
        Sample(
            stop.at_s,
            stop.value_mm,
            stop.sigma_mm,
            radians(first_deg) + sign * TURN_RAD * k / per_turn,
            STOP_ANGLE_RAD,
        )
        for k, stop in enumerate(stops)
    ]
    raised = {
        "ambiguous turn": any(look.unsure for look in looks),
        "incomplete": len(stops) < per_turn,
    }
    sweep = Sweep.from_samples(
        samples,
        sense=sense,
        kind="stops",
        refused=len(looks) - len(good),
        flags=tuple(name for name, on in raised.items() if on),
    )
    return sweep, stops


def _demand_stops(stops: tuple[Stop, ...], per_turn: int, looks: list[Look], gain: float) -> None:
    if len(stops) < MIN_STOPS:
        msg = (
            f"{len(stops)} stop(s) were found: an offset needs {MIN_STOPS} or more; "
            f"hold the spindle still for a second or two at each of the {per_turn} places."
        )
        raise BadInputError(msg)
    if not _closes(stops, per_turn) and _stop_may_be_hidden(stops, looks, gain):
        msg = (
            f"the dial was hidden so long beside the {len(stops)} stops found that one more "
            "may be missing: sweep again with the dial in sight at every stop."
        )
        raise BadInputError(msg)


def _closes(stops: tuple[Stop, ...], per_turn: int) -> bool:
    """Whether a whole turn of stops ends where it began, so that none can be missing."""
    values = np.array([s.value_mm for s in stops])
    if len(values) != per_turn + 1:
        return False
    away = np.abs(values - values[0])
    return bool(away[-1] < _CLOSED_SHARE * np.min(away[1:-1]))


def _stop_may_be_hidden(stops: tuple[Stop, ...], looks: list[Look], gain: float) -> bool:
    """Whether a place may have been touched that was never seen, which would shift the rest.

    Between two stops: time enough for two moves and part of a pause, and pictures missing.
    Within one: long enough for two, and pictures missing. Before the first: pictures
    missing, and a move in sight.
    """
    pause = float(np.median([s.end_s - s.start_s for s in stops]))
    move = float(np.median([b.start_s - a.end_s for a, b in pairwise(stops)]))
    between = any(
        b.start_s - a.end_s > 2 * move + _PART_OF_PAUSE * pause
        and _longest_hidden_s(looks, a.end_s, b.start_s) > MIN_PAUSE_S
        for a, b in pairwise(stops)
    )
    within = any(
        s.end_s - s.start_s > 1.6 * pause + move
        and _longest_hidden_s(looks, s.start_s, s.end_s) > 0.6 * move
        for s in stops
    )
    return between or within or _hidden_at_the_start(stops, looks, gain)


def _hidden_at_the_start(stops: tuple[Stop, ...], looks: list[Look], gain: float) -> bool:
    first = stops[0]
    before = [look for look in looks if look.reading.t_s < first.start_s]
    values = [look.value_mm * gain for look in before if look.value_mm is not None]
    far = max((abs(v - first.value_mm) for v in values), default=0.0)
    others = np.ptp([s.value_mm for s in stops])
    hidden = _longest_hidden_s(looks, looks[0].reading.t_s - 1.0, first.start_s)
    return hidden > MIN_PAUSE_S and far > 0.05 * others


def _longest_hidden_s(looks: list[Look], start_s: float, end_s: float) -> float:
    """Return the longest time without a reading among the pictures of a stretch."""
    longest, since = 0.0, None
    for look in looks:
        t_s = look.reading.t_s
        if not start_s <= t_s <= end_s:
            continue
        if look.value_mm is not None:
            since = None
            continue
        since = t_s if since is None else since
        longest = max(longest, t_s - since)
    return longest
