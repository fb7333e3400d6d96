"""The second end true to the first, before anything is cut: every link in its place."""

from math import atan, inf, nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, ncx2
from sweep_error_bars import Bar, check_full, check_light, joint

from sweeps import (
    Link,
    NormalPoint,
    SweepFailure,
    UnusableResultError,
    angle_plate,
    centring_left,
    end_face,
    end_face_limit,
    lean_limit,
    lock_shift,
    measured_verdict,
    plug_clearance,
    plug_cocked,
    plug_reseat,
    plug_runout,
    predicted_verdict,
    radial_probability,
    radial_quantile,
    roller_pair,
    second_end,
    z_travel,
)

SEAT = (150.0, 165.0)
"""The second seat of the gear case, mm above the middle of the first."""


def gear_case(rng=None):
    """A chain as the shop would have it: mm and rad, the size of each with its reason."""
    rng = np.random.default_rng(1) if rng is None else rng
    return [
        plug_clearance(0.008),
        plug_runout(0.004),
        plug_reseat(rng.normal(0, 0.0015, (6, 2))),
        end_face(8e-5, -5e-5, (2e-5) ** 2 * np.eye(2), 8),
        roller_pair(0.002, 80.0, "x", 0.001),
        angle_plate(4e-5, "y", 1e-5),
        z_travel(3e-5, 2e-5, 1.5e-5),
        lock_shift(0.002, -0.001, 0.001, 4),
        centring_left((0.001, 0.0015), (0.0012) ** 2 * np.eye(2)),
    ]


# the circle about nothing


def test_radius_against_scipy_s_noncentral_chi_square():
    for far in (0.0, 0.5, 3.0):
        mean = far * np.array([0.6, 0.8])
        found = radial_quantile(0.95, mean, 0.49 * np.eye(2))
        assert found == pytest.approx(0.7 * ncx2.ppf(0.95, 2, max(far, 1e-9) ** 2 / 0.49) ** 0.5)
    assert radial_quantile(0.95, np.zeros(2), np.eye(2)) == pytest.approx(2.4477, abs=1e-4)
    assert radial_quantile(0.95, np.zeros(2), np.diag([1.0, 0.0])) == pytest.approx(1.959964)
    assert radial_quantile(0.95, np.array([3.0, 4.0]), np.zeros((2, 2))) == 5.0
    assert radial_probability(0.0, np.zeros(2), np.eye(2)) == 0.0


@settings(max_examples=15, deadline=None)
@given(
    st.floats(-2, 2), st.floats(-2, 2), st.floats(0.05, 2), st.floats(0.05, 2), st.floats(0, 3.1)
)
def test_radius_against_draws(x, y, one, other, turned):
    axes = np.array([[np.cos(turned), -np.sin(turned)], [np.sin(turned), np.cos(turned)]])
    covariance = axes @ np.diag([one**2, other**2]) @ axes.T
    radius = radial_quantile(0.9, np.array([x, y]), covariance)
    drawn = np.random.default_rng(1).multivariate_normal([x, y], covariance, 20_000)
    assert np.mean(np.hypot(*drawn.T) <= radius) == pytest.approx(0.9, abs=0.012)
    tripled = radial_quantile(0.9, 3 * np.array([x, y]), 9 * covariance)
    assert tripled == pytest.approx(3 * radius, rel=1e-5)


def test_a_measured_point_s_verdict_keeps_its_promise():
    """With the truth on the limit neither word may come more than one time in twenty."""
    rng, words = np.random.default_rng(3), []
    for _ in range(200):
        found = np.array([0.01, 0.0]) + rng.normal(0, 0.003, 2)
        words.append(measured_verdict(found, 9e-6 * np.eye(2), 0.01).word)
    assert words.count("inside") <= binom.ppf(0.999, 200, 0.05)
    assert binom.ppf(0.001, 200, 0.03) <= words.count("outside") <= binom.ppf(0.999, 200, 0.05)


def test_a_hopeless_measurement_can_not_tell_and_a_sure_one_can():
    wide = np.eye(2)
    assert measured_verdict(np.array([0.0, 0.3]), wide, 0.01).word == "cannot tell"
    assert predicted_verdict(np.zeros(2), wide, 0.01).word == "outside"
    assert measured_verdict(np.array([0.0, 0.3]), 1e-4 * wide, 0.1).word == "outside"
    assert measured_verdict(np.zeros(2), 1e-6 * wide, 0.01).word == "inside"
    few = measured_verdict(np.zeros(2), 1e-6 * wide, 0.01, dof=2)
    assert few.least_provable_mm > 2 * 2.4477e-3


# before anything is cut


