"""Readings become numbers: pure functions on arrays.

No files, clocks, sockets, images or global random state; inputs are not changed. May
import `readings` only.
"""

from sweeps.allowance import DEFAULT_ALLOWANCE, STOP_ANGLE_RAD, Allowance
from sweeps.arcs import (
    LEAST_FALL_MM,
    TOO_MUCH_BY_HAND,
    ArcCentres,
    centre_by_arcs,
    find_falls,
    left_out_rad,
)
from sweeps.arcs_by_hand import fit_without
from sweeps.axis import AxisResult, Offset, axis_through
from sweeps.beforehand import Forecast, forecast
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
from sweeps.chain import ChainResult, Link, Weight, second_end
from sweeps.circles import CircleFit, fit_circle
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
from sweeps.drift import Drift, drift_of, without_drift
from sweeps.edge_offset import EdgeOffset, offset_from_edges
from sweeps.face import FaceResult, face_square_to_spindle
from sweeps.jacks import JackMove, JacksResult, level_on_jacks
from sweeps.jaws import JawPlan, JawStep, Nudge, Packing, four_jaw, nudge, scroll_packing
from sweeps.lever import LeverResult, lever_from_moves, reading_true_mm
from sweeps.links import (
    angle_plate,
    centring_left,
    end_face,
    end_face_limit,
    lean_limit,
    lock_shift,
    plug_clearance,
    plug_cocked,
    plug_reseat,
    plug_runout,
    roller_pair,
    z_travel,
)
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
from sweeps.orbit import AxisMotion, OrbitResult, target_orbit
from sweeps.orbit_axis import OrbitAxis, OrbitView, axis_by_orbits
from sweeps.plane import PlaneResult, fit_plane
from sweeps.point_circles import PointCircle, circle_of_points
from sweeps.points import FewPoints, four_point, lobing_factor, three_point
from sweeps.proof import Centre, ProofResult, centre_of, prove
from sweeps.propagation import Input, Propagated, propagate, propagate_monte_carlo, roads_agree
from sweeps.radial import measured_verdict, predicted_verdict, radial_probability, radial_quantile
from sweeps.reseat import QUARTERS_RAD, ReseatResult, reseat
from sweeps.result import Harmonic, SweepFailure, SweepResult, UnusableResultError, offset_geometry
from sweeps.roll import Roll, RollMove, RollResult, roll_between_centres
from sweeps.roundness import REFERENCES, Reference, Roundness, roundness, roundness_of
from sweeps.runout import (
    BarResult,
    ReversalOfPart,
    RunoutAt,
    RunoutResult,
    bar_at_two_heights,
    donaldson_reversal,
    runout,
)
from sweeps.slope import (
    SQUARE_TO_TABLE_FINE_MM,
    SQUARE_TO_TABLE_MM,
    Slope,
    dish_mm,
    judge_both,
    squareness,
    step_mm,
)
from sweeps.slots import on_the_face
from sweeps.spreads import InDisc, NormalPoint, OnCircle, PerAxis, Spread
from sweeps.square import ReversalResult, SquareResult, reverse_square, tram_square
from sweeps.stacking import Daylight, Height, LockedTable, Machine, Tool, daylight, locked_table
from sweeps.stops import MIN_PAUSE_S, Stop, find_stops
from sweeps.swept import SweptFace
from sweeps.terms import (
    TERMS,
    dial_plus_minus,
    dial_span,
    gain_line,
    leak_line,
    repeat_line,
    scale_line,
    warmth_line,
)
from sweeps.tram import HeadMove, TramApart, TramResult, spindle_to_travel, tram_by_arm
from sweeps.traverse import traverse
from sweeps.traverse_result import TraverseResult
from sweeps.turn import fit_turn
from sweeps.wheels import WheelLeg, wheel_legs

