"""How much of a drawn pixel a hand covers, standing or turning while the shutter is open.

A hand turns in a plane. A place in that plane lies at a radius r and at an angle off the
hand; it is covered while the hand's half width at r, as an arc, reaches it. The share of the
exposure in which it does is the overlap of two arcs, so a hand in motion costs no more than
one at rest, and both sides are alike: the drawn direction is exact.
"""

import math

import numpy as np
from numpy.typing import NDArray

from simulator.dial_design import Hand

Soft = NDArray[np.float32]


def cover(
    hand: Hand, x: Soft, y: Soft, clockwise_rad: float, sweep_rad: float, edge: float
) -> Soft:
    """Return the share of each place that a hand covers.

    Parameters
    ----------
    hand
        Its shape.
    x, y
        Places (rows, columns) right of and above the hand's pivot, in the unit of its shape.
    clockwise_rad
        Where it points in the middle of the exposure, clockwise from +y.
    sweep_rad
        How far it turns, evenly, while the shutter is open.
    edge
        Width of its soft edges, in the same unit.
    """
    sin, cos = math.sin(clockwise_rad), math.cos(clockwise_rad)
    along = sin * x + cos * y
    across = cos * x - sin * y
    spread = math.tan(min(sweep_rad / 2, 1.2))
    near = np.abs(across) < max(hand.half) + 2 * edge + spread * np.abs(along)
    near &= (along < hand.along[-1] + 2 * edge) & (along > hand.along[0] / math.cos(0.3) - 2 * edge)
    touched = np.flatnonzero(near)
    out = np.zeros(x.shape, np.float32)
    out.ravel()[touched] = _covered(
        hand, along.ravel()[touched], across.ravel()[touched], sweep_rad, edge
    )
    return out


def _covered(hand: Hand, along: Soft, across: Soft, sweep_rad: float, edge: float) -> Soft:
    front = np.where(along < 0, np.float32(-1), np.float32(1))
    radius = np.hypot(along, across)
    arc = radius * np.arctan2(across, front * along)
    half = np.interp(front * radius, hand.along, hand.half).astype(np.float32)
    half = np.where(half < radius, radius * np.arcsin(np.minimum(half / (radius + 1e-9), 1)), half)
    reach = np.maximum(radius * np.float32(sweep_rad), np.float32(edge)) / 2
    overlap = np.minimum(arc + reach, half) - np.maximum(arc - reach, -half)
    sides = np.clip(overlap, 0, 2 * reach) / (2 * reach)
    ends = np.minimum(hand.along[-1] - front * radius, front * radius - hand.along[0]) / edge
    return np.asarray(sides * np.clip(ends + 0.5, 0, 1), dtype=np.float32)
