"""A lever's sign, gain and angle from known moves, against makers' tables and draws."""

from math import cos, inf, nan, radians

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sweep_error_bars import Bar, check_full, check_light

from readings import FLAGS
from sweeps import SweepFailure, lever_from_moves, reading_true_mm

MOVES = np.array([0.3, 0.3, 0.3])
QUIET = {"u_move_mm": 0.0, "u_reading_mm": 1e-6}


def lever(angle_deg, sign=1, moves=MOVES, **stated):
    return lever_from_moves(moves, sign * moves / cos(radians(angle_deg)), **(QUIET | stated))


@pytest.mark.parametrize(
    ("angle", "factor"),
    # makers' cosine tables as printed (FIGURES 1.4): true = reading × factor
    [(10, 0.98), (20, 0.94), (30, 0.87), (40, 0.77), (50, 0.64), (60, 0.50)],
)
def test_makers_correction_table(angle, factor):
    found = lever(angle)
    assert found.gain == pytest.approx(factor, abs=6e-3)
    assert found.angle_deg == pytest.approx(angle, abs=1e-6)
    assert found.sign == 1


@pytest.mark.parametrize(("angle", "true"), [(10, 0.196), (20, 0.188), (30, 0.174)])
def test_makers_worked_example(angle, true):
    """0.200 mm shown at 10, 20 and 30 degrees is 0.196, 0.188 and 0.174 mm (the printed .98 to
    .87 times the reading; a maker's catalogue of 2019)."""
    length, _ = reading_true_mm(0.2, 0.0, lever(angle))
    assert length == pytest.approx(true, abs=1.1e-3)


def test_sign_at_once_and_gain_only_from_enough():
    short = lever(15, sign=-1, moves=np.array([0.05]))
    assert (short.sign, short.gain, short.u_gain, short.angle_deg) == (-1, None, None, None)
    assert short.flags == ("gain not measured",)
    assert short.judge(0.1).word == "cannot tell"
    assert not reading_true_mm(0.1, 0.0, short)
    assert lever(15, moves=np.array([0.3])).gain is None
    assert lever(15, slack_taken_up=False).gain is None
    assert lever(15, moves=np.array([0.3]), gauge_block=True).gain is not None
    assert lever(15, moves=MOVES / 3).gain is None
    assert lever(15, moves=MOVES / 3, travel_mm=0.2).gain is not None
    assert set(short.flags) <= set(FLAGS)


def test_judgement_of_a_lever():
    change = 0.3 / cos(radians(12)) + np.array([1e-4, -1e-4, 0.0])
    found = lever_from_moves(MOVES, change, u_move_mm=0.001, u_reading_mm=1e-4)
    assert found.judge(0.05).word == "inside"
    assert found.judge(0.022).word == "cannot tell"
    assert found.judge(0.005).word == "outside"
    low = lever_from_moves(MOVES, MOVES * 0.9, u_move_mm=0.001, u_reading_mm=1e-4)
    assert low.flags == ("lever reads low",)
    assert low.angle_deg == 0.0
    near = lever_from_moves(MOVES, MOVES * 1.0005, u_move_mm=0.001, u_reading_mm=1e-4)
    assert near.u_angle_deg is None
    assert near.angle_95_deg[0] == 0.0


def scene(rng):
    """Five moves at 20 to 40 degrees; the screw errs the same way in each of them."""
    angle, sign = rng.uniform(20, 40), rng.choice([-1, 1])
    true_gain = sign * cos(radians(angle))
    moves = np.full(5, 0.3)
    made = moves + rng.normal(0, 0.0006)
    change = made / true_gain + rng.normal(0, 0.0008, 5)
    found = lever_from_moves(moves, change, u_move_mm=0.0006, u_reading_mm=2e-4)
    length, u_length = reading_true_mm(0.1 / true_gain, 0.0, found)
    return {
        "gain": Bar(found.gain - true_gain, found.u_gain, found.dof),
        "angle": Bar(found.angle_deg - angle, found.u_angle_deg, found.dof),
        "length": Bar(length - 0.1, u_length, found.dof),
    }


def one_step_scene(rng):
    """One gauge-block step read with what the reader states."""
    true_gain = cos(radians(rng.uniform(15, 35)))
    change = (0.3 + rng.normal(0, 0.0003)) / true_gain + rng.normal(0, 0.0004 * 2**0.5)
    found = lever_from_moves(
        [0.3], [change], u_move_mm=0.0003, u_reading_mm=0.0004, gauge_block=True
    )
    return Bar(found.gain - true_gain, found.u_gain, found.dof)


@pytest.mark.parametrize("of", [scene, one_step_scene])
def test_the_lever_s_error_bars(of):
    check_light(of)


@pytest.mark.long
@pytest.mark.parametrize("of", [scene, one_step_scene])
def test_the_lever_s_error_bars_in_full(of):
    check_full(of)


def test_near_nothing_the_interval_of_the_angle_still_holds():
    rng, held = np.random.default_rng(2), 0
    for _ in range(300):
        angle = rng.uniform(0, 6)
        change = MOVES / cos(radians(angle)) + rng.normal(0, 0.0008, 3)
        found = lever_from_moves(MOVES, change, u_move_mm=0.0, u_reading_mm=1e-4)
        held += found.angle_95_deg[0] <= angle <= found.angle_95_deg[1]
    assert held >= 272  # the lower binomial bound of 300 at 95 % (0.05 % tail)


BAD = {
    "no moves": ([], []),
    "unequal": ([0.3, 0.3], [0.3]),
    "not a number": ([0.3, nan], [0.3, 0.3]),
    "endless": ([0.3, 0.3], [0.3, inf]),
    "nothing": ([0.0], [0.1]),
    "both ways": ([0.3, 0.3], [0.3, -0.31]),
    "at rest": ([0.3], [1e-7]),
    "no lever": (MOVES, MOVES * 3),
    "slipping": (MOVES, MOVES * 0.5),
}


@pytest.mark.parametrize("name", BAD)
def test_a_lever_that_cannot_be_says_why(name):
    found = lever_from_moves(*BAD[name], **QUIET)
    assert isinstance(found, SweepFailure)
    assert found.reason.endswith(".")
    assert not lever_from_moves(MOVES, MOVES, u_move_mm=-1.0, u_reading_mm=0.0)


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 55), st.floats(0.7, 3), st.permutations([0, 1, 2, 3]))
def test_properties(angle, factor, order):
    moves = np.array([0.25, 0.3, 0.35, 0.4])
    noise = np.array([3e-4, -2e-4, 1e-4, -3e-4])
    change = moves / cos(radians(angle)) + noise
    stated = {"u_move_mm": 0.001, "u_reading_mm": 1e-4}
    one = lever_from_moves(moves, change, **stated)
    mixed = lever_from_moves(moves[order], change[order], **stated)
    assert mixed.gain == pytest.approx(one.gain)
    assert mixed.u_gain == pytest.approx(one.u_gain)
    flipped = lever_from_moves(moves, -change, **stated)
    assert (flipped.sign, flipped.gain) == (-1, pytest.approx(-one.gain))
    back = lever_from_moves(-moves, -change, **stated)
    assert back.gain == pytest.approx(one.gain)
    scaled = lever_from_moves(
        factor * moves, factor * change, u_move_mm=0.001 * factor, u_reading_mm=1e-4 * factor
    )
    if scaled.gain is not None:
        assert scaled.u_gain == pytest.approx(one.u_gain)