__all__ = [
    "DEFAULT_ALLOWANCE",
    "LEAST_FALL_MM",
    "MIN_PAUSE_S",
    "MOVE_STOPS",
    "QUARTERS_RAD",
    "REFERENCES",
    "SQUARE_TO_TABLE_FINE_MM",
    "SQUARE_TO_TABLE_MM",
    "STOP_ANGLE_RAD",
    "TERMS",
    "TOO_MUCH_BY_HAND",
    "Allowance",
    "ArcCentres",
    "Arcsine",
    "AxisMotion",
    "AxisResult",
    "BarResult",
    "BudgetLine",
    "Centre",
    "CentringResult",
    "ChainResult",
    "CircleFit",
    "Combined",
    "Daylight",
    "Distribution",
    "Drift",
    "EdgeOffset",
    "FaceResult",
    "FewPoints",
    "Forecast",
    "Harmonic",
    "HeadMove",
    "Height",
    "InDisc",
    "Input",
    "JackMove",
    "JacksResult",
    "JawPlan",
    "JawStep",
    "LeverResult",
    "Link",
    "LockedTable",
    "Machine",
    "MonteCarlo",
    "NeedleGoal",
    "NormalPoint",
    "Nudge",
    "Offset",
    "OnCircle",
    "OrbitAxis",
    "OrbitResult",
    "OrbitView",
    "Packing",
    "PerAxis",
    "PlaneResult",
    "PointCircle",
    "ProofResult",
    "Propagated",
    "Rectangular",
    "Reference",
    "ReseatResult",
    "ReversalOfPart",
    "ReversalResult",
    "Roll",
    "RollMove",
    "RollResult",
    "Roundness",
    "RunoutAt",
    "RunoutResult",
    "Slope",
    "Spread",
    "SquareResult",
    "Stop",
    "Student",
    "SweepFailure",
    "SweepResult",
    "SweptFace",
    "Tool",
    "TramApart",
    "TramResult",
    "TraverseResult",
    "Trend",
    "Triangular",
    "UnusableResultError",
    "Verdict",
    "Weight",
    "WheelLeg",
    "angle_plate",
    "axis_by_orbits",
    "axis_through",
    "back_off_mm",
    "bar_at_two_heights",
    "centre_by_arcs",
    "centre_of",
    "centring_left",
    "circle_of_points",
    "combine",
    "combine_turns",
    "coverage_factor",
    "daylight",
    "detect_clipped",
    "dial_plus_minus",
    "dial_span",
    "dish_mm",
    "donaldson_reversal",
    "drift_of",
    "end_face",
    "end_face_limit",
    "face_square_to_spindle",
    "find_falls",
    "find_stops",
    "fit_circle",
    "fit_plane",
    "fit_turn",
    "fit_without",
    "forecast",
    "four_jaw",
    "four_point",
    "gain_line",
    "judge_both",
    "leak_line",
    "lean_limit",
    "left_out_rad",
    "level_on_jacks",
    "lever_from_moves",
    "lobing_factor",
    "lock_shift",
    "locked_table",
    "measured_verdict",
    "monte_carlo",
    "move_for",
    "needle_goals",
    "needle_target_mm",
    "needle_window_mm",
    "nudge",
    "offset_from_edges",
    "offset_geometry",
    "on_the_face",
    "plan_moves",
    "plug_clearance",
    "plug_cocked",
    "plug_reseat",
    "plug_runout",
    "predicted_verdict",
    "propagate",
    "propagate_monte_carlo",
    "prove",
    "radial_probability",
    "radial_quantile",
    "reading_true_mm",
    "repeat_line",
    "reseat",
    "resolution",
    "reverse_square",
    "roads_agree",
    "roll_between_centres",
    "roller_pair",
    "roundness",
    "roundness_of",
    "runout",
    "scale_line",
    "scroll_packing",
    "second_end",
    "shares",
    "span",
    "spindle_to_travel",
    "squareness",
    "step_mm",
    "target_orbit",
    "three_point",
    "told_trend",
    "tram_by_arm",
    "tram_square",
    "travel_from_needle",
    "traverse",
    "u_target_mm",
    "verdict",
    "verdict_between",
    "warmth_line",
    "wheel_legs",
    "without_drift",
    "z_travel",
]
