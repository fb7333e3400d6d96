"""Worn, slotted and oil-holed bores; drift; sweeps that may not give a number."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sweep_error_bars import Bar, check_full, check_light
from sweep_making import Work, exact_angles, stops, turn

from readings import FLAGS, Sweep
from sweeps import (
    Allowance,
    SweepFailure,
    UnusableResultError,
    centre_by_arcs,
    drift_of,
    find_falls,
    fit_turn,
    without_drift,
)

LIGHT = settings(max_examples=8, deadline=None)
ONLY_FIT = Allowance(
    retrace_mm=0.0, lag_s=0.0, form2_mm=0.0, reader_common=0.0, reader_floor_mm=0.0
)


def rng(seed=20261125):
    return np.random.default_rng(seed)


def worn(sweep, start_deg, width_deg, depth_mm, shape="smooth"):
    """Wear takes the wall away from the stylus: the reading falls."""
    inside = np.mod(sweep.angle_rad - np.radians(start_deg), 2 * np.pi) / np.radians(width_deg)
    profile = {
        "smooth": np.sin(np.pi * inside) ** 2,
        "bow": np.sin(np.pi * inside),
        "step": np.ones_like(inside),
    }[shape]
    return with_value(sweep, sweep.value_mm - depth_mm * np.where(inside <= 1, profile, 0.0))


def with_value(sweep, value, **other):
    columns = {"t_s": sweep.t_s, "sigma_mm": sweep.sigma_mm, "angle_rad": sweep.angle_rad}
    columns |= {"sigma_angle_rad": sweep.sigma_angle_rad} | other
    return Sweep(value_mm=np.asarray(value), sense=sweep.sense, kind=sweep.kind, **columns)


def centre(sweep, **options):
    known = {"surface": "bore", "tolerance_mm": 0.01} | options
    return centre_by_arcs(sweep, **known)


def miss(result, work):
    """Distance of a bore's centre from the truth."""
    x, y = -work.e_mm * np.cos(work.high_rad), -work.e_mm * np.sin(work.high_rad)
    return np.hypot(result.offset_x_mm - x, result.offset_y_mm - y)


@pytest.mark.parametrize("shape", ["smooth", "bow", "step"])
def test_a_tenth_of_one_sided_wear_over_a_quarter_leaves_the_centre_within_two_thousandths(shape):
    generator = rng()
    for _ in range(12):
        work = Work(e_mm=generator.uniform(0.02, 0.15), high_rad=generator.uniform(0, 6.28))
        start = generator.uniform(0, 360)
        sweep = worn(turn(work, generator), start, 90, 0.1, shape)
        found = centre(sweep)
        assert found, found.reason
        assert miss(found.kept, work) < 0.002
        if found.all_readings:
            assert miss(found.all_readings, work) > 0.01  # what wear does to a blind centre
        inscribed = np.hypot(
            found.inscribed_x_mm + work.e_mm * np.cos(work.high_rad),
            found.inscribed_y_mm + work.e_mm * np.sin(work.high_rad),
        )
        assert inscribed < 0.002
        assert {"arcs left out", "arcs disagree"} <= set(found.flags)
        assert found.deepest_mm == pytest.approx(0.1, abs=0.005)
        (arc,) = found.left_out
        assert np.degrees(np.mod(arc[1] - arc[0], 2 * np.pi)) == pytest.approx(85, abs=22)


def test_with_form_of_its_own_the_bore_is_still_centred_from_what_is_kept():
    generator = rng()
    for _ in range(10):
        work = Work(e_mm=0.08, high_rad=generator.uniform(0, 6.28), oval_mm=0.002, lobe3_mm=0.001)
        found = centre(worn(turn(work, generator), generator.uniform(0, 360), 90, 0.1))
        assert miss(found.kept, work) < max(0.002, 2 * found.kept.u_total_mm)


def test_shallow_wear_that_is_not_found_is_in_the_budget():
    """Two hundredths over 130 degrees taper below what is called a fall."""
    generator, share = rng(), []
    for _ in range(25):
        work = Work(e_mm=0.08, high_rad=generator.uniform(0, 6.28))
        found = centre(worn(turn(work, generator), generator.uniform(0, 360), 130, 0.02, "bow"))
        total = np.sqrt(sum(line.u_mm**2 for line in found.budget))
        share.append(abs(found.kept.eccentricity_mm - work.e_mm) / total)
        assert found.judge(0.2).word == "inside"
        assert found.judge(0.03).word == "outside"
    assert np.max(share) < 2


def test_slots_and_oil_holes_are_found_and_named():
    work = Work(e_mm=0.05)
    sweep = turn(work, rng(), n=300)
    for start, width in ((20, 12), (140, 8), (352, 14)):
        sweep = worn(sweep, start, width, 0.3, "step")
    found = centre(sweep)
    assert miss(found.kept, work) < 3e-4
    middles = sorted(np.degrees(a + np.mod(b - a, 2 * np.pi) / 2) % 360 for a, b in found.found)
    assert middles == pytest.approx([26, 144, 359], abs=3)


