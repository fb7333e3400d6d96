"""The second end true to the first: the proof by sweeps of both seats."""

from math import hypot, nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit
from scipy.stats import binom
from sweep_error_bars import FULL, KINDS, LIGHT, Bar, check_full, check_light, joint
from sweep_making import Work, turn

from readings import FLAGS
from sweeps import (
    Allowance,
    Centre,
    SweepFailure,
    centre_of,
    fit_turn,
    prove,
)

SEAT = (150.0, 165.0)
"""The second seat of the gear case, mm above the middle of the first."""


FIRST_Z, SECOND_Z = (2.0, 14.0), (152.0, 163.0)
FIRST_AXIS = np.array([0.05, -0.02, 3e-4, -1e-4])
SECOND_AXIS = np.array([0.011, -0.006, 6e-5, 4e-5])
"""Place at 0 and lean of the first; what the second has more, at the middle of its seat."""


def true_centre(z, *, second):
    place = FIRST_AXIS[:2] + z * FIRST_AXIS[2:]
    if second:
        place = place + SECOND_AXIS[:2] + (z - sum(SEAT) / 2) * SECOND_AXIS[2:]
    return place


def exact(z, *, second, u=1e-3):
    return Centre(z, *true_centre(z, second=second), u**2 * np.eye(2))


def test_proof_finds_what_is_there_whatever_the_part_lies_like():
    found = prove(
        [exact(z, second=False) for z in FIRST_Z],
        [exact(z, second=True) for z in SECOND_Z],
        SEAT,
    )
    assert found.values == pytest.approx(SECOND_AXIS, abs=1e-12)
    ends = [SECOND_AXIS[:2] + up * SECOND_AXIS[2:] for up in (-7.5, 7.5)]
    assert found.coaxiality_mm == pytest.approx(2 * max(hypot(*end) for end in ends))
    assert found.parallelism_mm == pytest.approx(15 * hypot(6e-5, 4e-5))
    assert found.flags == ()
    assert found.spare == 0
    total = np.sqrt(sum(line.u_mm**2 for line in found.budget))
    assert total == pytest.approx(found.u_coaxiality_mm)
    assert found.judge_parallelism(1.0).word == "inside"


def test_proof_against_scipy_with_three_depths_and_unequal_centres():
    rng = np.random.default_rng(4)
    sigma = np.array([0.001, 0.002, 0.0005])
    z = np.array([1.0, 8.0, 15.0])
    rows = [(h, rng.normal(0, s, 2), s) for h, s in zip(z, sigma, strict=True)]
    first = [Centre(h, *p, s**2 * np.eye(2)) for h, p, s in rows]
    second = [Centre(150.0 + h, *p, s**2 * np.eye(2)) for h, p, s in rows]
    found = prove(first, second, SEAT)
    for axis in (0, 1):
        values = np.array([p[axis] for _, p, _ in rows])

        def line(h, place, lean):
            return place + lean * h

        (place, lean), cov = curve_fit(line, z, values, sigma=sigma, absolute_sigma=True)
        reach = np.array([1.0, 157.5])
        assert found.values[axis] == pytest.approx(place + 7.5 * lean - reach @ [place, lean])
        near = np.array([1.0, 7.5])
        expected = reach @ cov @ reach + near @ cov @ near
        assert found.covariance[axis, axis] == pytest.approx(expected, rel=1e-6)
    assert found.spare == 4
    assert found.residuals_mm.shape == (6, 2)


def test_a_bent_seat_is_told_and_one_depth_has_no_direction():
    first = [exact(z, second=False) for z in (2.0, 8.0, 14.0)]
    first[1] = Centre(8.0, first[1].x_mm + 0.02, first[1].y_mm, 1e-6 * np.eye(2))
    second = [exact(157.5, second=True)]
    found = prove(first, second, SEAT)
    assert found.flags == ("depths disagree", "one depth only")
    assert set(found.flags) <= set(FLAGS)
    assert found.parallelism_mm is None
    assert found.judge_parallelism(1.0).word == "cannot tell"
    straight = prove([exact(z, second=False) for z in FIRST_Z], second, SEAT)
    assert straight.coaxiality_mm == pytest.approx(2 * hypot(*SECOND_AXIS[:2]))
    assert straight.flags == ("one depth only",)


FAR = np.array([0.08, -0.05])
"""Further out than the noise: a size near nothing has no normal scatter, only a bound."""


def proof_scene(rng):
    """Four centres with unequal noise, one of whose sizes was itself estimated."""
    sigma = {2.0: 0.0004, 14.0: 0.0008, 152.0: 0.001, 163.0: 0.0006}

    def centre(z):
        covariance = sigma[z] ** 2 * np.array([[1.0, 0.3], [0.3, 0.7]])
        place = true_centre(z, second=z > 100) + rng.multivariate_normal([0, 0], covariance)
        factor = rng.chisquare(40) / 40
        return Centre(z, *place, factor * covariance, 40)

    def far_out(z):
        c = centre(z)
        return Centre(z, c.x_mm + FAR[0], c.y_mm + FAR[1], c.covariance, c.dof)

    first = [centre(z) for z in FIRST_Z]
    found = prove(first, [centre(z) for z in SECOND_Z], SEAT)
    wide = prove(first, [far_out(z) for z in SECOND_Z], SEAT)
    ends = [SECOND_AXIS[:2] + FAR + up * SECOND_AXIS[2:] for up in (-7.5, 7.5)]
    truth = 2 * max(hypot(*end) for end in ends)
    u = np.sqrt(np.diag(found.covariance))
    error = found.values - SECOND_AXIS
    return {
        "x": Bar(error[0], u[0], found.dof),
        "lean y": Bar(error[3], u[3], found.dof),
        "place": joint(error[:2], found.covariance[:2, :2], found.dof),
        "coaxiality": Bar(wide.coaxiality_mm - truth, wide.u_coaxiality_mm, wide.dof),
    }


