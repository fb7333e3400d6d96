"""The engine of `sparehand sweep`: pictures in, the documented JSON fields out."""

from dataclasses import dataclass, replace
from math import degrees, isfinite
from pathlib import Path
from typing import Any, get_args

from calibration.camera import load_camera
from calibration.dial_errors import ErrorTable
from calibration.dial_errors_correct import correction_of, u_half_difference_mm
from calibration.dials import TaughtDial
from readings import DIRECTION_DEG, BadInputError, Sense, Surface, Sweep, flag_sentence
from sweeps import Allowance, Stop, SweepFailure, SweepResult, fit_turn
from ui.output import put_table
from ui.sweep_samples import Look, collar_sweep, corrected_looks, look_through, stop_sweep

MIN_STOPS, MAX_STOPS = 3, 60


@dataclass(frozen=True, slots=True)
class SweepRequest:
    """What a person asked for; `on`, `first` and `turning` are words of the command line.

    Attributes
    ----------
    collar, stops
        Markers on the collar, or stops in one turn: exactly one of them.
    gain
        True travel over reading, of a lever at an angle.
    errors, correct
        The dial's error table, None while it is unchecked; whether to put readings right by it.
    """

    source: str
    dial: TaughtDial
    camera_file: Path | None = None
    collar: int | None = None
    stops: int | None = None
    on: str | None = None
    diameter_mm: float | None = None
    first: str | None = None
    turning: str | None = None
    gain: float = 1.0
    fps: float = 15.0
    errors: ErrorTable | None = None
    correct: bool = False


def run_sweep(request: SweepRequest) -> dict[str, Any]:
    """Return the JSON fields of one recorded sweep.

    A sweep that left the work, ran out of the dial's travel or may have missed a whole
    turn of the needle keeps its flags and has null for every number.

    Raises
    ------
    BadInputError
        If an option is out of range, the source cannot be read, under a third of a turn or
        under three stops were seen, or a hand may have hidden a stop.
    """
    _check(request)
    camera = load_camera(request.camera_file) if request.camera_file else None
    looks = look_through(
        request.source, request.dial, camera, collar=request.collar, fps=request.fps
    )
    looks, u_dial_mm, flags = _by_its_errors(request, looks)
    sweep, stops = _sweep_of(request, looks)
    sweep = replace(sweep, flags=(*sweep.flags, *flags))
    result = _fit(request, sweep, u_dial_mm)
    fields = _fields(result, sweep, stops, looks)
    return fields if _has_direction(request) else _without_direction(fields)


def _by_its_errors(
    request: SweepRequest, looks: list[Look]
) -> tuple[list[Look], float | None, tuple[str, ...]]:
    """Return the looks (put right where asked for), the dial's u on half a swing, and flags."""
    table = request.errors
    if table is None:
        return looks, None, ()
    if request.correct:
        correction = correction_of(table)
        right = corrected_looks(looks, correction)
        if right is not None:
            return right, request.gain * correction.u_half_difference_mm, ()
    values = [look.value_mm for look in looks if look.value_mm is not None]
    u_mm = u_half_difference_mm(table, max(values) - min(values))
    flags = ("not corrected",) if request.correct else ()
    return looks, None if u_mm is None else request.gain * u_mm, flags


def _has_direction(request: SweepRequest) -> bool:
    """Whether an offset along the axes can be told, or was not asked for."""
    told = request.first is not None and request.turning is not None
    return told or request.on is None or request.on == "face"


def _without_direction(fields: dict[str, Any]) -> dict[str, Any]:
    """Withhold the offset: the sweep's own angle says neither its start nor its sense."""
    flags = [*fields["flags"], "direction unknown"]
    return fields | {"offset_x_mm": None, "offset_y_mm": None, "flags": flags}


def _check(request: SweepRequest) -> None:
    if (request.collar is None) == (request.stops is None):
        msg = "say where the angle comes from: either --collar MARKERS or --stops PER_TURN."
        raise BadInputError(msg)
    if request.stops is not None and not MIN_STOPS <= request.stops <= MAX_STOPS:
        msg = (
            f"{request.stops} stops a turn were asked for: an offset needs {MIN_STOPS} or more "
            f"(to {MAX_STOPS}); four or eight are usual."
        )
        raise BadInputError(msg)
    _check_word("--on", request.on, get_args(Surface))
    _check_word("--first", request.first, tuple(DIRECTION_DEG))
    _check_word("--turning", request.turning, get_args(Sense))
    _check_size("--diameter-mm", request.diameter_mm)
    _check_size("--gain", request.gain)


def _check_word(option: str, word: str | None, allowed: tuple[str, ...]) -> None:
    if word is not None and word not in allowed:
        msg = f"{option} {word} is not known: use {', '.join(allowed[:-1])} or {allowed[-1]}."
        raise BadInputError(msg)