def test_a_sound_bore_loses_nothing():
    for seed in range(15):
        sweep = turn(Work(e_mm=0.1, oval_mm=0.003), rng(seed))
        found = centre(sweep)
        assert found.left_out == ()
        assert found.deepest_mm == 0.0
        assert found.kept.eccentricity_mm == fit_turn(sweep, surface="bore").eccentricity_mm
        assert not {"arcs left out", "arcs disagree"} & set(found.flags)
        assert found.apart_mm < 0.01


def test_arcs_left_out_by_hand_and_by_boss():
    work = Work(e_mm=0.05)
    sweep = worn(turn(work, rng()), 340, 60, 0.1, "step")
    by_hand = centre(sweep, leave_out=[(np.radians(335), np.radians(45))], search=False)
    assert by_hand.found == ()
    assert miss(by_hand.kept, work) < 5e-4
    boss = centre(sweep, surface="boss")
    assert boss.kept.offset_x_mm == pytest.approx(0.05 * np.cos(2.0), abs=5e-4)
    wrong = centre(sweep, leave_out=[(np.radians(100), np.radians(160))], search=False)
    assert "arcs disagree" in wrong.flags


def test_what_cannot_be_centred_fails_with_a_reason():
    sweep = turn(Work(e_mm=0.02), rng())
    nothing = Sweep(*(np.array([]),) * 5, sense=None)
    nan = with_value(sweep, np.full(len(sweep), np.nan))
    cases = {
        "face": centre(sweep, surface="face"),
        "arc no number": centre(sweep, leave_out=[(0.0, np.nan)]),
        "nothing": centre(nothing),
        "no numbers": centre(nan),
        "nearly all by hand": centre(sweep, leave_out=[(0.0, 6.0)]),
        "half worn": centre(worn(sweep, 0, 230, 0.1, "step")),
        "two places": centre(stops(Work(), rng(), per_turn=2)),
        "falls of nothing": find_falls(nothing),
    }
    for name, found in cases.items():
        assert isinstance(found, SweepFailure), name
        assert found.reason.endswith(".")
        with pytest.raises(UnusableResultError):
            _ = found.kept


def cut_off(generator):
    """A sweep whose needle ran out of travel, or whose stylus left the work for a while."""
    limits = (
        (-0.4, 0.4),
        (generator.uniform(-0.3, 0.05), 2.0),
        (-2.0, generator.uniform(-0.2, 0.3)),
    )[int(generator.integers(3))]
    work = Work(
        e_mm=generator.uniform(0.45, 1.0),
        high_rad=generator.uniform(0, 6.28),
        constant_mm=generator.uniform(-0.02, 0.02),
    )
    return turn(work, generator, n=int(generator.integers(90, 300)), clip_mm=limits)


def test_two_hundred_cut_off_sweeps_none_given_a_number_by_any_road():
    """Over-range or off the work, found in the samples alone; neither do arcs make them good."""
    generator = rng(5)
    for k in range(200):
        sweep = cut_off(generator)
        assert not fit_turn(sweep)
        assert not centre(sweep, search=k % 2 == 0)


def test_lost_contact_on_a_narrow_arc_is_a_fall_and_only_there():
    work = Work(e_mm=0.05, constant_mm=0.0)
    sweep = turn(work, rng(), n=300)
    hole = np.abs(sweep.angle_rad - 2.5) < np.radians(8)
    found = centre(with_value(sweep, np.where(hole, -0.4, sweep.value_mm)))
    assert miss(found.kept, work) < 3e-4
    assert len(found.found) == 1


def arcs_scene(rng):
    work = Work(e_mm=0.15, high_rad=rng.uniform(0, 6.28))
    sweep = exact_angles(turn(work, rng, n=120))
    start = rng.uniform(0, 360)
    found = centre(worn(sweep, start, 80, 0.1, "step"), allowance=ONLY_FIT)
    kept = found.kept
    return {"eccentricity": Bar(kept.eccentricity_mm - 0.15, kept.u_eccentricity_mm, kept.dof)}


def test_error_bar_of_the_kept_arcs():
    check_light(arcs_scene, count=60)


@pytest.mark.long
def test_error_bar_of_the_kept_arcs_in_full():
    check_full(arcs_scene)


# drift


def drifting(sweep, rate):
    return with_value(sweep, sweep.value_mm + rate * (sweep.t_s - sweep.t_s[0]))


def test_a_steady_drift_is_told_and_taken_out():
    for make in (
        lambda: turn(Work(), rng(), arc_rad=np.radians(400)),
        lambda: stops(Work(), rng(), per_turn=8, count=9),
    ):
        still = make()
        sweep = drifting(still, 5e-4)
        blind = fit_turn(sweep, surface="bore")
        assert miss(blind, Work()) > 1e-3
        assert "return differs" in blind.flags
        assert any(line.name == "return" for line in blind.budget)
        cleaned, drift = without_drift(sweep)
        assert drift.significant
        assert drift.rate_mm_per_s == pytest.approx(5e-4, abs=4 * drift.u_rate_mm_per_s)
        found = fit_turn(cleaned, surface="bore")
        assert miss(found, Work()) < 2e-4
        assert "drift taken out" in found.flags
        assert set(found.flags) <= set(FLAGS)
        steady = drift_of(still)
        assert abs(steady.rate_mm_per_s) < 4 * steady.u_rate_mm_per_s


