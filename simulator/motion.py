"""What hands do: moves that take their time, queued one after the other."""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Profile = NDArray[np.float64]
"""Share of a move done at equal steps of time, from 0 to 1, never falling."""

_STEPS = 400


def smooth_profile() -> Profile:
    """Return a start, a run and a stop without a jerk: 10τ³ - 15τ⁴ + 6τ⁵."""
    tau = np.linspace(0.0, 1.0, _STEPS + 1)
    return tau**3 * (10 - 15 * tau + 6 * tau**2)


def uneven_profile(rng: np.random.Generator, turns: float) -> Profile:
    """Return how a hand turns a spindle: it starts, slows where it grips anew, and stops.

    Parameters
    ----------
    turns
        Turns of the whole move; a hand grips anew about three times a turn.
    """
    tau = (np.arange(_STEPS) + 0.5) / _STEPS
    speed = np.minimum(1.0, np.minimum(tau, 1.0 - tau) / 0.06)
    for waves in (1.3, 3.1, 5.2):
        depth, phase = rng.uniform(0.05, 0.28), rng.uniform(0.0, 2 * math.pi)
        speed *= 1.0 + depth * np.sin(2 * math.pi * waves * abs(turns) * tau + phase)
    done = np.concatenate([[0.0], np.cumsum(speed)])
    return np.asarray(done / done[-1])


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """One move of one thing: by how much, in what time, how, and what is done at its end."""

    by: float
    seconds: float
    profile: Profile
    done: Callable[[], None] | None = None


class Mover:
    """One thing that hands move; `place` is where it stands."""

    def __init__(self, place: float) -> None:
        self.place = place
        self._queue: deque[Move] = deque()
        self._from = place
        self._elapsed_s = 0.0

    @property
    def busy(self) -> bool:
        """Whether a move is under way or waiting."""
        return bool(self._queue)

    @property
    def goal(self) -> float:
        """Where it will stand when all its moves are done."""
        if not self._queue:
            return self.place
        return self._from + math.fsum(move.by for move in self._queue)

    def push(self, move: Move) -> None:
        """Queue a move behind those that wait."""
        if not self._queue:
            self._from, self._elapsed_s = self.place, 0.0
        self._queue.append(move)

    def advance(self, dt_s: float) -> None:
        """Let `dt_s` seconds pass."""
        left_s = dt_s
        while self._queue:
            move = self._queue[0]
            self._elapsed_s += left_s
            if self._elapsed_s < move.seconds:
                self.place = self._from + move.by * _share(move, self._elapsed_s)
                return
            left_s = self._elapsed_s - move.seconds
            self._finish(move)

    def _finish(self, move: Move) -> None:
        self._queue.popleft()
        self.place = self._from + move.by
        self._from, self._elapsed_s = self.place, 0.0
        if move.done is not None:
            move.done()


def _share(move: Move, elapsed_s: float) -> float:
    position = elapsed_s / move.seconds * (len(move.profile) - 1)
    before = int(position)
    share = move.profile[before] + (position - before) * (
        move.profile[before + 1] - move.profile[before]
    )
    return float(share)
