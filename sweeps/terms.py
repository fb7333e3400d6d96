"""Budget lines by their names in the trade, each from the figure a person has at hand."""

from collections.abc import Mapping
from math import isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike

from sweeps.budget import BudgetLine
from sweeps.distributions import Rectangular, span
from sweeps.result import SweepFailure

TERMS: Mapping[str, str] = {
    "fit": "scatter of the readings about the fitted curve",
    "reader": "what the camera's reading errs by every time at one place of the scale",
    "dial": "the dial's own error, from its check or its class",
    "retrace": "the needle's rest at each turn of its motion",
    "lag": "dial and angle seen at different times",
    "lever gain": "how well the lever's angle is known",
    "target scale": "how true to size a printed target is",
    "still target": "how a target that stands still lies before the camera",
    "height": "a height by rule or gauge, seen aslant",
    "temperature": "warmth between the first reading and the last",
    "roundness": "lobes the places cannot tell from offset, times their leak",
    "repeatability": "setting up anew",
}
"""The names a budget may hold, and what each stands for."""
STEEL_PER_KELVIN = 11.5e-6
"""Expansion of steel (ISO 286-1, annex; 1.15 µm per 100 mm and kelvin)."""


def dial_span(limit_mm: float, factor: float = 1.0) -> BudgetLine:
    """Return a dial's line from a limit on its whole span of error: S/√12."""
    return BudgetLine.of("dial", span(limit_mm), factor, "limit on the span of its error")


def dial_plus_minus(limit_mm: float, factor: float = 1.0) -> BudgetLine:
    """Return a dial's line from a limit stated as ± a, or on a difference: a/√3."""
    return BudgetLine.of("dial", Rectangular(limit_mm), factor, "limit on its error")


def gain_line(value_mm: float, u_relative: float, dof: float) -> BudgetLine:
    """Return the lever's line on a value that its gain multiplies."""
    return BudgetLine("lever gain", abs(value_mm) * u_relative, dof, "a known move")


def scale_line(
    value_mm: float, printed_mm: float, u_printed_mm: float
) -> BudgetLine | SweepFailure:
    """Return a target's line from how well its printed length was measured with a rule."""
    if not (isfinite(printed_mm) and printed_mm > 0):
        return SweepFailure("The printed length must be above zero.")
    u_mm = abs(value_mm) * u_printed_mm / printed_mm
    return BudgetLine("target scale", u_mm, note="its printed length by a rule")


def warmth_line(
    length_mm: float, half_kelvin: float, per_kelvin: float = STEEL_PER_KELVIN
) -> BudgetLine:
    """Return the line of a length whose temperature may change by ± `half_kelvin`.

    >>> round(warmth_line(100.0, 1.0).u_mm * 3**0.5, 6)
    0.00115
    """
    factor = abs(length_mm) * per_kelvin
    return BudgetLine.of("temperature", Rectangular(half_kelvin), factor, "warmth of the machine")


def leak_line(lobe_mm: float, leak: float) -> BudgetLine:
    """Return the line of a lobe of this amplitude and unknown phase that leaks by `leak`."""
    return BudgetLine("roundness", abs(lobe_mm * leak) / sqrt(2), note="allowed lobe times leak")


def repeat_line(values_mm: ArrayLike, *, mean_of: int = 1) -> BudgetLine | SweepFailure:
    """Return the line of setting up anew from n values found so, n >= 2.

    `mean_of` is how many set-ups the result is the mean of.
    """
    values = np.asarray(values_mm, dtype=np.float64)
    if values.ndim != 1 or len(values) < 2 or not np.isfinite(values).all() or mean_of < 1:
        return SweepFailure("Repeatability needs two values or more, all of them numbers.")
    u_mm = float(values.std(ddof=1)) / sqrt(mean_of)
    return BudgetLine("repeatability", u_mm, len(values) - 1, f"{len(values)} set-ups")
