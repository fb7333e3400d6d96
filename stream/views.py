"""What is shown of a session: its state as a view, a picture's reading as a line."""

from dataclasses import replace
from math import ceil, degrees, floor

import numpy as np
from numpy.typing import NDArray

from readings import CollarAngle, Frame, Reading, Sense, Sweep, flag_sentence, frozen_array
from setups import (
    CAUTION,
    PEDAL_NOTE,
    DegArc,
    SetupState,
    advise,
    arcs_offered,
    flag_lines,
    guide_of,
    list_of,
    step_of,
    ticked,
)
from setups.advice import Move
from setups.arcs import changed, in_arcs
from setups.measuring import wanted_todo
from setups.rough import at_angle, at_stop
from stream.capture import Pose
from stream.keeping import Kept
from stream.messages import LineView, Live, Overlay, SessionView, SizeView, Trace
from sweeps import SweepFailure, find_falls

MOST_TRACE_POINTS = 180
MOST_OUTLINE_POINTS = 48
FALLS_APART_DEG = 20


def session_view(kept: Kept, troubles: tuple[str, ...], *, camera_lost: bool) -> SessionView:
    """Return everything a page needs; its revision is filled in by the session."""
    state = kept.state
    guide, step, dial = guide_of(state), step_of(state), state.instrument
    lines = list_of(step.checklist, state.shop_lines).lines if step.checklist else ()
    done = ticked(state.ticks, step.checklist or "")
    told = _told(state)
    return SessionView(
        revision=kept.revision,
        guide=state.guide,
        title=guide.title,
        setup_id=kept.setup_id,
        job=kept.job,
        part=state.part,
        operation=state.operation,
        tolerance_mm=state.tolerance_mm,
        diameter_mm=state.diameter_mm,
        instrument=dial.name,
        graduation_mm=dial.graduation_mm,
        marks_per_turn=dial.marks_per_turn,
        travel_mm=dial.travel_mm,
        step=state.step,
        kind=step.kind,
        step_number=[s.key for s in guide.steps].index(state.step) + 1,
        steps=len(guide.steps),
        advice=advise(state),
        checklist=step.checklist,
        lines=tuple(LineView(line.key, line.text, line.key in done) for line in lines),
        caution=_caution(step.checklist),
        found=state.found,
        history=state.history,
        sizes=tuple(
            SizeView(size.key, size.label, state.task.size(size.key), size.unit, size.tool)
            for size in guide.sizes
        ),
        measured=state.task.found,
        rounds=state.task.history,
        sentences=(*troubles, *told),
        trace=kept.trace,
        left_out=state.left_out,
        arcs_offered=arcs_offered(state) and not kept.finished,
        camera_lost=state.camera_lost or camera_lost,
        finished=kept.finished,
    )


def _caution(checklist: str | None) -> str:
    if checklist is None:
        return ""
    return f"{CAUTION} {PEDAL_NOTE}" if checklist == "before-hands" else CAUTION


def _told(state: SetupState) -> tuple[str, ...]:
    """Return the sentences of the flags that stand on the latest result."""
    if state.task.found is not None:
        return tuple(flag_sentence(name) for name in state.task.found.flags)
    return flag_lines(state.found, brief=True) if state.found else ()


def idle_view(troubles: tuple[str, ...], *, camera_lost: bool) -> SessionView:
    """Return what stands while no setup is running."""
    return SessionView(0, sentences=troubles, camera_lost=camera_lost)


def plain_line(frame: Frame, reading: Reading, collar: CollarAngle | None) -> Live:
    """Return what a picture said where no session follows it."""
    flags = reading.flags + (("collar not seen",) if collar is None else ())
    return Live(
        t_s=frame.t_s,
        index=frame.index,
        value_mm=reading.value_mm,
        divisions=reading.divisions,
        sigma_mm=reading.sigma_mm,
        flags=flags,
        sentences=tuple(flag_sentence(name) for name in flags),
        theta_deg=None,
        collar_deg=None if collar is None else degrees(collar.angle_rad),
        moving=False,
        turned_deg=None,
        samples=0,
        target_mm=None,
        target_divisions=None,
        window_mm=None,
        overlay=overlay(reading, collar),
    )