def test_a_bad_return_is_in_the_uncertainty():
    """A knock of 0.01 mm halfway moves the centre by 2/π of it: the budget says as much."""
    sweep = turn(Work(), rng(), arc_rad=np.radians(400))
    late = sweep.angle_rad > sweep.angle_rad[0] + np.pi
    knocked = fit_turn(with_value(sweep, sweep.value_mm + 0.01 * late), surface="bore")
    assert miss(knocked, Work()) < 2 * np.sqrt(np.trace(knocked.u_offset_mm))
    plain = fit_turn(sweep, surface="bore")
    assert np.trace(knocked.u_offset_mm) > 2 * np.trace(plain.u_offset_mm)


def test_a_drift_that_nothing_shows_is_refused():
    once = turn(Work(), rng(), arc_rad=np.radians(355))
    frozen = with_value(once, once.value_mm, t_s=np.zeros(len(once)))
    for found in (
        drift_of(once),
        drift_of(stops(Work(), rng(), per_turn=8)),
        drift_of(frozen),
        without_drift(with_value(once, np.full(len(once), np.nan))),
        drift_of(stops(Work(), rng(), per_turn=2, count=3)),
    ):
        assert isinstance(found, SweepFailure)
        assert found.reason.endswith(".")


def drift_scene(how):
    def scene(rng):
        rate = rng.normal(0, 5e-4)
        if how == "stops":
            sweep = stops(Work(), rng, per_turn=8, count=12)
        else:
            sweep = exact_angles(turn(Work(), rng, n=120, arc_rad=np.radians(420)))
        found = drift_of(drifting(sweep, rate))
        return Bar(found.rate_mm_per_s - rate, found.u_rate_mm_per_s, found.dof)

    return scene


def test_error_bar_of_drift():
    check_light(drift_scene("turn"))


@pytest.mark.long
@pytest.mark.parametrize("how", ["turn", "stops"])
def test_error_bar_of_drift_in_full(how):
    check_full(drift_scene(how))


# unequal noise


def first_two(angle):
    return [f(k * angle) for k in (1, 2) for f in (np.cos, np.sin)]


def test_unequal_noise_is_weighed():
    """Every other reading a hundred times noisier, as stated: it is as good as not there."""
    generator, weighed, blind, stated = rng(), [], [], []
    for _ in range(40):
        sweep = exact_angles(turn(Work(), generator, noise_mm=2e-5))
        noisy = np.arange(len(sweep)) % 2 == 0
        sigma = np.where(noisy, 2e-3, 2e-5)
        value = sweep.value_mm + noisy * generator.normal(0, 2e-3, len(sweep))
        result = fit_turn(with_value(sweep, value, sigma_mm=sigma), allowance=ONLY_FIT)
        weighed.append(result.eccentricity_mm - 0.15)
        stated.append(result.u_eccentricity_mm)
        columns = np.column_stack([np.ones(len(value)), *first_two(sweep.angle_rad)])
        beta = np.linalg.lstsq(columns, value, rcond=None)[0]
        blind.append(np.hypot(*beta[1:3]) - 0.15)
    assert np.std(weighed) < 0.1 * np.std(blind)
    assert 0.6 < np.std(weighed) / np.mean(stated) < 1.5


# properties


@LIGHT
@given(st.floats(-3, 3), st.floats(-2, 2), st.integers(0, 40))
def test_arcs_go_round_with_the_start_and_do_not_mind_the_zero(shift, zero, seed):
    sweep = worn(turn(Work(e_mm=0.05), rng(seed), n=180), 100, 80, 0.1)
    one = centre(sweep)
    moved = with_value(sweep, sweep.value_mm + zero, angle_rad=sweep.angle_rad + shift)
    other = centre(moved)
    assert other.kept.eccentricity_mm == pytest.approx(one.kept.eccentricity_mm, abs=2e-4)
    apart = np.angle(np.exp(1j * (other.left_out[0][0] - one.left_out[0][0] - shift)))
    assert abs(apart) < np.radians(5)


@LIGHT
@given(st.floats(-2e-3, 2e-3), st.integers(0, 40))
def test_added_drift_leaves_the_result_that_was(rate, seed):
    sweep = turn(Work(), rng(seed), arc_rad=np.radians(400))
    one, (two, drift) = without_drift(sweep)[0], without_drift(drifting(sweep, rate))
    assert drift.rate_mm_per_s - drift_of(sweep).rate_mm_per_s == pytest.approx(rate, abs=1e-9)
    results = [fit_turn(each).eccentricity_mm for each in (one, two)]
    assert results[0] == pytest.approx(results[1], abs=1e-8)
