"""What turned guides find: tram of the head, a face swept square, a bar's runout.

Each is a pure function of the setup's state: numbers, verdict, and what to do with the reading
to bring the needle to.
"""

from collections.abc import Sequence
from math import degrees

from readings import Sweep, format_length, move_word
from setups.measured import CannotTell, Do, Measured, Number
from setups.state import SetupState
from setups.tasks_common import (
    SIDE_DEG,
    allowance_of,
    budget_of,
    measured,
    refused,
    stylus_words,
    u_dial_over,
    windows_mm,
)
from sweeps import (
    FaceResult,
    HeadMove,
    Slope,
    TramResult,
    bar_at_two_heights,
    face_square_to_spindle,
    runout,
    tram_by_arm,
)

PER_MM = 300.0
"""Leans are judged over this length, as charts of machine tests have it."""
_SHIMS_OUT_MM = 0.7
"""How far out the supports of a face stand, over the radius swept, where nobody measured."""


def _slope_numbers(key: str, label: str, slope: Slope) -> tuple[Number, Number]:
    return (
        Number(key, label, slope.over_mm(PER_MM), "mm per 300", slope.u_over_mm(PER_MM)),
        Number(f"{key}_arcsec", f"{label}, angle", slope.arcsec, "arcsec", slope.u_arcsec),
    )


def _worse(one: Slope, other: Slope) -> Slope:
    return max(one, other, key=lambda slope: abs(slope.rad))


def tram_head(state: SetupState) -> Measured | CannotTell:
    """Return the lean of the head against the surface swept, tilt and nod apart."""
    return tram_found(state, state.task.pairs[-1].sweeps)


def tram_found(state: SetupState, sweeps: Sequence[Sweep]) -> Measured | CannotTell:
    """Return the lean of the head from sweeps each way, by turns or by stops."""
    dial = state.instrument
    found = tram_by_arm(
        sweeps,
        state.task.size("arm"),
        u_radius_mm=0.5,
        allowance=allowance_of(dial),
        u_dial_mm=u_dial_over(dial, sweeps),
        travel_mm=dial.travel_mm,
    )
    if not isinstance(found, TramResult):
        return refused(found)
    judged = found.judge(state.tolerance_mm, PER_MM)
    todo = tuple(
        _head_todo(move, found, state)
        for move in found.moves
        if abs(move.lean_rad) * PER_MM > 0.5 * state.tolerance_mm
    )
    worse = _worse(found.lean_x, found.lean_y)
    return measured(
        judged,
        numbers=(
            *_slope_numbers("lean_x", "leans to the right", found.lean_x),
            *_slope_numbers("lean_y", "leans to the back", found.lean_y),
        ),
        sentence=_lean_sentence("The head leans", found.lean_x, found.lean_y),
        size_mm=abs(worse.over_mm(PER_MM)),
        u_size_mm=worse.u_over_mm(PER_MM),
        todo=todo,
        budget=budget_of(found.budget_x if worse is found.lean_x else found.budget_y),
        flags=found.flags,
    )


def _lean_sentence(begin: str, lean_x: Slope, lean_y: Slope) -> str:
    right = f"{format_length(abs(lean_x.over_mm(PER_MM)))} {move_word('x', lean_x.rad)}"
    back = f"{format_length(abs(lean_y.over_mm(PER_MM)))} {move_word('y', lean_y.rad)}"
    return f"{begin} {right} and {back} over 300 mm."


def _head_todo(move: HeadMove, found: TramResult, state: SetupState) -> Do:
    window = windows_mm(state.tolerance_mm * found.radius_mm / PER_MM)
    needle = f"{move.reading_mm / state.instrument.graduation_mm:+.1f} divisions"
    what = "tilt" if move.axis == "x" else "nod"
    return Do(
        what=f"head, {what}",
        headline=f"Top of the head {move.direction}",
        detail=f"With the stylus {stylus_words(move.look_at)}, {what} the head so that its top "
        f"goes {move.direction} until the needle stands at {needle}. That is "
        f"{degrees(move.lean_rad) * 60:.1f} minutes of arc.",
        stylus_deg=SIDE_DEG[move.look_at],
        needle_mm=move.reading_mm,
        window_mm=window,
    )


