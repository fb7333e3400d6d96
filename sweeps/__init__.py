"""Readings become numbers: pure functions on arrays.

No files, clocks, sockets, images or global random state; inputs are not changed. May
import `readings` only.
"""

from sweeps.allowance import DEFAULT_ALLOWANCE, STOP_ANGLE_RAD, Allowance
from sweeps.budget import (
    BudgetLine,
    Combined,
    Verdict,
    combine,
    coverage_factor,
    monte_carlo,
    shares,
    verdict,
    verdict_between,
)
from sweeps.centring import CentringResult, combine_turns
from sweeps.circles import CircleFit, Roundness, fit_circle, roundness
from sweeps.contact import detect_clipped
from sweeps.distributions import (
    Arcsine,
    Distribution,
    Rectangular,
    Student,
    Triangular,
    resolution,
    span,
)
from sweeps.drawn import MonteCarlo
from sweeps.moves import (
    MOVE_STOPS,
    NeedleGoal,
    Trend,
    back_off_mm,
    move_for,
    needle_goals,
    needle_target_mm,
    needle_window_mm,
    plan_moves,
    told_trend,
    travel_from_needle,
    u_target_mm,
)
from sweeps.points import FewPoints, four_point, three_point
from sweeps.propagation import Input, Propagated, propagate, propagate_monte_carlo, roads_agree
from sweeps.result import Harmonic, SweepFailure, SweepResult, UnusableResultError, offset_geometry
from sweeps.stops import MIN_PAUSE_S, Stop, find_stops
from sweeps.turn import fit_turn
from sweeps.wheels import WheelLeg, wheel_legs

__all__ = [
    "DEFAULT_ALLOWANCE",
    "MIN_PAUSE_S",
    "MOVE_STOPS",
    "STOP_ANGLE_RAD",
    "Allowance",
    "Arcsine",
    "BudgetLine",
    "CentringResult",
    "CircleFit",
    "Combined",
    "Distribution",
    "FewPoints",
    "Harmonic",
    "Input",
    "MonteCarlo",
    "NeedleGoal",
    "Propagated",
    "Rectangular",
    "Roundness",
    "Stop",
    "Student",
    "SweepFailure",
    "SweepResult",
    "Trend",
    "Triangular",
    "UnusableResultError",
    "Verdict",
    "WheelLeg",
    "back_off_mm",
    "combine",
    "combine_turns",
    "coverage_factor",
    "detect_clipped",
    "find_stops",
    "fit_circle",
    "fit_turn",
    "four_point",
    "monte_carlo",
    "move_for",
    "needle_goals",
    "needle_target_mm",
    "needle_window_mm",
    "offset_geometry",
    "plan_moves",
    "propagate",
    "propagate_monte_carlo",
    "resolution",
    "roads_agree",
    "roundness",
    "shares",
    "span",
    "three_point",
    "told_trend",
    "travel_from_needle",
    "u_target_mm",
    "verdict",
    "verdict_between",
    "wheel_legs",
]