def test_the_proof_s_error_bars():
    check_light(proof_scene)


def test_the_proof_s_bound_holds_where_the_axes_are_as_good_as_one():
    rng, held = np.random.default_rng(8), 0
    for _ in range(LIGHT):
        covariance = 0.0005**2 * np.eye(2)
        first = [Centre(z, *rng.normal(0, 0.0005, 2), covariance) for z in FIRST_Z]
        second = [
            Centre(z, *(np.array([0.003, 0.0]) + rng.normal(0, 0.0005, 2)), covariance)
            for z in SECOND_Z
        ]
        held += prove(first, second, SEAT).coaxiality_bound_mm >= 0.006
    assert held >= binom.ppf(0.0005, LIGHT, 0.95)


@pytest.mark.long
def test_the_proof_s_error_bars_in_full():
    check_full(proof_scene)


@pytest.mark.long
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("kind", KINDS)
def test_the_proof_from_sweeps_in_full(kind):
    """Each centre from a sweep of its own, the covariance as stated."""
    quiet = Allowance(
        retrace_mm=0.0, lag_s=0.0, reader_common=0.0, reader_floor_mm=0.0, form2_mm=0.0
    )

    def scene(rng):
        def swept(z):
            x, y = true_centre(z, second=z > 100)
            work = Work(e_mm=hypot(x, y), high_rad=float(np.arctan2(y, x)))
            sweep = KINDS[kind](work, rng)
            return centre_of(fit_turn(sweep, surface="boss", allowance=quiet), z)

        found = prove([swept(z) for z in FIRST_Z], [swept(z) for z in SECOND_Z], SEAT)
        error, u = found.values - SECOND_AXIS, np.sqrt(np.diag(found.covariance))
        return {"x": Bar(error[0], u[0], found.dof), "lean y": Bar(error[3], u[3], found.dof)}

    check_full(scene)


def test_light_is_a_tenth():
    assert LIGHT * 10 == FULL


GOOD = [exact(z, second=True) for z in SECOND_Z]
BAD_PROOFS = {
    "one depth": ([exact(2.0, second=False)], GOOD, SEAT),
    "the same depth": ([exact(2.0, second=False)] * 2, GOOD, SEAT),
    "no second": ([exact(z, second=False) for z in FIRST_Z], [], SEAT),
    "no length": ([exact(z, second=False) for z in FIRST_Z], GOOD, (150.0, 150.0)),
    "not a number": ([exact(2.0, second=False), Centre(9.0, nan, 0.0, np.eye(2))], GOOD, SEAT),
    "no covariance": (
        [exact(2.0, second=False), Centre(9.0, 0.0, 0.0, np.zeros((2, 2)))],
        GOOD,
        SEAT,
    ),
    "a failed sweep": ([exact(2.0, second=False), SweepFailure("Too short.")], GOOD, SEAT),
}


@pytest.mark.parametrize("name", BAD_PROOFS)
def test_a_proof_that_cannot_be_says_why(name):
    found = prove(*BAD_PROOFS[name])
    assert isinstance(found, SweepFailure)
    assert found.reason.endswith(".")


def test_a_centre_needs_an_offset():
    rng = np.random.default_rng(1)
    assert not centre_of(fit_turn(turn(Work(), rng)), 5.0)
    assert centre_of(SweepFailure("Too short."), 5.0).reason == "Too short."
    found = fit_turn(turn(Work(), rng), surface="boss")
    centre = centre_of(found, 5.0, u_travel_mm=0.001)
    assert centre.covariance - found.u_offset_mm == pytest.approx(1e-6 * np.eye(2), abs=1e-12)


@settings(max_examples=25, deadline=None)
@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(-0.01, 0.01), st.floats(-0.01, 0.01))
def test_how_the_part_lies_falls_out(x, y, lean_x, lean_y):
    def moved(c):
        place = (c.x_mm + x + lean_x * c.z_mm, c.y_mm + y + lean_y * c.z_mm)
        return Centre(c.z_mm, *place, c.covariance)

    first = [exact(z, second=False) for z in FIRST_Z]
    one, other = prove(first, GOOD, SEAT), prove([*map(moved, first)], [*map(moved, GOOD)], SEAT)
    assert other.values == pytest.approx(one.values, abs=1e-9)
    assert other.coaxiality_bound_mm == pytest.approx(one.coaxiality_bound_mm, abs=1e-9)
    turned = prove(first, GOOD[::-1], SEAT[::-1])
    assert turned.coaxiality_mm == pytest.approx(one.coaxiality_mm)