def square_face(state: SetupState) -> Measured | CannotTell:
    """Return the tilt of the part's own face against the spindle, and shims under it."""
    pair, dial, radius = state.task.pairs[-1], state.instrument, state.task.size("arm")
    half_x, half_y = state.task.size("supports_x") / 2, state.task.size("supports_y") / 2
    corners = [(half_x, half_y), (-half_x, half_y), (-half_x, -half_y), (half_x, -half_y)]
    found = face_square_to_spindle(
        pair.sweeps,
        radius,
        corners,
        allowance=allowance_of(dial),
        u_dial_mm=u_dial_over(dial, pair.sweeps),
        travel_mm=dial.travel_mm,
    )
    if not isinstance(found, FaceResult):
        return refused(found)
    judged = found.judge(state.tolerance_mm, PER_MM)
    worse = _worse(found.tilt_x, found.tilt_y)
    return measured(
        judged,
        numbers=(
            *_slope_numbers("tilt_x", "rises to the right", found.tilt_x),
            *_slope_numbers("tilt_y", "rises to the back", found.tilt_y),
        ),
        sentence=_lean_sentence("The face rises", found.tilt_x, found.tilt_y),
        size_mm=abs(worse.over_mm(PER_MM)),
        u_size_mm=worse.u_over_mm(PER_MM),
        todo=_shims(found, state),
        budget=budget_of(found.budget_x if worse is found.tilt_x else found.budget_y),
        flags=found.flags,
    )


_CORNERS = ("back right", "back left", "front left", "front right")


def _shims(found: FaceResult, state: SetupState) -> tuple[Do, ...]:
    worth = windows_mm(state.tolerance_mm)
    return tuple(
        Do(
            what=f"shim, {corner}",
            headline=f"Shim {corner}: {format_length(shim)}",
            detail=f"Put {format_length(shim)} more under the {corner} support, then touch next.",
            amount_mm=shim,
        )
        for corner, shim in zip(_CORNERS, found.shims_mm.tolist(), strict=True)
        if shim > worth
    )


def bar_runout(state: SetupState) -> Measured | CannotTell:
    """Return a test bar's runout at the nose and down at the far height."""
    near, far = state.task.pairs[-2:]
    if near.combined is None or far.combined is None:
        return CannotTell("A turn gave no runout: turn again.")
    heights = (0.0, -state.task.size("apart"))
    at_nose, at_far = runout(near.combined), runout(far.combined)
    axis = bar_at_two_heights(near.combined, heights[0], far.combined, heights[1])
    if not at_nose or not at_far or not axis:
        return refused(axis if not axis else at_nose if not at_nose else at_far)
    judged = at_far.judge(state.tolerance_mm)
    return measured(
        judged,
        numbers=(
            Number("tir_near", "runout at the nose (TIR)", at_nose.tir_mm, "mm", at_nose.u_tir_mm),
            Number("tir_far", "runout below (TIR)", at_far.tir_mm, "mm", at_far.u_tir_mm),
            Number("lean", "lean of the bar over 300", axis.axis.tilt_rad * PER_MM, "mm per 300",
                   axis.axis.u_tilt_rad * PER_MM),
            Number("high_spot", "high spot below", at_far.high_spot_deg, "deg"),
        ),
        sentence=f"The bar runs out by {format_length(at_nose.tir_mm)} at the nose and "
        f"{format_length(at_far.tir_mm)} below (TIR).",
        size_mm=at_far.tir_mm,
        u_size_mm=at_far.u_tir_mm,
        budget=budget_of(at_far.budget),
        flags=tuple(dict.fromkeys((*at_nose.flags, *at_far.flags))),
    )  # fmt: skip