def trace_with(trace: Trace, sweep: Sweep, state: SetupState, *, anew: bool) -> Trace:
    """Return the trace with this turn in place of the last of its sense.

    `anew` drops the other sense too: a new pair begins.
    """
    mark = state.collar
    if mark is None or mark.sense is None or mark.zero_rad is None or not len(sweep):
        return trace
    every = max(1, -(-len(sweep) // MOST_TRACE_POINTS))
    angles = mark.sense * (sweep.angle_rad - mark.zero_rad)
    points = tuple(
        (round(degrees(angle), 2), round(float(value), 5))
        for angle, value in zip(angles[::every], sweep.value_mm[::every], strict=True)
    )
    rising = angles[-1] > angles[0]
    old = Trace() if anew else trace
    falls = _falls(sweep, angles)
    if rising:
        return Trace(anticlockwise=points, clockwise=old.clockwise, falls=falls)
    return Trace(anticlockwise=old.anticlockwise, clockwise=points, falls=falls)


def _falls(sweep: Sweep, theta_rad: NDArray[np.float64]) -> tuple[DegArc, ...]:
    """Return where the reading falls away, in whole degrees; none where none is told.

    Falls that a few missing samples part are one.
    """
    found = find_falls(replace(sweep, angle_rad=frozen_array(theta_rad)))
    arcs: tuple[DegArc, ...] = ()
    for start, end in () if isinstance(found, SweepFailure) else found:
        wide = floor(degrees(start)) % 360, (ceil(degrees(end)) + FALLS_APART_DEG) % 360
        arcs = changed(arcs, wide, out=True)
    return tuple((start, (end - FALLS_APART_DEG) % 360) for start, end in arcs)


def seen_sense(sense: int, state: SetupState) -> Sense | None:
    """Return the sense of θ, seen from above, in which the collar's angle goes by `sense`."""
    mark = state.collar
    if mark is None or mark.sense is None:
        return None
    return "anticlockwise" if sense * mark.sense > 0 else "clockwise"


def live_line(
    frame: Frame,
    reading: Reading,
    collar: CollarAngle | None,
    pose: Pose,
    state: SetupState | None,
    graduation_mm: float,
) -> Live:
    """Return what the last picture said, with the reading to bring the needle to."""
    theta = None
    if state is not None and pose.collar_rad is not None:
        theta = state.theta_rad(pose.collar_rad)
    target_mm, window_mm = _target(state, theta)
    flags = reading.flags + (("collar not seen",) if collar is None else ())
    value = pose.value_mm
    turned = pose.turned_rad
    return Live(
        t_s=frame.t_s,
        index=frame.index,
        value_mm=value,
        divisions=None if value is None else value / graduation_mm,
        sigma_mm=reading.sigma_mm if value is not None else None,
        flags=flags,
        sentences=tuple(flag_sentence(name) for name in flags),
        theta_deg=None if theta is None else degrees(theta),
        collar_deg=None if pose.collar_rad is None else degrees(pose.collar_rad),
        moving=pose.moving,
        turned_deg=None if turned is None else degrees(turned),
        samples=pose.samples,
        target_mm=target_mm,
        target_divisions=None if target_mm is None else target_mm / graduation_mm,
        window_mm=window_mm,
        overlay=overlay(reading, collar),
    )


def _target(state: SetupState | None, theta_rad: float | None) -> tuple[float | None, float | None]:
    """Return the reading to bring the needle to now, and near enough (mm)."""
    move = _wanted(state, theta_rad)
    if move is not None:
        return move.needle_mm, move.window_mm
    todo = None if state is None else wanted_todo(state)
    if todo is None or todo.needle_mm is None:
        return None, None
    away = todo.stylus_deg is not None and (
        theta_rad is None or not at_angle(theta_rad, todo.stylus_deg)
    )
    return (None, None) if away else (todo.needle_mm, todo.window_mm)


def _wanted(state: SetupState | None, theta_rad: float | None) -> Move | None:
    """Return the move in hand while the stylus stands where that move wants it."""
    if state is None or theta_rad is None or step_of(state).kind not in ("rough", "moves"):
        return None
    if in_arcs(theta_rad, state.left_out):
        return None
    advice = advise(state, theta_rad)
    if advice.move is None or not advice.moves:
        return None
    move = advice.moves[advice.move]
    return move if at_stop(theta_rad, move.stylus) else None


def overlay(reading: Reading, collar: CollarAngle | None) -> Overlay:
    """Return what was recognised, thinned and rounded to a tenth of a pixel."""
    markers = () if collar is None else tuple(_points(corners) for corners in collar.corners_px)
    sight = reading.sight
    if sight is None:
        return Overlay(markers_px=markers)
    every = max(1, -(-len(sight.outline_px) // MOST_OUTLINE_POINTS))
    return Overlay(
        outline_px=_points(sight.outline_px[::every]),
        needle_px=_points(sight.needle_px) if reading.ok else (),
        zero_px=_points(sight.zero_px.reshape(1, 2))[0],
        markers_px=markers,
    )


def _points(points_px: NDArray) -> tuple[tuple[float, float], ...]:  # type: ignore[type-arg]
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in points_px)
