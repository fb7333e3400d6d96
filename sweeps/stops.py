"""Pauses in a stream of readings, found by themselves."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import ArrayLike

from sweeps.fourier import Float

MIN_PAUSE_S = 0.25
MIN_READINGS = 4
_BAND_SIGMAS = 6.0
_BAND_SHARE = 0.003
_SHORT_SHARE = 0.35
"""A pause shorter than this share of the typical one is a halt on the way."""
_HALT_S = 0.5


@dataclass(frozen=True, slots=True)
class Stop:
    """One still place: middle time, mean reading, k = 1 uncertainty, spread, readings used.

    `sigma_mm` keeps one picture's sigma whole, because a still needle shows the reader the
    same error again and again; `spread_mm` is the standard deviation within the pause.
    """

    at_s: float
    value_mm: float
    sigma_mm: float
    spread_mm: float
    n: int
    start_s: float
    end_s: float


def find_stops(
    t_s: ArrayLike,
    value_mm: ArrayLike,
    sigma_mm: ArrayLike,
    *,
    min_pause_s: float = MIN_PAUSE_S,
    band_mm: float | None = None,
) -> tuple[Stop, ...]:
    """Find the pauses in a series of accepted readings; all arrays of shape ``(n,)``.

    Parameters
    ----------
    t_s, value_mm, sigma_mm
        Accepted readings in time order; what is not a number is taken as missing. Refused
        pictures (a hand before the dial) are simply missing; a pause goes on across such a
        gap where the reading is the same.
    min_pause_s
        Shortest pause that counts.
    band_mm
        How far apart readings of one pause may lie; by default found from the scatter
        between neighbours.

    Returns
    -------
    tuple of Stop
        In time order; empty where nothing stood still.
    """
    columns = [np.asarray(a, dtype=np.float64) for a in (t_s, value_mm, sigma_mm)]
    if columns[0].ndim != 1 or len({c.shape for c in columns}) != 1:
        msg = "times, readings and their uncertainties must be columns of one length"
        raise ValueError(msg)
    t, value, sigma = np.array(columns)[:, np.isfinite(columns).all(axis=0)]
    if len(t) < MIN_READINGS:
        return ()
    band = band_mm if band_mm is not None else _band(value, sigma)
    runs = _merge_hidden(_still_runs(value, band), t, value, band)
    stops = [_stop(t, value, sigma, run) for run in runs if _long_enough(t, run, min_pause_s)]
    return _without_halts(stops)


Run = tuple[int, int]
"""First and last index of a run of readings, both included."""


def _band(value: Float, sigma: Float) -> float:
    """Return how far apart still readings may lie: six sigmas, or 0.3 % of the range.

    Third differences show the scatter between neighbours, moving or still.
    """
    third = np.abs(np.diff(value, 3))
    noise = 1.4826 * float(np.median(third)) / 20**0.5 if len(third) else 0.0
    noise = max(noise, 0.3 * float(np.median(sigma)), 1e-9)
    return max(_BAND_SIGMAS * noise, _BAND_SHARE * float(np.ptp(value)))


def _still_runs(value: Float, band: float) -> list[Run]:
    """Return the longest runs that stay within the band, none overlapping."""
    candidates = _longest_runs(value, band)
    free = np.ones(len(value), dtype=bool)
    runs: list[Run] = []
    for start, end in sorted(candidates, key=lambda r: r[0] - r[1]):
        if end - start + 1 >= MIN_READINGS and free[start : end + 1].all():
            free[start : end + 1] = False
            runs.append((start, end))
    return sorted(runs)


def _longest_runs(value: Float, band: float) -> list[Run]:
    runs, end = [], 0
    for start in range(len(value)):
        end = max(end, start)
        low, high = float(value[start : end + 1].min()), float(value[start : end + 1].max())
        while end + 1 < len(value):
            low, high = min(low, float(value[end + 1])), max(high, float(value[end + 1]))
            if high - low > band:
                break
            end += 1
        runs.append((start, end))
    return runs


def _merge_hidden(runs: Sequence[Run], t: Float, value: Float, band: float) -> list[Run]:
    """Join two runs parted only by missing pictures at one and the same reading."""
    merged: list[Run] = []
    for run in runs:
        if merged and run[0] - merged[-1][1] <= 2 and _same(merged[-1], run, value, band):
            merged[-1] = (merged[-1][0], run[1])
        else:
            merged.append(run)
    return merged


def _same(one: Run, other: Run, value: Float, band: float) -> bool:
    levels = [float(np.median(value[r[0] : r[1] + 1])) for r in (one, other)]
    return abs(levels[1] - levels[0]) <= band / 2


def _long_enough(t: Float, run: Run, min_pause_s: float) -> bool:
    return bool(t[run[1]] - t[run[0]] >= min_pause_s * (1 - 1e-9))


def _stop(t: Float, value: Float, sigma: Float, run: Run) -> Stop:
    inside = slice(run[0], run[1] + 1)
    core = _core(value[inside])
    kept = value[inside][core]
    spread = float(np.std(kept, ddof=1)) if len(kept) > 1 else 0.0
    own = float(np.median(sigma[inside]))
    start, end = float(t[run[0]]), float(t[run[1]])
    return Stop(
        (start + end) / 2,
        float(kept.mean()),
        hypot(own, spread / np.sqrt(len(kept))),
        spread,
        len(kept),
        start,
        end,
    )


def _core(value: Float) -> np.ndarray:
    """Leave out the first and last creep into and out of a pause."""
    mid = float(np.median(value))
    scatter = 1.4826 * float(np.median(np.abs(value - mid)))
    core: np.ndarray = np.abs(value - mid) <= max(3.5 * scatter, 1e-12)
    return core


def _without_halts(stops: list[Stop]) -> tuple[Stop, ...]:
    if not stops:
        return ()
    typical = float(np.median([s.end_s - s.start_s for s in stops]))
    least = min(_SHORT_SHARE * typical, _HALT_S)
    return tuple(s for s in stops if s.end_s - s.start_s >= least)
