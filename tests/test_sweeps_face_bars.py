"""Are the error bars of tram, squares, traverses, faces and castings true? (3000 simulations.)"""

from dataclasses import replace

import numpy as np
import pytest
from sweep_error_bars import Bar, check_full, check_light, joint
from sweep_face_making import NOTHING, arm, arm_stops, bow

from sweeps import (
    face_square_to_spindle,
    fit_plane,
    level_on_jacks,
    reverse_square,
    roll_between_centres,
    spindle_to_travel,
    tram_by_arm,
    tram_square,
    traverse,
)

SENSES = ("anticlockwise", "clockwise")
SLOTS = ((-25, 14), (25, 14), (75, 14))
SWEEPS = {  # turns that do not overlap: no return is judged, which retrace would cover
    "one way": lambda lean, rng: arm(lean, rng, n=90, arc_deg=362.0),
    "each way": lambda lean, rng: [arm(lean, rng, n=90, sense=s, arc_deg=362.0) for s in SENSES],
    "three quarters": lambda lean, rng: arm(lean, rng, n=90, arc_deg=270.0),
    "half": lambda lean, rng: arm(lean, rng, n=90, arc_deg=190.0),
    "over slots": lambda lean, rng: arm(lean, rng, n=120, arc_deg=362.0, slots=SLOTS),
    "eight stops": lambda lean, rng: arm_stops(lean, rng),
    "four stops": lambda lean, rng: arm_stops(lean, rng, places=4),
}
QUIET = {"allowance": NOTHING}
TRAVEL = (-0.5, 1.5)
"""Known, so that a needle at rest in mid travel is a square head and no stylus in the air."""
PLACES = np.linspace(-90.0, 210.0, 9)


def tram(name):
    def scene(rng):
        lean = rng.uniform(-3e-4, 3e-4, 2)
        found = tram_by_arm(
            SWEEPS[name](lean, rng), 100.0, u_radius_mm=0.0, travel_mm=TRAVEL, **QUIET
        )
        return {
            "lean_x": Bar(found.lean_x.rad - lean[0], found.lean_x.u_rad, found.lean_x.dof),
            "lean_y": Bar(found.lean_y.rad - lean[1], found.lean_y.u_rad, found.lean_y.dof),
            "both": joint(
                np.array([found.lean_x.rad, found.lean_y.rad]) - lean,
                found.covariance_rad2,
                found.dof,
            ),
        }

    return scene


def tram_with_an_arm_of_doubtful_length(rng):
    lean = rng.uniform(-2e-3, 2e-3, 2)
    sweep = arm(lean, rng, n=60, arc_deg=362.0, radius_mm=100.0 + rng.normal(0, 1.0))
    found = tram_by_arm(sweep, 100.0, u_radius_mm=1.0, travel_mm=TRAVEL, **QUIET)
    return Bar(found.lean_x.rad - lean[0], found.lean_x.u_rad, found.lean_x.dof)


def apart(rng):
    lean, rise = rng.uniform(-3e-4, 3e-4, 2), rng.uniform(-1e-4, 1e-4, 2)
    found = tram_by_arm(arm_stops(lean, rng), 100.0, u_radius_mm=0.0, **QUIET)
    runs = [
        traverse(PLACES, -r * PLACES + rng.normal(0, 2e-4, 9), sigma_mm=2e-4, **QUIET) for r in rise
    ]
    whole = spindle_to_travel(found, *runs)
    truth = lean - rise
    return {
        "x": Bar(whole.spindle_to_travel_x.rad - truth[0], whole.spindle_to_travel_x.u_rad),
        "y": Bar(whole.spindle_to_travel_y.rad - truth[1], whole.spindle_to_travel_y.u_rad),
    }


def shims(rng):
    tilt = rng.uniform(-3e-4, 3e-4, 2)
    supports = np.array([[-80.0, -60.0], [90.0, -50.0], [10.0, 70.0]])
    sweep = arm(tilt, rng, n=60, arc_deg=362.0, radius_mm=40.0)
    found = face_square_to_spindle(
        sweep, 40.0, supports, u_radius_mm=0.0, travel_mm=TRAVEL, **QUIET
    )
    lift = -(supports @ tilt)
    zero = int(np.argmin(found.shims_mm))
    one = (zero + 1) % 3
    error = found.shims_mm[one] - (lift[one] - lift[zero])
    return Bar(error, found.u_shims_mm[one], found.tilt_x.dof)


def place_there(rng):
    return np.sort(rng.uniform(0, 200, 100))


