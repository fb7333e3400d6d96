"""Put right what a dial reads by its error table, and say what the dial leaves uncertain.

A table holds for the bezel as it stood during the check: the scale's own errors go round
with it. Outside its steps nothing is put right.
"""

from dataclasses import dataclass
from datetime import datetime
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from calibration.dial_errors import (
    ErrorTable,
    deviations,
    partial_mm,
    retrace_mm,
    scatter_mm,
    u_deviation_mm,
)
from readings import BadInputError, frozen_array

Float = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Corrected:
    """A reading put right: `value_mm` = reading + `correction_mm`; `u_mm` is k = 1 of it."""

    value_mm: float
    correction_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Correction:
    """What is to be added to a reading; linear between the steps of the table.

    `reading_mm` (n,) rises; `deviation_mm` (n,) is the mean of both directions there. `u_mm`
    is k = 1 of one reading put right, `u_half_difference_mm` of what is left in half the
    difference of two, without retrace and scatter, which a sweep's own budget holds.
    """

    number: int
    at_utc: datetime
    mm_per_turn: float
    reading_mm: Float
    deviation_mm: Float
    u_mm: float
    u_half_difference_mm: float

    def correct(self, value_mm: float) -> Corrected | None:
        """Return a reading with whole turns put right; None outside the table.

        >>> from datetime import UTC, datetime
        >>> now = datetime(2026, 11, 25, tzinfo=UTC)
        >>> read, off = np.array([0.0, 0.502, 1.004]), np.array([0.0, 0.002, 0.004])
        >>> half = Correction(1, now, 1.0, read, off, 0.0004, 0.0002).correct(0.502)
        >>> round(half.value_mm, 6)
        0.5
        """
        if not self.reading_mm[0] <= value_mm <= self.reading_mm[-1]:
            return None
        off = float(np.interp(value_mm, self.reading_mm, self.deviation_mm))
        return Corrected(value_mm - off, -off, self.u_mm)

    def turns_off(self, low_mm: float, high_mm: float) -> int | None:
        """Return how many turns to add so that low … high lies in the table.

        For readings whose turns nobody knows: None where no number of turns fits, or more
        than one does.
        """
        turn = self.mm_per_turn
        least = int(np.ceil((self.reading_mm[0] - low_mm) / turn - 1e-12))
        most = int(np.floor((self.reading_mm[-1] - high_mm) / turn + 1e-12))
        return least if least == most else None


def correction_of(table: ErrorTable) -> Correction:
    """Return the correction of a table.

    Its uncertainty holds the deviation's own, half the retrace (which way the needle came is
    not known), one reading's scatter, and between two steps half of what neighbours differ.

    Raises
    ------
    BadInputError
        If the readings do not rise with the steps: a dial that sticks cannot be put right.
    """
    found = deviations(table)
    mean = found.mean_mm
    at = table.reference
    zero = float(table.up_mm[at].mean()) - float(table.steps_mm[at])
    off = mean - mean[at]
    reading = table.steps_mm + zero + mean
    if not np.all(np.diff(reading) > 0):
        msg = (
            f"check {table.number} of {table.dial} shows a dial that does not rise with every "
            "step, so it cannot put a reading right: have the dial seen to and check it again."
        )
        raise BadInputError(msg)
    return Correction(
        table.number,
        table.at_utc,
        table.mm_per_turn,
        frozen_array(reading),
        frozen_array(off),
        *_uncertainties_mm(table, off),
    )


def _uncertainties_mm(table: ErrorTable, off: Float) -> tuple[float, float]:
    """Return k = 1 of a reading put right, and of half the difference of two."""
    between = float(np.max(np.abs(np.diff(off)))) / 2 / sqrt(3)
    table_mm = hypot(u_deviation_mm(table), between)
    half_back = (retrace_mm(table) or 0.0) / 2 / sqrt(3)
    return hypot(table_mm, half_back, scatter_mm(table)), table_mm / sqrt(2)


def u_half_difference_mm(table: ErrorTable, span_mm: float) -> float | None:
    """Return k = 1 of what the dial does to half the swing of a sweep of `span_mm`, uncorrected.

    Two readings so far apart differ wrongly by at most the table's worst stretch of that
    length, S, wherever the bezel stood; half of it is the eccentricity's: S/2 as half-width
    of a rectangle, S/√12. As in JIS B 7503 the first two turns stand for short stretches
    of all. None where the sweep swings further than the table goes.
    """
    if span_mm > table.length_mm:
        return None
    early = table.steps_mm[:-1] - table.steps_mm[0] < 2 * table.mm_per_turn - 1e-6
    finest = float(np.max(np.diff(table.steps_mm)[early]))
    worst = partial_mm(table, max(span_mm, finest)) or 0.0
    return hypot(worst / sqrt(12), u_deviation_mm(table) / sqrt(2))


def u_by_span_mm(table: ErrorTable, most: int = 40) -> tuple[tuple[float, float], ...]:
    """Return (span, u) pairs of `u_half_difference_mm`, spans rising to the table's length."""
    spans = table.steps_mm[1:] - table.steps_mm[0]
    chosen = spans[:: -max(1, -(-len(spans) // most))][::-1]
    pairs = [(float(span), u_half_difference_mm(table, float(span))) for span in chosen]
    return tuple((span, u) for span, u in pairs if u is not None)
