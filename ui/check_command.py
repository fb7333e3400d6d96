"""The engine of `sparehand dial check`: known steps in, an error table and its verdict out."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from math import isfinite
from typing import Any

import numpy as np

from calibration.dial_classes import DialClass
from calibration.dial_classes_judge import (
    ClassVerdict,
    ItemVerdict,
    judge_table,
    refuse_other_class,
)
from calibration.dial_errors import (
    ErrorTable,
    MadeWith,
    deviations,
    largest_mm,
    partial_mm,
    repeatability_mm,
    retrace_mm,
    u_deviation_mm,
    whole_range_mm,
)
from calibration.dials import TaughtDial
from readings import BadInputError, frozen_array
from ui.check_steps import TRIES, Step, StepReader, StepReading, steps_of
from ui.output import put_table, tell

MOST_RUNS = 20
COLDEST_C, HOTTEST_C = -20.0, 60.0
PLAUSIBLE_TURNS = 0.25
"""A reading further than this from where its step would put it is no error of a dial."""


@dataclass(frozen=True, slots=True, eq=False)
class CheckRequest:
    """What a person asked to be checked, and with what."""

    dial: TaughtDial
    steps_mm: np.ndarray
    made_with: MadeWith
    at_utc: datetime
    runs: int = 1
    temperature_c: float | None = None
    dial_class: DialClass | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.runs <= MOST_RUNS:
            msg = f"--repeats {self.runs} cannot be used: give 1 to {MOST_RUNS}."
            raise BadInputError(msg)
        warm = self.temperature_c
        if warm is not None and not (isfinite(warm) and COLDEST_C <= warm <= HOTTEST_C):
            msg = (
                f"--temperature {warm:g} cannot be used: give degrees C from {COLDEST_C:g} "
                f"to {HOTTEST_C:g}."
            )
            raise BadInputError(msg)

    @property
    def order(self) -> list[Step]:
        """The readings to take, in order."""
        return steps_of(self.steps_mm, self.runs, both_ways=self.made_with.both_ways)


def check_dial(request: CheckRequest, reader: StepReader) -> tuple[ErrorTable, ClassVerdict | None]:
    """Take every reading and return the table, not yet kept, with its verdict.

    Raises
    ------
    BadInputError
        If a reading is missing or refused, lies over a quarter of a turn from where its
        step would put it, the dial does not rise with the steps, or the class does not fit.
    """
    if request.dial_class is not None:
        refuse_other_class(request.dial_class, request.dial.graduation_mm, request.dial.name)
    order = request.order
    values, sigmas_mm = _gone_through(request, order, reader)
    up = _columns(request, order, values, "up")
    down = _columns(request, order, values, "down")
    _demand_rise(request, up)
    table = ErrorTable(
        dial=request.dial.name,
        dial_version=request.dial.version,
        number=0,
        at_utc=request.at_utc,
        temperature_c=request.temperature_c,
        made_with=request.made_with,
        graduation_mm=request.dial.graduation_mm,
        marks_per_turn=request.dial.marks_per_turn,
        steps_mm=frozen_array(request.steps_mm),
        up_mm=up,
        down_mm=down,
        u_reading_mm=float(np.sqrt(np.mean(np.square(sigmas_mm)))),
    )
    return _judged(table, request)


def _judged(table: ErrorTable, request: CheckRequest) -> tuple[ErrorTable, ClassVerdict | None]:
    if request.dial_class is None:
        return table, None
    travel = request.dial.travel_mm
    found = judge_table(table, request.dial_class, travel[1] - travel[0] if travel else None)
    return replace(table, judged_by=request.dial_class.name, verdict=found.word), found


def _gone_through(
    request: CheckRequest, order: list[Step], reader: StepReader
) -> tuple[list[float], list[float]]:
    """Return the readings with whole turns, and their sigmas, in mm."""
    turn = request.dial.mm_per_turn
    values: list[float] = []
    sigmas: list[float] = []
    begun, anchored, refused = 0.0, False, 0
    while len(values) < len(order):
        step = order[len(values)]
        reading = reader.read(step)
        if reading is None:
            _take_back(values, sigmas)
            continue
        value = _near(reading, begun + step.step_mm, turn)
        if reading.turns_known and not anchored:  # the readings before it lie in the same turns
            shift = round((value - begun - step.step_mm) / turn) * turn
            values = [v + shift for v in values]
            begun, anchored = begun + shift, True
        if not values:
            begun = value - step.step_mm
        why = _implausible(step, value - begun - step.step_mm, request.dial)
        refused = refused + 1 if why else 0
        if why:
            _demand_another_try(why, reader, refused)
            continue
        values.append(value)
        sigmas.append(reading.sigma_mm)
    return values, sigmas


def _take_back(values: list[float], sigmas: list[float]) -> None:
    if not values:
        tell("There is no reading to take back.")
        return
    values.pop()
    sigmas.pop()


def _implausible(step: Step, off_mm: float, dial: TaughtDial) -> str:
    """Return why a reading so far off can be none; empty where it can."""
    if abs(off_mm) <= PLAUSIBLE_TURNS * dial.mm_per_turn:
        return ""
    return (
        f"at {step.step_mm:g} mm (step {step.place} of {step.places}) the dial is out by "
        f"{off_mm / dial.graduation_mm:+.1f} divisions: no dial's error; look at the step and "
        "the reading"
    )


def _demand_another_try(why: str, reader: StepReader, refused: int) -> None:
    """Tell a person what to do again; without one, or after a few tries, give the check up."""
    if not reader.by_person or refused >= TRIES:
        msg = f"{why}, and begin again: nothing was kept."
        raise BadInputError(msg)
    tell(f"{why[0].upper()}{why[1:]}, or type b to take back the one before.")


def _near(reading: StepReading, expected_mm: float, turn_mm: float) -> float:
    if reading.turns_known:
        return reading.value_mm
    return reading.value_mm + round((expected_mm - reading.value_mm) / turn_mm) * turn_mm


def _columns(request: CheckRequest, order: list[Step], values: list[float], way: str) -> np.ndarray:
    """Return (steps, runs) readings of one way, (steps, 0) where it was not gone."""
    rows = [
        [v for v, s in zip(values, order, strict=True) if s.way == way and s.step_mm == at]
        for at in map(float, request.steps_mm)
    ]
    return frozen_array(np.array(rows).reshape(len(rows), -1))


def _demand_rise(request: CheckRequest, up: np.ndarray) -> None:
    rise = float(np.mean(up[-1] - up[0]))
    length = float(request.steps_mm[-1] - request.steps_mm[0])
    if rise < length / 2:
        msg = (
            f"the dial rose by {rise:.4f} mm over steps of {length:.4f} mm: steps count in the "
            "sense that pushes the stylus in; nothing was kept."
        )
        raise BadInputError(msg)


# what is told


def table_fields(table: ErrorTable, verdict: ClassVerdict | None) -> dict[str, Any]:
    """Return a check as the documented JSON fields."""
    found = deviations(table)
    rows = [
        {
            "step_mm": float(step),
            "up_mm": table.up_mm[k].tolist(),
            "down_mm": table.down_mm[k].tolist(),
            "deviation_up_mm": float(found.up_mm[k]),
            "deviation_down_mm": float(found.down_mm[k]) if table.both_ways else None,
        }
        for k, step in enumerate(table.steps_mm)
    ]
    return {
        "dial": table.dial,
        "version": table.dial_version,
        "number": table.number,
        "date": table.at_utc.isoformat(),
        "temperature_c": table.temperature_c,
        "made_with": table.made_with.name,
        "u_step_mm": table.made_with.u_step_mm,
        "u_reading_mm": table.u_reading_mm,
        "u_deviation_mm": u_deviation_mm(table),
        "steps": rows,
        "whole_range_mm": whole_range_mm(table),
        "whole_range_up_mm": whole_range_mm(table, both=False),
        "largest_deviation_mm": largest_mm(table),
        "partial": _partials(table),
        "retrace_mm": retrace_mm(table),
        "repeatability_mm": repeatability_mm(table),
        "class": _class_fields(verdict) if verdict else None,
        "verdict": table.verdict,
    }


def _partials(table: ErrorTable) -> list[dict[str, Any]]:
    shares = (share for share in (0.1, 0.5, 1.0) if share * table.mm_per_turn <= table.length_mm)
    return [
        {"over_turns": share, "error_mm": partial_mm(table, share * table.mm_per_turn)}
        for share in shares
    ]


def _class_fields(verdict: ClassVerdict) -> dict[str, Any]:
    made = verdict.dial_class
    return {
        "name": made.name,
        "title": made.title,
        "source": made.source,
        "known": made.known,
        "verdict": verdict.word,
        "limits": [_item_fields(item) for item in verdict.items],
    }


def _item_fields(item: ItemVerdict) -> dict[str, Any]:
    return {
        "what": item.limit.title,
        "kind": item.limit.kind,
        "value_mm": item.value_mm,
        "u_mm": item.u_mm,
        "limit_mm": item.limit_mm,
        "verdict": item.word,
        "reason": item.reason or None,
    }


def put_check(table: ErrorTable, verdict: ClassVerdict | None) -> None:
    """Show a check to a person."""
    found = deviations(table)
    down = found.down_mm if table.both_ways else [None] * len(table.steps_mm)
    rows = (
        (f"{step:g}", _um(up), _um(back))
        for step, up, back in zip(table.steps_mm, found.up_mm, down, strict=True)
    )
    put_table(
        f"Check {table.number} of {table.dial}, {table.at_utc:%Y-%m-%d}, {table.made_with.name}",
        ("step mm", "up µm", "down µm"),
        rows,
    )
    put_table(
        "Its error",
        ("what", "µm", "± µm (k=2)", "limit µm", "verdict"),
        _judged_rows(verdict, table),
    )


def _judged_rows(verdict: ClassVerdict | None, table: ErrorTable) -> Iterable[tuple[str, ...]]:
    if verdict is None:
        u_um = f"{2e3 * 2**0.5 * u_deviation_mm(table):.2f}"
        yield "whole range", _um(whole_range_mm(table)), u_um, "", "no class was given"
        yield "retrace", _um(retrace_mm(table)), "", "", ""
        yield "repeatability", _um(repeatability_mm(table)), "", "", ""
        return
    for item in verdict.items:
        said = f"{item.word}: {item.reason}" if item.reason else item.word
        limit = f"{1e3 * item.limit_mm:g}"
        yield item.limit.title, _um(item.value_mm), f"{2e3 * item.u_mm:.2f}", limit, said
    yield verdict.dial_class.title, "", "", "", verdict.word


def _um(value_mm: float | None) -> str:
    return "" if value_mm is None else f"{1e3 * value_mm:+.2f}"
