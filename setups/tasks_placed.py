"""What guides by places find: a bar between centres, a square, a face on jacks, a hung casting."""

import numpy as np

from readings import format_length, move_word
from setups.guides import GUIDES
from setups.measured import CannotTell, Do, Measured, Number, Place
from setups.places import LAYOUTS, jack_places_mm
from setups.state import SetupState
from setups.tasks_common import allowance_of, budget_of, measured, refused, u_dial_of, windows_mm
from sweeps import (
    BudgetLine,
    JacksResult,
    ReversalResult,
    RollResult,
    SweepFailure,
    TraverseResult,
    fit_plane,
    level_on_jacks,
    reverse_square,
    roll_between_centres,
    tram_square,
    traverse,
    verdict,
)

PER_MM = 300.0
_U_PLACE_MM = 0.3
"""k = 1 of a place found by a rule or a handwheel."""


def _columns(state: SetupState, step: str) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return places (n, d), readings, sigmas and times of a run, in the order taken."""
    seen = state.task.run(step)
    where = {place.key: place.at_mm for place in places_of(state, step)}
    return (
        np.array([where[one.place] for one in seen]),
        np.array([one.value_mm for one in seen]),
        np.array([one.sigma_mm for one in seen]),
        np.array([one.at_s for one in seen]),
    )


def places_of(state: SetupState, step: str) -> tuple[Place, ...]:
    """Return the places of a step, made of the sizes that were entered."""
    layout = next(s.places for s in GUIDES[state.guide].steps if s.kept_as == step)
    return LAYOUTS[layout](dict(state.task.sizes))


def _run_along(state: SetupState, step: str) -> TraverseResult | SweepFailure:
    place, value, sigma, _ = _columns(state, step)
    dial = state.instrument
    return traverse(
        place[:, 0],
        value,
        sigma_mm=sigma,
        u_place_mm=_U_PLACE_MM,
        allowance=allowance_of(dial),
        u_dial_mm=u_dial_of(dial, value.tolist()),
    )


def bar_between_centres(state: SetupState) -> Measured | CannotTell:
    """Return how far a bar between centres lies off the table's travel, from above and beside.

    The bar turns about the centre at place 0; the dial looks down, then to the back.
    """
    above, beside = _run_along(state, "above"), _run_along(state, "beside")
    for run in (above, beside):
        if not isinstance(run, TraverseResult):
            return refused(run)
    assert isinstance(above, TraverseResult)
    assert isinstance(beside, TraverseResult)
    length = state.task.size("length")
    worse = max((above, beside), key=lambda run: abs(run.slope.rad))
    rise, u_rise = abs(worse.slope.over_mm(length)), worse.slope.u_over_mm(length)
    judged = verdict(rise, u_rise, state.tolerance_mm, worse.slope.dof)
    return measured(
        judged,
        numbers=(
            Number("above", "far end high by", above.slope.over_mm(length), "mm",
                   above.slope.u_over_mm(length)),
            Number("beside", "far end to the front by", beside.slope.over_mm(length), "mm",
                   beside.slope.u_over_mm(length)),
        ),
        sentence=f"The far end lies {format_length(abs(above.slope.over_mm(length)))} "
        f"{move_word('z', above.slope.rad)} and {format_length(abs(beside.slope.over_mm(length)))} "
        f"{move_word('y', -beside.slope.rad)}.",
        size_mm=rise,
        u_size_mm=u_rise,
        todo=tuple(_tailstock(state, above, beside)),
        budget=tuple((name, u * length / PER_MM) for name, u in budget_of(worse.budget)),
        flags=tuple(dict.fromkeys((*above.flags, *beside.flags))),
    )  # fmt: skip


def _tailstock(state: SetupState, above: TraverseResult, beside: TraverseResult) -> list[Do]:
    """Return what brings the far centre in line: beside first, the dial still stands there."""
    length, out = state.task.size("length"), []
    window = windows_mm(state.tolerance_mm)
    for run, axis, sign in ((beside, "y", -1.0), (above, "z", 1.0)):
        off = run.slope.over_mm(length)
        if abs(off) <= max(window, 0.3 * state.tolerance_mm):
            continue
        way = move_word(axis, -sign * off)  # type: ignore[arg-type]
        goal = run.reading_when_right_mm(length, 0.0)
        needle = f"{goal / state.instrument.graduation_mm:+.1f} divisions"
        dial = "still beside the far end" if axis == "y" else "above the far end"
        out.append(
            Do(
                what="far centre",
                headline=f"Far centre {way} {format_length(abs(off))}",
                detail=f"With the dial {dial}, move the far centre {way} until the needle stands "
                f"at {needle}.",
                needle_mm=goal if axis == "y" else None,
                window_mm=window,
                amount_mm=-sign * off,
            )
        )
    return out


def square_reversed(state: SetupState) -> Measured | CannotTell:
    """Return a square's own error apart from the machine's, from a run on either side."""
    runs = []
    for step, looks in (("first", "right"), ("second", "left")):
        place, value, sigma, _ = _columns(state, step)
        dial = state.instrument
        runs.append(
            tram_square(
                place[:, 0],
                value,
                looks=looks,  # type: ignore[arg-type]
                sigma_mm=sigma,
                u_place_mm=_U_PLACE_MM,
                allowance=allowance_of(dial),
                u_dial_mm=u_dial_of(dial, value.tolist()),
            )
        )
    found = reverse_square(runs[0], runs[1])
    if not isinstance(found, ReversalResult):
        return refused(found)
    length = state.task.size("length")
    judged = found.square.judge(state.tolerance_mm, length)
    return measured(
        judged,
        numbers=(
            Number("square", "the square's own error", found.square.over_mm(length), "mm",
                   found.square.u_over_mm(length)),
            Number("machine", "the machine's travel", found.machine.over_mm(length), "mm",
                   found.machine.u_over_mm(length)),
        ),
        sentence=f"The square is out by {format_length(abs(found.square.over_mm(length)))} and "
        f"the travel by {format_length(abs(found.machine.over_mm(length)))} over its length.",
        size_mm=abs(found.square.over_mm(length)),
        u_size_mm=found.square.u_over_mm(length),
        budget=tuple((name, u * length / PER_MM) for name, u in budget_of(found.budget)),
        flags=found.flags,
    )  # fmt: skip


def level_jacks(state: SetupState) -> Measured | CannotTell:
    """Return the slope of a rough face on three jacks, and how far to turn each."""
    place, value, sigma, _ = _columns(state, "heights")
    dial, sizes = state.instrument, dict(state.task.sizes)
    plane = fit_plane(
        place,
        value,
        sigma_mm=sigma,
        u_place_mm=_U_PLACE_MM,
        allowance=allowance_of(dial),
        u_dial_mm=u_dial_of(dial, value.tolist()),
    )
    found = level_on_jacks(plane, jack_places_mm(sizes), sizes["pitch"])
    if not isinstance(found, JacksResult):
        return refused(found)
    base = sizes["jacks_apart"]
    off = max(abs(found.plane.slope_x.over_mm(base)), abs(found.plane.slope_y.over_mm(base)))
    u_off = max(found.plane.slope_x.u_over_mm(base), found.plane.slope_y.u_over_mm(base))
    dof = min(found.plane.slope_x.dof, found.plane.slope_y.dof)
    judged = verdict(off, u_off, state.tolerance_mm, dof)
    moves = [move for move in found.moves if abs(move.lift_mm) > windows_mm(state.tolerance_mm)]
    return measured(
        judged,
        numbers=(
            Number("slope_x", "rises to the right", found.plane.slope_x.over_mm(base), "mm",
                   found.plane.slope_x.u_over_mm(base)),
            Number("slope_y", "rises to the back", found.plane.slope_y.over_mm(base), "mm",
                   found.plane.slope_y.u_over_mm(base)),
            Number("flatness", "flat to", found.plane.flatness_mz_mm, "mm",
                   found.plane.u_flatness_mm),
        ),
        sentence=f"The face is off level by {format_length(off)} between the jacks.",
        size_mm=off,
        u_size_mm=u_off,
        todo=tuple(
            Do(
                what=f"jack {move.jack + 1}",
                headline=f"Jack {move.jack + 1} {'up' if move.lift_mm > 0 else 'down'} "
                f"{abs(move.turns):.2f} turn",
                detail=f"{move.word.capitalize()} jack {move.jack + 1} by "
                f"{format_length(abs(move.lift_mm))}, {abs(move.turns):.2f} of a turn, "
                "then touch next.",
                amount_mm=move.lift_mm,
                turns=move.turns,
            )
            for move in moves
        ),
        budget=(("slope", u_off),),
        flags=found.flags,
    )  # fmt: skip


def share_on_centres(state: SetupState) -> Measured | CannotTell:
    """Return how to roll a casting hung between centres, and what skim leaves witnesses."""
    place, value, sigma, _ = _columns(state, "heights")
    dial, sizes = state.instrument, dict(state.task.sizes)
    half = sizes["jack_pair"] / 2
    found = roll_between_centres(
        place[:, 0],
        place[:, 1],
        value,
        sigma_mm=sigma,
        pairs_mm=[(-half, half)],
        pitch_mm=sizes["pitch"],
        allowance=allowance_of(dial),
        u_dial_mm=u_dial_of(dial, value.tolist()),
    )
    if not isinstance(found, RollResult):
        return refused(found)
    roll = found.least_removal
    width = found.width_mm
    off, u_off = abs(roll.angle.over_mm(width)), roll.angle.u_over_mm(width)
    judged = verdict(off, u_off, state.tolerance_mm, roll.angle.dof)
    end = found.end_errors_mm[1]
    return measured(
        judged,
        numbers=(
            Number("roll", "rolled by, over the width", roll.angle.over_mm(width), "mm", u_off),
            Number("removal", "skim that cleans", roll.skim_cleans_mm, "mm", roll.u_removal_mm),
            Number("witnesses", "skim that leaves witnesses", roll.skim_leaves_witnesses_mm, "mm",
                   roll.u_removal_mm),
            Number("share", "left at either end, shared", abs(end), "mm", found.u_end_error_mm),
            Number("along", "rise along the axis, to be cut", found.cut_along_mm, "mm"),
        ),
        sentence=f"Rolled by {format_length(off)} over the width from the least skim, which takes "
        f"{format_length(roll.removal_mm)}.",
        size_mm=off,
        u_size_mm=u_off,
        todo=tuple(
            Do(
                what=f"{'front' if move.across_mm < 0 else 'back'} jack",
                headline=f"{move.action.capitalize()} the "
                f"{'front' if move.across_mm < 0 else 'back'} jack {abs(move.turns):.2f} turn",
                detail=f"{move.action.capitalize()} the jack at the "
                f"{'front' if move.across_mm < 0 else 'back'} by {abs(move.turns):.2f} of a turn "
                f"({format_length(abs(move.lift_mm))}), then touch next.",
                amount_mm=move.lift_mm,
                turns=move.turns,
            )
            for move in roll.moves
        ) if off > windows_mm(state.tolerance_mm) else (),
        budget=budget_of(BudgetLine(line.name, line.u_mm * width / PER_MM) for line in roll.budget),
        flags=found.flags,
    )  # fmt: skip
