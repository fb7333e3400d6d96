"""A rough face on three free jacks, a fourth brought to touch: which to turn, and how far."""

from dataclasses import dataclass
from math import isfinite, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from sweeps.fourier import Float
from sweeps.linear import layout_is_singular
from sweeps.plane import PlaneResult
from sweeps.result import SweepFailure


@dataclass(frozen=True, slots=True)
class JackMove:
    """How far one jack's head goes up (negative: down) and its screw's turns for it."""

    jack: int
    lift_mm: float
    u_lift_mm: float
    turns: float
    u_turns: float

    @property
    def word(self) -> Literal["raise", "lower", "leave"]:
        """What to do with the jack."""
        if self.lift_mm == 0:
            return "leave"
        return "raise" if self.lift_mm > 0 else "lower"


@dataclass(frozen=True, slots=True, eq=False)
class JacksResult:
    """A face's plane and the turns that level it.

    `moves` level by least squares, `zone_moves` by minimum zone, one a jack in the order
    given; the one held stays. A fourth is slackened clear before the others are turned and
    brought to touch after them: its move is no more than what to expect.
    """

    plane: PlaneResult
    moves: tuple[JackMove, ...]
    zone_moves: tuple[JackMove, ...]
    held: int
    fourth: int | None
    flags: tuple[str, ...]

    def __bool__(self) -> Literal[True]:
        return True


def level_on_jacks(
    plane: PlaneResult | SweepFailure,
    jacks_mm: ArrayLike,
    pitch_mm: float,
    *,
    held: int = 0,
) -> JacksResult | SweepFailure:
    """Return how to turn three jacks, and a fourth, so that the face lies level.

    Parameters
    ----------
    plane
        By `fit_plane`, places and jacks in the same X and Y.
    jacks_mm
        ``(3, 2)`` or ``(4, 2)``: the first three carry, a fourth is brought to touch.
    pitch_mm
        Of the jacks' threads; a turn lifts by so much.
    held
        Which of the first three is left alone.

    Returns
    -------
    JacksResult or SweepFailure
        A failure with any other number of jacks, jacks on a line, a pitch that is no
        length, or a failed plane.
    """
    if isinstance(plane, SweepFailure):
        return plane
    jacks = np.array(jacks_mm, dtype=np.float64)
    reason = _unusable_jacks(jacks, pitch_mm, held)
    if reason is not None:
        return SweepFailure(reason)
    ls = np.array([plane.slope_x.rad, plane.slope_y.rad])
    zone = np.array([plane.zone_slope_x, plane.zone_slope_y])
    return JacksResult(
        plane=plane,
        moves=_moves(jacks, ls, plane.covariance_rad2, pitch_mm, held),
        zone_moves=_moves(jacks, zone, plane.zone_covariance_rad2, pitch_mm, held),
        held=held,
        fourth=3 if len(jacks) == 4 else None,
        flags=plane.flags,
    )


def _unusable_jacks(jacks: Float, pitch_mm: float, held: int) -> str | None:
    if jacks.shape not in {(3, 2), (4, 2)} or not np.isfinite(jacks).all():
        return "Three jacks, or four, each with X and Y as numbers."
    if layout_is_singular(jacks[:3]):
        return "The three jacks lie on a line or in one place: they fix no plane."
    if not (isfinite(pitch_mm) and pitch_mm > 0):
        return "The pitch of the jacks' thread must be a length over zero."
    if held not in (0, 1, 2):
        return "The jack to be held is one of the first three."
    return None


def _moves(
    jacks: Float, slopes: Float, covariance: Float, pitch_mm: float, held: int
) -> tuple[JackMove, ...]:
    apart = jacks - jacks[held]
    lifts = [0.0 if i == held else -float(each @ slopes) for i, each in enumerate(apart)]
    sigmas = [sqrt(max(float(each @ covariance @ each), 0.0)) for each in apart]
    return tuple(
        JackMove(i, lift, u, lift / pitch_mm, u / pitch_mm)
        for i, (lift, u) in enumerate(zip(lifts, sigmas, strict=True))
    )