RUNS = {
    "dense": (lambda rng: np.linspace(0, 200, 100), 0.0, 0.0),
    "uneven": (place_there, 0.0, 0.0),
    "ends only": (lambda rng: np.r_[np.linspace(0, 60, 50), np.linspace(150, 200, 40)], 0.0, 0.0),
    "there and back": (
        lambda rng: np.r_[np.linspace(0, 200, 60), np.linspace(200, 0, 60)],
        0.003,
        0.004,
    ),
    "five stops": (lambda rng: np.linspace(0, 200, 5), 0.0, 0.0),
    "three stops": (lambda rng: np.linspace(0, 200, 3), 0.0, 0.0),
    "stops there and back": (
        lambda rng: np.r_[np.linspace(0, 200, 6), np.linspace(200, 0, 6)],
        0.003,
        0.004,
    ),
}


def run(name):
    def scene(rng):
        places, retrace, drift = RUNS[name]
        place, slope, noise = places(rng), rng.uniform(-2e-4, 2e-4), 2e-4
        n = len(place)
        way = np.where(np.arange(n) < n / 2, 0.5, -0.5)
        share = np.arange(n) / (n - 1)
        sag = 0.0 if n < 30 else 0.02
        value = slope * place + bow(place, sag) + retrace * way + drift * share
        value = value + rng.normal(0, noise, n)
        found = traverse(place, value, sigma_mm=noise, t_s=share * 30, **QUIET)
        bars = {"slope": Bar(found.slope.rad - slope, found.slope.u_rad, found.slope.dof)}
        if retrace:
            index = found.parameters.index("retrace")
            u = np.sqrt(np.diag(found.covariance))[index:]
            bars["retrace"] = Bar(found.retrace_mm - retrace, u[0], found.dof)
            bars["drift"] = Bar(found.drift_mm - drift, u[1], found.dof)
        return bars

    return scene


def unequal_stops_of_a_doubtful_scale(rng):
    """Noise that differs from stop to stop, places known to half a millimetre, a lever's gain."""
    place, slope = np.linspace(0, 200, 7), rng.uniform(-5e-3, 5e-3)
    sigma = np.array([1e-3, 5e-3, 1e-3, 2e-3, 8e-3, 1e-3, 3e-3])
    value = slope * (place + rng.normal(0, 0.5, 7)) + rng.normal(0, sigma)
    value *= 1 + rng.normal(0, 0.01)
    allowance = replace(NOTHING, u_gain=0.01)
    found = traverse(place, value, sigma_mm=sigma, u_place_mm=0.5, allowance=allowance)
    return Bar(found.slope.rad - slope, found.slope.u_rad, found.slope.dof)


def with_everything_stated(rng):
    """Retrace, a dial's own error and the reader's floor drawn as the budget states them."""
    place, slope = np.linspace(0, 200, 5), rng.uniform(-2e-4, 2e-4)
    stated = replace(NOTHING, retrace_mm=0.003, reader_floor_mm=2e-4)
    rise = rng.uniform(-0.003, 0.003) + rng.normal(0, 0.002) + rng.normal(0, np.sqrt(2) * 2e-4)
    value = (slope + rise / 200) * place + rng.normal(0, 5e-4, 5)
    found = traverse(place, value, sigma_mm=5e-4, allowance=stated, u_dial_mm=0.002)
    return Bar(found.slope.rad - slope, found.slope.u_rad, found.slope.dof)


FORM = np.array([0.0, 0.012, 0.003, 0.021, 0.009, -0.004, 0.006, 0.002, 0.010])


def straightness(rng):
    value = 1e-4 * PLACES + FORM + rng.normal(0, 3e-4, 9)
    found = traverse(PLACES, value, sigma_mm=3e-4, **QUIET)
    true = traverse(PLACES, FORM, sigma_mm=3e-4, **QUIET)
    return {
        "zone": Bar(found.straightness_mz_mm - true.straightness_mz_mm, found.u_straightness_mz_mm),
        "least squares": Bar(
            found.straightness_ls_mm - true.straightness_ls_mm, found.u_straightness_ls_mm
        ),
    }


def reversal(rng):
    square, machine = rng.uniform(-2e-4, 2e-4, 2)
    place = np.linspace(0, 120, 7)
    runs = []
    for looks, sign in (("right", 1), ("left", -1)):
        value = (square + sign * machine) * place + rng.normal(0, 2e-4, 7)
        runs.append(tram_square(place, value, looks=looks, sigma_mm=2e-4, **QUIET))
    found = reverse_square(*runs)
    return {
        "square": Bar(found.square.rad - square, found.square.u_rad, found.square.dof),
        "machine": Bar(found.machine.rad - machine, found.machine.u_rad, found.machine.dof),
    }


GRID = np.array([(x, y) for x in (-60.0, 5.0, 70.0) for y in (-40.0, 0.0, 45.0)])
ROUGH = np.array([0.30, -0.25, 0.42, 0.05, -0.38, 0.18, -0.07, 0.51, -0.44])
JACKS = np.array([[-50.0, -30.0], [60.0, -35.0], [0.0, 40.0], [55.0, 38.0]])


