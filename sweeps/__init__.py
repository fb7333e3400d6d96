"""Readings become numbers: pure functions on arrays.

No files, clocks, sockets, images or global random state; inputs are not changed. May
import `readings` only.
"""

from sweeps.allowance import DEFAULT_ALLOWANCE, STOP_ANGLE_RAD, Allowance
from sweeps.budget import BudgetLine, Combined, Verdict, combine, coverage_factor, verdict
from sweeps.centring import CentringResult, combine_turns
from sweeps.circles import CircleFit, Roundness, fit_circle, roundness
from sweeps.contact import detect_clipped
from sweeps.points import FewPoints, four_point, three_point
from sweeps.result import (
    Harmonic,
    SweepFailure,
    SweepResult,
    UnusableResultError,
    offset_geometry,
)
from sweeps.stops import MIN_PAUSE_S, Stop, find_stops
from sweeps.turn import fit_turn

__all__ = [
    "DEFAULT_ALLOWANCE",
    "MIN_PAUSE_S",
    "STOP_ANGLE_RAD",
    "Allowance",
    "BudgetLine",
    "CentringResult",
    "CircleFit",
    "Combined",
    "FewPoints",
    "Harmonic",
    "Roundness",
    "Stop",
    "SweepFailure",
    "SweepResult",
    "UnusableResultError",
    "Verdict",
    "combine",
    "combine_turns",
    "coverage_factor",
    "detect_clipped",
    "find_stops",
    "fit_circle",
    "fit_turn",
    "four_point",
    "offset_geometry",
    "roundness",
    "three_point",
    "verdict",
]
