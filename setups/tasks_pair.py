"""What the guides of a pair of seats find: the second end beforehand, the proof afterwards."""

from math import hypot, sqrt

from readings import format_length
from setups.measured import CannotTell, Measured, Number
from setups.state import SetupState
from setups.tasks_common import budget_of, measured, refused
from sweeps import (
    ChainResult,
    ProofResult,
    centre_of,
    centring_left,
    end_face_limit,
    lock_shift,
    plug_clearance,
    plug_runout,
    prove,
    second_end,
)

U_TRAVEL_MM = 0.001
"""How far from straight the Z travel is allowed to be between depths (k = 1)."""
U_LOCK_MM = 0.002
"""How far locking a slide may push the table where nobody measured it (k = 1)."""


def proof_of_pair(state: SetupState) -> Measured | CannotTell:
    """Return how the second seat's axis lies to the first's, all swept from one side."""
    task = state.task
    down = (0.0, -task.size("first_apart"), -task.size("to_second"))
    depths = (*down, down[2] - task.size("second_apart"))
    steps = ("first-upper", "first-lower", "second-upper", "second-lower")
    centres = []
    for step, z_mm in zip(steps, depths, strict=True):
        combined = task.pair(step).combined
        if combined is None:
            return CannotTell("A turn gave no centre: turn again.")
        centres.append(centre_of(combined, z_mm, U_TRAVEL_MM))
    found = prove(centres[:2], centres[2:], (depths[2], depths[3]))
    if not isinstance(found, ProofResult):
        return refused(found)
    judged = found.judge_coaxiality(state.tolerance_mm)
    length = abs(depths[3] - depths[2])
    x, y, lean_x, lean_y = found.values.tolist()
    return measured(
        judged,
        numbers=(
            Number("coaxiality", "coaxial within (zone diameter)", found.coaxiality_mm, "mm",
                   found.u_coaxiality_mm),
            Number("bound", "surely coaxial within (95 %)", found.coaxiality_bound_mm, "mm"),
            Number("offset", "second axis off the first, middle", hypot(x, y), "mm"),
            Number("lean", "leans over its seat", hypot(lean_x, lean_y) * length, "mm",
                   found.u_parallelism_mm),
        ),
        sentence=f"The second seat is coaxial with the first within "
        f"{format_length(found.coaxiality_mm)} (zone diameter).",
        size_mm=found.coaxiality_mm,
        u_size_mm=found.u_coaxiality_mm,
        budget=budget_of(found.budget),
        flags=found.flags,
    )  # fmt: skip


def second_end_to_come(state: SetupState) -> Measured | CannotTell:
    """Return how coaxial the second seat will be if it is bored now, and what weighs most."""
    task, found = state.task, state.task.pairs[-1].combined
    if found is None:
        return CannotTell("A turn gave no centre: turn again.")
    left = (found.offset_x_mm, found.offset_y_mm)
    chain = (
        centring_left(left, found.covariance, found.dof_total),
        plug_clearance(task.size("clearance")),
        plug_runout(task.size("plug_tir")),
        end_face_limit(task.size("face_error"), task.size("face_across")),
        lock_shift(0.0, 0.0, U_LOCK_MM),
    )
    seat = (task.size("seat_near"), task.size("seat_near") + task.size("seat_length"))
    come = second_end(chain, seat)
    if not isinstance(come, ChainResult):
        return refused(come)
    judged = come.judge_coaxiality(state.tolerance_mm)
    shares = ", ".join(f"{w.name} {w.place_share:.0%}" for w in come.weights[:2])
    return measured(
        judged,
        numbers=(
            Number("coaxiality_bound", "coaxial within, 95 % of such", come.coaxiality_bound_mm,
                   "mm"),
            Number("coaxiality", "known part of it", come.coaxiality_mm, "mm"),
            Number("parallelism_bound", "parallel within, 95 % of such", come.parallelism_bound_mm,
                   "mm"),
            Number("least", "the least this way can give", come.coaxiality_least_mm, "mm"),
        ),
        sentence=f"Bored now, the second seat comes coaxial within "
        f"{format_length(come.coaxiality_bound_mm)}; {shares} weigh most.",
        size_mm=come.coaxiality_bound_mm,
        u_size_mm=sqrt(float(come.place_covariance.trace())),
        budget=tuple((weight.name, weight.u_place_mm) for weight in come.weights),
        flags=found.flags,
    )  # fmt: skip