def test_each_link_alone_does_what_its_geometry_says():
    """Shop geometry: a lean is an error over a length and works over the height above it."""
    lean = atan(0.02 / 100)
    face = second_end([end_face(lean, 0.0, np.zeros((2, 2)))], (140.0, 160.0))
    assert face.values == pytest.approx([-0.03, 0.0, -2e-4, 0.0], abs=1e-7)
    assert face.coaxiality_mm == pytest.approx(2 * 0.032, abs=1e-6)
    assert face.parallelism_mm == pytest.approx(0.004, abs=1e-6)
    rollers = second_end([roller_pair(0.01, 100.0, "x", 0.001)], (140.0, 160.0))
    assert rollers.values[:3:2] == pytest.approx([0.015, 1e-4])
    assert rollers.covariance[0, 0] ** 0.5 == pytest.approx(0.0015)
    assert rollers.covariance[1, 1] == 0.0
    plate = second_end([angle_plate(1e-4, "y", 1e-5)], (140.0, 160.0))
    assert plate.values[1::2] == pytest.approx([-0.015, -1e-4])
    travel = second_end([z_travel(1e-4, 0.0, 1e-5, from_mm=50.0)], (140.0, 160.0))
    assert travel.values[0] == pytest.approx(0.01)
    locked = second_end([lock_shift(0.003, -0.001, 0.001)], (140.0, 160.0))
    assert locked.values[:2] == pytest.approx([-0.003, 0.001])
    assert locked.parallelism_bound_mm == 0.0
    left = second_end([centring_left((0.004, 0.0), 1e-6 * np.eye(2))], (140.0, 160.0))
    assert left.values[0] == -0.004


def test_stated_sizes_become_standard_uncertainties():
    """JCGM 100, 4.3: a circle's coordinate a/√2, a disc's a/2, a rectangle's a/√3."""
    seat = (140.0, 160.0)

    def u_x(link):
        return second_end([link], seat).covariance[0, 0] ** 0.5

    assert u_x(plug_clearance(0.02)) == pytest.approx(0.01 / 2**0.5)
    assert u_x(plug_runout(0.01)) == pytest.approx(0.005 / 2**0.5)
    assert u_x(end_face_limit(0.01, 100.0)) == pytest.approx(150 * 1e-4 / 2)
    assert u_x(plug_cocked(0.01, 20.0)) == pytest.approx(150 * 5e-4 / 2)
    assert u_x(lean_limit("parallels", "x", 1e-4)) == pytest.approx(150 * 1e-4 / 3**0.5)
    seatings = np.array([[0.0, 0.0], [0.002, 0.0], [0.0, 0.002], [0.002, 0.002]])
    again = plug_reseat(seatings)
    assert again.spread.dof == 6
    assert u_x(again) == pytest.approx((8e-6 / 6 * 1.25) ** 0.5)


def test_the_heaviest_link_is_named_and_shares_add_up():
    chain = second_end(gear_case(), SEAT)
    assert sum(w.place_share for w in chain.weights) == pytest.approx(1.0)
    assert sum(w.lean_share for w in chain.weights) == pytest.approx(1.0)
    assert chain.heaviest == chain.weights[0].name == "end face square to bore"
    assert chain.worse_end_mm == 165.0
    true = second_end([*gear_case()[:3], *gear_case()[4:]], SEAT)
    assert true.heaviest == "plug clearance"
    assert true.coaxiality_bound_mm < chain.coaxiality_bound_mm


def test_verdicts_before_the_cut():
    chain = second_end(gear_case(), SEAT)
    assert chain.judge_coaxiality(0.1).word == "inside"
    assert chain.judge_coaxiality(0.03).word == "cannot tell"
    assert chain.judge_coaxiality(0.002).word == "outside"
    assert chain.judge_coaxiality(0.03).least_provable_mm == pytest.approx(
        chain.coaxiality_least_mm
    )
    assert chain.judge_coaxiality(chain.coaxiality_bound_mm * 1.0001).word == "inside"
    assert chain.judge_parallelism(chain.parallelism_bound_mm * 1.0001).word == "inside"
    assert chain.judge_parallelism(1e-5).word == "outside"


def test_both_roads_agree_on_the_gear_case():
    chain = second_end(gear_case(), SEAT)
    coaxial, parallel = chain.draw(np.random.default_rng(2), 100_000)
    bounds = [np.quantile(_drawn(chain, k), 0.95) for k in (0, 1)]
    assert chain.coaxiality_bound_mm == pytest.approx(bounds[0], rel=0.03)
    assert chain.parallelism_bound_mm == pytest.approx(bounds[1], rel=0.03)
    assert coaxial.value < chain.coaxiality_bound_mm < coaxial.high * 1.1
    assert parallel.value < chain.parallelism_bound_mm < parallel.high * 1.1


def _drawn(chain, which):
    """Zones of 100 000 parts drawn in the test, not by the chain's own sum."""
    rng, n = np.random.default_rng(7), 100_000
    place, lean = np.zeros((2, n, 2)), np.zeros((n, 2))
    for link in chain.links:
        drawn = np.array(link.value) + link.spread.draw(rng, n)
        for k, end in enumerate(SEAT):
            place[k] += drawn * (end if link.kind == "lean" else 1.0)
        lean += drawn if link.kind == "lean" else 0.0
    zones = 2 * np.linalg.norm(place, axis=2).max(axis=0), 15 * np.linalg.norm(lean, axis=1)
    return zones[which]