def plane(noise_mm, sigma_mm, grid):
    """Scatter as stated, or a rough face whose form is the scatter."""

    def scene(rng):
        slopes = rng.uniform(-2e-3, 2e-3, 2)
        height = grid @ slopes + rng.normal(0, noise_mm, len(grid))
        found = fit_plane(grid, height, sigma_mm=sigma_mm, **QUIET)
        jacks = level_on_jacks(found, JACKS, 1.5)
        lift = -(JACKS - JACKS[0]) @ slopes
        return {
            "slope_x": Bar(found.slope_x.rad - slopes[0], found.slope_x.u_rad, found.slope_x.dof),
            "slopes": joint(
                np.array([found.slope_x.rad, found.slope_y.rad]) - slopes,
                found.covariance_rad2,
                found.dof,
            ),
            "lift": Bar(jacks.moves[2].lift_mm - lift[2], jacks.moves[2].u_lift_mm, found.dof),
            "turns": Bar(jacks.moves[3].turns - lift[3] / 1.5, jacks.moves[3].u_turns, found.dof),
        }

    return scene


def flatness(rng):
    height = ROUGH + GRID @ (1e-3, -2e-3) + rng.normal(0, 0.01, 9)
    found = fit_plane(GRID, height, sigma_mm=0.01, **QUIET)
    true = fit_plane(GRID, ROUGH, sigma_mm=0.01, **QUIET)
    slope = found.zone_slope_x - true.zone_slope_x - 1e-3
    return {
        "flatness": Bar(found.flatness_mz_mm - true.flatness_mz_mm, found.u_flatness_mm),
        "zone slope": Bar(slope, np.sqrt(found.zone_covariance_rad2[0, 0])),
    }


CASTING = np.array([(s, t) for s in (0.0, 60.0, 120.0) for t in (-40.0, -15.0, 20.0, 45.0)])
BUMPS = np.array([0.3, 0.9, 0.7, 0.1, 0.8, 1.4, 1.1, 0.4, -0.3, 1.2, 0.6, 0.9])


def casting(rng):
    s, t = CASTING.T
    true_height = BUMPS + 2e-3 * t + 1e-3 * s
    both = [true_height, true_height + rng.normal(0, 0.01, 12)]
    true, found = (roll_between_centres(s, t, h, sigma_mm=0.01, **QUIET) for h in both)
    bars = {}
    for name in ("least_removal", "minimum_zone", "equal_share"):
        one, other = getattr(found, name), getattr(true, name)
        bars[name] = Bar(one.angle.rad - other.angle.rad, one.angle.u_rad)
        bars[f"{name} removal"] = Bar(one.removal_mm - other.removal_mm, one.u_removal_mm)
    bars["end"] = Bar(found.end_errors_mm[1] - true.end_errors_mm[1], found.u_end_error_mm)
    bars["along"] = Bar(found.along.rad - true.along.rad, found.along.u_rad)
    return bars


SCENES = {
    **{f"tram, {name}": tram(name) for name in SWEEPS},
    "tram, doubtful arm": tram_with_an_arm_of_doubtful_length,
    "spindle to travel": apart,
    "shims": shims,
    **{f"traverse, {name}": run(name) for name in RUNS},
    "traverse, unequal and doubtful": unequal_stops_of_a_doubtful_scale,
    "traverse, everything stated": with_everything_stated,
    "straightness": straightness,
    "reversal": reversal,
    "plane, as stated": plane(0.002, 0.002, GRID),
    "plane, rough": plane(0.3, 0.002, GRID),
    "plane, four places": plane(0.002, 0.002, GRID[[0, 2, 6, 8]]),
    "flatness": flatness,
    "casting": casting,
}


TENTH = {
    "tram, four stops",
    "traverse, five stops",
    "traverse, there and back",
    "plane, four places",
    "casting",
}
"""A tenth of the full count in the default tests; the others a glance, to keep them quick."""
GLANCE = 25


@pytest.mark.parametrize("name", SCENES)
def test_error_bars(name):
    if name in TENTH:
        check_light(SCENES[name])
    else:
        check_light(SCENES[name], count=GLANCE)


@pytest.mark.long
@pytest.mark.parametrize("name", SCENES)
def test_error_bars_in_full(name):
    check_full(SCENES[name])


def test_an_error_bar_too_short_by_a_quarter_is_seen():
    def scene(rng):
        found = run("five stops")(rng)["slope"]
        return Bar(found.error, 0.75 * found.u, found.dof)

    with pytest.raises(AssertionError):
        check_light(scene)
