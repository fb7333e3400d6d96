"""What the tasks share: allowances, the dial's own part, words for the side of a stylus."""

from collections.abc import Iterable, Sequence

import numpy as np

from readings import DIRECTION_DEG, Direction, Sweep
from setups.measured import CannotTell, Do, Measured, Number
from setups.state import Instrument
from sweeps import Allowance, BudgetLine, SweepFailure, Verdict, needle_window_mm

SIDE_DEG: dict[Direction, float] = DIRECTION_DEG


def stylus_words(side: Direction) -> str:
    """Return where the stylus stands, as it is said."""
    return {"right": "to the right", "left": "to the left", "back": "to the back"}.get(
        side, "to the front"
    )


def allowance_of(dial: Instrument) -> Allowance:
    """Return the stated allowances for readings with this dial."""
    return Allowance.for_graduation(dial.graduation_mm)


def windows_mm(tolerance_mm: float) -> float:
    """Return how near the needle is brought to its reading."""
    return needle_window_mm(tolerance_mm)


def u_dial_over(dial: Instrument, sweeps: Iterable[Sweep]) -> float | None:
    """Return the dial's own uncertainty over the swing of sweeps, None while unchecked."""
    swings = [float(np.ptp(sweep.value_mm)) for sweep in sweeps if len(sweep)]
    return dial.u_dial_mm(max(swings, default=0.0))


def u_dial_of(dial: Instrument, values_mm: Sequence[float]) -> float | None:
    """Return the dial's own uncertainty on a difference of such readings."""
    return dial.u_dial_mm(max(values_mm) - min(values_mm))


def budget_of(lines: Iterable[BudgetLine]) -> tuple[tuple[str, float], ...]:
    """Return a budget as it is kept: name and u (mm, k = 1)."""
    return tuple((line.name, line.u_mm) for line in lines)


def refused(failure: object) -> CannotTell:
    """Return why a fit gave no number."""
    assert isinstance(failure, SweepFailure)
    return CannotTell(failure.reason, failure.flags)


def measured(
    judged: Verdict,
    *,
    numbers: tuple[Number, ...],
    sentence: str,
    size_mm: float,
    u_size_mm: float | None,
    todo: tuple[Do, ...] = (),
    budget: tuple[tuple[str, float], ...] = (),
    flags: tuple[str, ...] = (),
) -> Measured:
    """Return what a round found, judged against its tolerance."""
    return Measured(
        numbers=numbers,
        sentence=sentence,
        size_mm=size_mm,
        u_size_mm=u_size_mm,
        verdict=judged.word,
        guard_mm=judged.guard_mm,
        least_provable_mm=judged.least_provable_mm,
        todo=todo,
        budget=budget,
        flags=flags,
    )