def measured_links(rng, *, known):
    """Links whose own u was found from few readings: stated anew each time, or as it is."""
    u_face = 2e-5 * (1.0 if known else (rng.chisquare(8) / 8) ** 0.5)
    u_lock = 0.001 * (1.0 if known else (rng.chisquare(4) / 4) ** 0.5)
    rest = [link for link in gear_case() if link.name not in ("lock shift", FACE, "plug re-seat")]
    few = (inf, inf) if known else (8, 4)
    face = end_face(8e-5, -5e-5, u_face**2 * np.eye(2), few[0])
    return [*rest, face, lock_shift(0.002, -0.001, u_lock, few[1])]


FACE = "end face square to bore"


def part_scene(rng):
    """One gear case is cut: where its second axis comes to lie, against what was said."""
    chain = second_end(measured_links(rng, known=False), SEAT)
    total = np.zeros(4)
    for link in measured_links(rng, known=True):
        drawn = np.array(link.value) + link.spread.draw(rng, 1)[0]
        arm = 157.5 if link.kind == "lean" else 1.0
        total += np.concatenate([arm * drawn, (link.kind == "lean") * drawn])
    error, u = total - chain.values, np.sqrt(np.diag(chain.covariance))
    return {
        "x": Bar(error[0], u[0], chain.dof_place),
        "y": Bar(error[1], u[1], chain.dof_place),
        "lean x": Bar(error[2], u[2], chain.dof_lean),
        "lean y": Bar(error[3], u[3], chain.dof_lean),
    }


def test_the_chain_s_error_bars():
    check_light(part_scene)


def reseat_scene(rng):
    """The next seating of a plug, by the scatter of five before it: few degrees of freedom."""
    places = rng.normal(0.01, 0.002, (6, 2))
    said = plug_reseat(places[:5] - places[:5].mean(axis=0))
    u = said.spread.covariance[0, 0] ** 0.5
    away = places[5] - places[:5].mean(axis=0)
    return {
        "x": Bar(away[0], u, said.spread.dof),
        "both": joint(away, said.spread.covariance, said.spread.dof),
    }


def test_the_next_seating_s_error_bar():
    check_light(reseat_scene)


@pytest.mark.long
def test_the_next_seating_s_error_bar_in_full():
    check_full(reseat_scene)


@pytest.mark.long
def test_the_chain_s_error_bars_in_full():
    check_full(part_scene)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.2, 5), st.floats(0, 6.28), st.permutations([0, 1, 2]), st.floats(-300, 300))
def test_scaled_turned_shuffled_and_lifted(factor, turned, order, lifted):
    axes = np.array([[np.cos(turned), -np.sin(turned)], [np.sin(turned), np.cos(turned)]])

    def links(scale, rotation):
        def point(x, y, u):
            spread = NormalPoint(rotation @ np.diag([u**2, 4 * u**2]) @ rotation.T)
            return spread, tuple((rotation @ [x, y]).tolist())

        shift, at = point(0.01 * scale, 0.004 * scale, 0.003 * scale)
        lean, by = point(1e-4, -2e-4, 3e-5)
        more, also = point(-3e-5, 1e-5, 2e-5)
        return [
            Link("shift", "shift", shift, at),
            Link("lean", "lean", lean, by),
            Link("other lean", "lean", more, also),
        ]

    one = second_end(links(1.0, np.eye(2)), SEAT)
    seat = tuple(factor * end + lifted for end in reversed(SEAT))
    mixed = [links(factor, axes)[k] for k in order]
    other = second_end(mixed, seat, located_mm=lifted)
    for name in ("coaxiality_mm", "coaxiality_bound_mm", "parallelism_bound_mm"):
        assert getattr(other, name) == pytest.approx(factor * getattr(one, name), rel=1e-5)
    assert other.heaviest == one.heaviest


BAD_CHAINS = {
    "nothing": ([], SEAT),
    "no length": ([plug_clearance(0.01)], (150.0, 150.0)),
    "not a number": ([lock_shift(nan, 0.0, 0.001)], SEAT),
    "not a height": ([plug_clearance(0.01)], (150.0, inf)),
    "negative clearance": ([plug_clearance(-0.01)], SEAT),
    "face of no width": ([end_face_limit(0.01, 0.0)], SEAT),
    "rollers in one place": ([roller_pair(0.01, 0.0, "x", 0.001)], SEAT),
    "plug that holds nothing": ([plug_cocked(0.01, 0.0)], SEAT),
    "one seating": ([plug_reseat([[0.0, 0.0]])], SEAT),
    "seating not a number": ([plug_reseat([[0.0, nan], [0.0, 0.0]])], SEAT),
    "no covariance": ([centring_left((0.0, 0.0), -np.eye(2))], SEAT),
    "no runout": ([plug_runout(nan)], SEAT),
    "negative limit": ([lean_limit("face", "x", -1.0)], SEAT),
}


@pytest.mark.parametrize("name", BAD_CHAINS)
def test_a_chain_that_cannot_be_says_why(name):
    found = second_end(*BAD_CHAINS[name])
    assert isinstance(found, SweepFailure)
    assert found.reason.endswith(".")
    with pytest.raises(UnusableResultError):
        _ = found.coaxiality_mm