def _check_size(option: str, value: float | None) -> None:
    if value is not None and not (isfinite(value) and value > 0):
        msg = f"{option} {value:g} cannot be used: give a number above zero."
        raise BadInputError(msg)


def _sweep_of(request: SweepRequest, looks: list[Look]) -> tuple[Sweep, tuple[Stop, ...]]:
    sense: Sense | None = next((s for s in get_args(Sense) if s == request.turning), None)
    first = next((d for name, d in DIRECTION_DEG.items() if name == request.first), None)
    if request.stops is not None:
        return stop_sweep(
            looks, request.stops, gain=request.gain, first_deg=first or 0.0, sense=sense
        )
    return collar_sweep(looks, gain=request.gain, first_deg=first, sense=sense), ()


def _fit(
    request: SweepRequest, sweep: Sweep, u_dial_mm: float | None
) -> SweepResult | SweepFailure:
    if "ambiguous turn" in sweep.flags:
        reason = "The needle jumped so far between pictures that it may have passed a whole turn."
        return SweepFailure(reason, sweep.flags)
    surface: Surface | None = next((s for s in get_args(Surface) if s == request.on), None)
    dial = request.dial
    known = dial.travel_mm is not None and dial.numbering == "balanced"
    low, high = dial.travel_mm or (0.0, 0.0)
    return fit_turn(
        sweep,
        surface=surface,
        diameter_mm=request.diameter_mm,
        allowance=Allowance.for_graduation(dial.graduation_mm),
        travel_mm=(low * request.gain, high * request.gain) if known else None,
        u_dial_mm=u_dial_mm,
    )


_NUMBERS = (
    "mean_mm",
    "eccentricity_mm",
    "u_eccentricity_mm",
    "u_dial_mm",
    "offset_x_mm",
    "offset_y_mm",
    "high_spot_deg",
    "tir_mm",
    "tir_raw_mm",
    "u_tir_mm",
)


def _fields(
    result: SweepResult | SweepFailure, sweep: Sweep, stops: tuple[Stop, ...], looks: list[Look]
) -> dict[str, Any]:
    good = len(looks) - sweep.refused
    fields: dict[str, Any] = {"samples": good, "refused": sweep.refused}
    if not result:
        fields |= {"turn_deg": _span_deg(sweep), **dict.fromkeys(_NUMBERS)}
        fields |= {"harmonics": [], "return_mm": None, "opposite_sum_mm": None}
    else:
        fields |= {"turn_deg": result.turn_deg}
        fields |= {name: _number(getattr(result, name)) for name in _NUMBERS}
        fields["harmonics"] = [
            {"order": h.order, "amplitude_mm": h.amplitude_mm, "phase_deg": h.phase_deg}
            for h in result.harmonics
        ]
        fields["return_mm"] = _number(result.return_mm)
        fields["opposite_sum_mm"] = _number(result.opposite_sum_mm)
    fields["stops"] = [
        {"at_s": s.at_s, "value_mm": s.value_mm, "spread_mm": s.spread_mm} for s in stops
    ]
    fields["flags"] = list(result.flags)
    return fields


def _span_deg(sweep: Sweep) -> float:
    span = sweep.angle_rad.max() - sweep.angle_rad.min()
    return degrees(float(span))


def _number(value: float | None) -> float | None:
    return float(value) if value is not None and isfinite(value) else None


def put_sweep(fields: dict[str, Any]) -> None:
    """Show the fields of `run_sweep` to a person as a table."""
    rows = [
        (_title(name), _shown(name, value))
        for name, value in fields.items()
        if not isinstance(value, list) and value is not None
    ]
    lobes = [
        (f"{h['order']} a turn", f"{h['amplitude_mm']:.4f} mm at {h['phase_deg']:.1f}°")
        for h in fields["harmonics"][:5]
    ]
    places = [
        (f"stop at {s['at_s']:.1f} s", f"{s['value_mm']:+.4f} mm, spread {s['spread_mm']:.5f}")
        for s in fields["stops"]
    ]
    flags = [(flag, flag_sentence(flag)) for flag in fields["flags"]]
    put_table("Sweep", ("what", "found"), [*rows, *lobes, *places, *flags])


def _title(name: str) -> str:
    return name.removesuffix("_mm").removesuffix("_deg").replace("_", " ")


def _shown(name: str, value: float) -> str:
    if name.endswith("_deg"):
        return f"{value:.1f}°"
    if name.endswith("_mm"):
        return f"{value:.5f} mm" if name.startswith("u_") else f"{value:.4f} mm"
    return f"{value:g}"
