"""Truing held work: four independent jaws, packing under a scroll chuck's, a nudge.

The work turns under a still dial, so θ is measured on the work: the angle, from the mark
taken as 0, of the place that stands under the stylus. The offset e = work axis - axis of
rotation is in that frame, and the work must go by -e. A jaw pushes the work away from itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, isfinite, pi, sqrt
from typing import Literal

import numpy as np

from readings import Surface, reading_change_for_move
from sweeps.centring import CentringResult
from sweeps.fourier import Float
from sweeps.moves import needle_window_mm, plan_moves
from sweeps.result import SweepFailure, SweepResult

JAWS = 4


@dataclass(frozen=True, slots=True)
class JawStep:
    """One pair of opposite jaws: slacken one, then tighten the other, by as much.

    `reading_mm` is what the dial must show with jaw `tighten` under the stylus (at
    `at_deg` of the work), and `window_mm` near enough; `turns` of either jaw's screw, None
    where its pitch is not known. `u_mm` is of the move (k = 1).
    """

    slacken: int
    tighten: int
    move_mm: float
    u_mm: float
    turns: float | None
    at_deg: float
    reading_mm: float
    window_mm: float


@dataclass(frozen=True, slots=True)
class JawPlan:
    """The steps in order, the larger first; none where the work runs true enough."""

    steps: tuple[JawStep, ...]
    eccentricity_mm: float
    dof: float
    message: str

    def __bool__(self) -> Literal[True]:
        return True


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """The offset with everything a plan needs of it."""

    offset: Float
    covariance: Float
    dof: float
    surface: Surface
    found: CentringResult | SweepResult

    def shape_mm(self, theta_rad: float) -> float:
        return float(self.found.shape_mm(theta_rad))


def _held(found: CentringResult | SweepResult | SweepFailure) -> _Held | SweepFailure:
    if isinstance(found, SweepFailure):
        return found
    covariance = found.covariance if isinstance(found, CentringResult) else found.u_offset_mm
    x, y, surface = found.offset_x_mm, found.offset_y_mm, found.surface
    if x is None or y is None or covariance is None or surface is None:
        return SweepFailure("What was swept is not said, so the offset has no direction.")
    return _Held(np.array([x, y]), covariance, found.dof_total, surface, found)


def four_jaw(
    found: CentringResult | SweepResult | SweepFailure,
    *,
    jaw1_deg: float,
    tolerance_mm: float,
    clockwise: bool = False,
    pitch_mm: float | None = None,
) -> JawPlan | SweepFailure:
    """Return which jaws to turn, how much, in what order, and what the dial must show.

    Parameters
    ----------
    found
        The swept work, its angle from a mark that stays on work or chuck.
    jaw1_deg
        Angle of jaw 1 in that frame.
    tolerance_mm
        Tolerance on the eccentricity: parts under 15 % of it are left.
    clockwise
        Whether jaws 2, 3 and 4 follow clockwise (at -90, -180, -270 degrees of jaw 1).
    pitch_mm
        Travel of a jaw for one turn of its screw.

    Returns
    -------
    JawPlan or SweepFailure
        Opposite jaws share a line, so each pair takes out the part of e along it; the dial,
        at a jaw, sees nothing of the other pair's. A failure for a tolerance or a pitch of
        nothing, an angle that is not a number, or a sweep without an offset.
    """
    held = _held(found)
    if isinstance(held, SweepFailure):
        return held
    if not (isfinite(jaw1_deg) and tolerance_mm > 0 and (pitch_mm is None or pitch_mm > 0)):
        return SweepFailure(
            "A four-jaw chuck needs jaw 1's angle, and a tolerance and a pitch above zero."
        )
    first = np.radians(jaw1_deg)
    angles = [first + k * (-pi / 2 if clockwise else pi / 2) for k in range(JAWS)]
    parts = [float(held.offset @ _unit(angle)) for angle in angles[:2]]
    order = plan_moves(parts[0], parts[1], tolerance_mm)
    steps = [
        _jaw_step(held, angles, 0 if axis == "x" else 1, tolerance_mm, pitch_mm) for axis in order
    ]
    size = hypot(*held.offset.tolist())
    return JawPlan(tuple(steps), size, held.dof, f"{len(steps)} pair(s) of jaws to turn")


def _unit(angle: float) -> Float:
    return np.array([np.cos(angle), np.sin(angle)])


def _jaw_step(
    held: _Held, angles: Sequence[float], pair: int, tolerance_mm: float, pitch_mm: float | None
) -> JawStep:
    """Return the step of one pair: the jaw towards which the work lies pushes it back."""
    part = float(held.offset @ _unit(angles[pair]))
    tighten, slacken = (pair, pair + 2) if part > 0 else (pair + 2, pair)
    unit = _unit(angles[tighten])
    u_mm = sqrt(max(float(unit @ held.covariance @ unit), 0.0))
    return JawStep(
        slacken=slacken + 1,
        tighten=tighten + 1,
        move_mm=abs(part),
        u_mm=u_mm,
        turns=None if pitch_mm is None else abs(part) / pitch_mm,
        at_deg=float(np.degrees(angles[tighten])) % 360.0,
        reading_mm=held.shape_mm(angles[tighten]),
        window_mm=needle_window_mm(tolerance_mm),
    )


@dataclass(frozen=True, slots=True)
class Nudge:
    """One push on a faceplate, in an angle or on a dividing head: from where, how far.

    `push_at_deg` is the side of the work to push on, towards the axis, with that side under
    the stylus (`stylus_deg`, the same place or the one opposite in a bore). The dial then
    shows `now_mm` and must show `reading_mm`.
    """

    push_at_deg: float
    u_push_deg: float
    move_mm: float
    u_mm: float
    dof: float
    stylus_deg: float
    now_mm: float
    reading_mm: float
    window_mm: float
    worth: bool
    """False where the work runs true enough to be left alone."""

    def __bool__(self) -> Literal[True]:
        return True


def nudge(
    found: CentringResult | SweepResult | SweepFailure, *, tolerance_mm: float
) -> Nudge | SweepFailure:
    """Return the one push that trues work on a faceplate or a dividing head.

    It goes on the side to which the work lies out, by the eccentricity: half of a pure
    offset's TIR. The stylus stands at the high spot throughout.
    """
    held = _held(found)
    if isinstance(held, SweepFailure):
        return held
    if not tolerance_mm > 0:
        return SweepFailure("The tolerance must be a length above zero.")
    size = float(np.hypot(*held.offset))
    if size == 0:
        return SweepFailure("The work runs true: there is no side to push on.")
    along = held.offset / size
    across = np.array([-along[1], along[0]])
    side = float(np.arctan2(along[1], along[0]))
    stylus = side if held.surface != "bore" else side + pi
    reading = held.shape_mm(stylus)
    x, y = held.offset.tolist()
    rise = reading_change_for_move(x, y, np.cos(stylus), np.sin(stylus), held.surface)
    return Nudge(
        push_at_deg=float(np.degrees(side)) % 360.0,
        u_push_deg=float(np.degrees(sqrt(float(across @ held.covariance @ across)) / size)),
        move_mm=size,
        u_mm=sqrt(float(along @ held.covariance @ along)),
        dof=held.dof,
        stylus_deg=float(np.degrees(stylus)) % 360.0,
        now_mm=reading + rise,
        reading_mm=reading,
        window_mm=needle_window_mm(tolerance_mm),
        worth=len(plan_moves(size, 0.0, tolerance_mm)) > 0,
    )


@dataclass(frozen=True, slots=True)
class Packing:
    """Packing under the jaws of a scroll chuck, jaw by jaw (mm), one of them always none."""

    thickness_mm: tuple[float, ...]
    u_mm: tuple[float, ...]
    """Of each thickness, k = 1; nothing for the jaw that is not packed."""
    dof: float

    def __bool__(self) -> Literal[True]:
        return True


def scroll_packing(
    found: CentringResult | SweepResult | SweepFailure, *, jaw1_deg: float, jaws: int = 3
) -> Packing | SweepFailure:
    """Return the packing that trues work held in a scroll chuck's evenly spaced jaws.

    A scroll keeps its jaws at one radius ρ, so packing t at a jaw along u_k asks
    ``m · u_k = ρ - t_k`` of the move m. The jaws' unit vectors add up to nothing: the
    smallest packing not below zero has ``t_k = max_j (m · u_j) - m · u_k``, which for one
    jaw of three is 1.5 times the move it makes. A failure under three jaws.
    """
    held = _held(found)
    if isinstance(held, SweepFailure):
        return held
    if jaws < 3 or not isfinite(jaw1_deg):
        return SweepFailure("A scroll chuck needs three jaws or more, and the angle of jaw 1.")
    angles = np.radians(jaw1_deg) + 2 * pi * np.arange(jaws) / jaws
    units = np.column_stack([np.cos(angles), np.sin(angles)])
    along = units @ -held.offset
    thickness = along.max() - along
    apart = units[int(np.argmax(along))] - units
    u_mm = np.sqrt(np.maximum(np.sum(apart @ held.covariance * apart, axis=1), 0.0))
    return Packing(tuple(thickness.tolist()), tuple(u_mm.tolist()), held.dof)
