"""Numbers of one sweep against closed forms, published figures and other libraries."""

import numpy as np
import pytest
from scipy.optimize import curve_fit
from skimage.measure import CircleModel
from sweep_making import CLEAN_MM, HARSH_MM, TYPICAL_MM, Work, bore_reading, stops, turn

from readings import FLAGS, Sweep
from sweeps import Allowance, SweepFailure, UnusableResultError, fit_turn
from sweeps.overlap import mean_return

TRACE_UM = [16.496, 13.653, 10.085, 10.468, 11.847, 9.879]
TRACE_UM += [6.568, 5.653, 6.157, 6.468, 8.847, 13.879]


def rng():
    return np.random.default_rng(20261125)


def sweep_of(theta, value, kind="turn", sigma=1e-6):
    n = len(theta)
    return Sweep(
        np.arange(n) / 15.0,
        np.asarray(value, dtype=float),
        np.full(n, sigma),
        np.asarray(theta, dtype=float),
        np.zeros(n),
        sense=None,
        kind=kind,
    )


def twelve_points():
    return sweep_of(np.radians(30.0 * np.arange(12)), np.array(TRACE_UM) / 1000, "stops")


def test_twelve_point_trace_gives_its_published_numbers():
    """The project's collection of published figures, 3.3: a 12-point trace, all of it stated."""
    result = fit_turn(twelve_points())
    assert result
    um = {h.order: (1000 * h.amplitude_mm, h.phase_deg) for h in result.harmonics}
    assert um[1] == pytest.approx((4.000, 30.00), abs=2e-2)
    assert um[2] == pytest.approx((2.000, -40.0), abs=2e-2)
    assert um[3] == pytest.approx((1.500, 0.0), abs=2e-2)
    assert 1000 * result.a1_mm == pytest.approx(3.4641, abs=1e-3)
    assert 1000 * result.b1_mm == pytest.approx(2.0000, abs=1e-3)
    assert 1000 * result.tir_raw_mm == pytest.approx(10.843, abs=1e-3)
    # half the TIR over-states the eccentricity by 36 %: the two are never mixed
    assert result.tir_mm / 2 / result.eccentricity_mm == pytest.approx(1.36, abs=0.02)


def test_least_squares_circle_of_an_even_trace_is_the_handbook_sum():
    """NIST/SEMATECH handbook, mpc344: a = 2/N Σ R cos θ, b = 2/N Σ R sin θ."""
    sweep = twelve_points()
    result = fit_turn(sweep)
    a = 2 / 12 * np.sum(sweep.value_mm * np.cos(sweep.angle_rad))
    b = 2 / 12 * np.sum(sweep.value_mm * np.sin(sweep.angle_rad))
    assert (result.a1_mm, result.b1_mm) == pytest.approx((a, b), abs=1e-12)
    assert result.mean_mm == pytest.approx(np.mean(sweep.value_mm), abs=1e-12)


@pytest.mark.parametrize("arc_deg", [130, 200, 300, 378])
def test_agrees_with_scipy_curve_fit(arc_deg):
    sweep = turn(Work(oval_mm=0.004), rng(), arc_rad=np.radians(arc_deg))
    result = fit_turn(sweep)
    order = result.model.order

    def model(theta, *beta):
        waves = [f(k * theta) for k in range(1, order + 1) for f in (np.cos, np.sin)]
        return beta[0] + np.asarray(beta[1:]) @ np.array(waves)

    beta, _ = curve_fit(model, sweep.angle_rad, sweep.value_mm, p0=np.zeros(2 * order + 1))
    # curve_fit knows no angle error; at these sigmas its weight moves nothing above 1e-5 mm
    close = 3 * np.sqrt(np.diag(result.covariance)) * 0.35 + 1e-9
    assert np.all(np.abs(beta - result.values_mm) < close)
    even = fit_turn(_without_angle_error(sweep))
    assert even.values_mm == pytest.approx(beta, abs=1e-9)


def _without_angle_error(sweep):
    zero = np.zeros(len(sweep))
    return Sweep(sweep.t_s, sweep.value_mm, sweep.sigma_mm, sweep.angle_rad, zero, sense=None)


def test_agrees_with_scikit_image_on_the_wall_that_was_swept():
    theta = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    reading = bore_reading(theta, (0.04, -0.03), 26.0, 1.0)
    result = fit_turn(sweep_of(theta, reading), surface="bore", diameter_mm=52.0)
    wall = -reading[:, None] * np.column_stack([np.cos(theta), np.sin(theta)])
    circle = CircleModel.from_estimate(wall)
    assert (result.offset_x_mm, result.offset_y_mm) == pytest.approx(circle.center, abs=1e-6)


def test_offset_signs_bore_and_boss_by_pencil_and_paper():
    # work displaced to the right: a bore's left wall comes nearer the spindle, so the
    # stylus pointing left is pushed in; a boss pushes the stylus that stands on its right
    theta = np.radians([0.0, 90.0, 180.0, 270.0])
    bore = fit_turn(sweep_of(theta, [-0.1, 0.0, 0.1, 0.0], "stops"), surface="bore")
    boss = fit_turn(sweep_of(theta, [0.1, 0.0, -0.1, 0.0], "stops"), surface="boss")
    for result in (bore, boss):
        assert (result.offset_x_mm, result.offset_y_mm) == pytest.approx((0.1, 0.0), abs=1e-9)
    assert bore.high_spot_deg == pytest.approx(180.0)
    assert fit_turn(sweep_of(theta, [0.1, 0, -0.1, 0], "stops"), surface="face").offset_x_mm is None
    assert fit_turn(sweep_of(theta, [0.1, 0, -0.1, 0], "stops")).u_offset_mm is None


def test_geometry_lobe_is_taken_off_before_anything_is_called_oval():
    theta = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    reading = bore_reading(theta, (0.6, 0.3), 26.0, 1.0)
    known = fit_turn(sweep_of(theta, reading), surface="bore", diameter_mm=52.0)
    e = np.hypot(0.6, 0.3)
    assert known.harmonics[1].amplitude_mm == pytest.approx(e**2 / (4 * 25.0), rel=1e-3)
    assert known.ovality_mm < 3e-6
    assert abs(known.opposite_sum_mm) < 1e-5
    assert np.ptp(known.shape_mm(theta)) < 1e-5
    assert known.shape_mm(theta) == pytest.approx(-25.0, abs=2e-5)  # centred: R - ρ all round
    unknown = fit_turn(sweep_of(theta, reading), surface="bore")
    assert unknown.ovality_mm is None
    assert "diameter unknown" in unknown.flags


def test_opposite_sums_differ_by_geometry_when_the_diameter_is_not_given():
    """DESIGN: opposite sums differ by (e²/R) cos 2φ."""
    theta = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    offset = 0.5 * np.array([np.cos(0.3), np.sin(0.3)])
    result = fit_turn(sweep_of(theta, bore_reading(theta, offset, 26.0, 0.0)), surface="bore")
    assert result.opposite_sum_mm == pytest.approx(-(0.5**2) / 26 * np.cos(0.6), rel=2e-3)


@pytest.mark.parametrize(
    ("noise", "limit"), [(CLEAN_MM, 1e-5), (TYPICAL_MM, 1e-4), (HARSH_MM, 8e-4)]
)
def test_ladder_of_noise_and_truth_moved_by_three_tolerances_fails(noise, limit):
    work = Work(oval_mm=0.01, lobe3_mm=0.002)
    result = fit_turn(turn(work, rng(), noise_mm=noise))
    error = abs(result.eccentricity_mm - work.e_mm)
    assert error < limit
    assert not abs(result.eccentricity_mm - (work.e_mm + 3 * limit)) < limit
    phase = np.degrees(work.high_rad)
    assert abs(result.high_spot_deg - phase) < np.degrees(3 * limit / work.e_mm)


def test_four_stops_fold_three_lobes_into_the_eccentricity_and_eight_do_not():
    """k aliases onto |k - mN|: at N = 4 orders 3 and 5 fold onto 1 (FIGURES 2.1)."""
    work = Work(e_mm=0.02, lobe3_mm=0.003)
    four = fit_turn(stops(work, rng(), per_turn=4, noise_mm=1e-7))
    eight = fit_turn(stops(work, rng(), per_turn=8, noise_mm=1e-7))
    assert abs(four.eccentricity_mm - 0.02) > 5e-4
    assert abs(eight.eccentricity_mm - 0.02) < 1e-6
    assert "few stops" in four.flags
    assert "few stops" not in eight.flags
    leak = next(line.u_mm for line in four.budget if line.name == "roundness")
    own = next(line.u_mm for line in eight.budget if line.name == "roundness")
    assert leak > 1e-3 > 3 * own  # eight leave only orders 7 and 9
    assert abs(four.eccentricity_mm - 0.02) < 3 * four.u_total_mm


def test_three_stops_never_say_inside():
    result = fit_turn(stops(Work(e_mm=0.0001), rng(), per_turn=3, noise_mm=1e-6))
    assert result.judge(1.0).word == "cannot tell"
    assert fit_turn(stops(Work(e_mm=0.0001), rng(), per_turn=4)).judge(1.0).word == "inside"
    assert fit_turn(stops(Work(e_mm=0.5), rng(), per_turn=3)).judge(0.01).word == "outside"


def test_a_stop_beyond_the_turn_is_a_return_not_data():
    sweep = stops(Work(), rng(), per_turn=4, count=5, noise_mm=1e-7)
    value = np.array(sweep.value_mm)
    value[4] += 0.02
    moved = Sweep(
        sweep.t_s, value, sweep.sigma_mm, sweep.angle_rad, sweep.sigma_angle_rad,
        sense=None, kind="stops",
    )  # fmt: skip
    clean, result = fit_turn(stops(Work(), rng(), per_turn=4, noise_mm=1e-7)), fit_turn(moved)
    assert result.n == 4
    assert result.eccentricity_mm == pytest.approx(clean.eccentricity_mm, abs=1e-6)
    assert result.return_mm == pytest.approx(0.02, abs=1e-6)
    assert "return differs" in result.flags


def test_return_of_a_turn_that_overlaps_itself():
    sweep = turn(Work(), rng(), arc_rad=np.radians(390))
    late = sweep.angle_rad > sweep.angle_rad[0] + 2 * np.pi
    value = sweep.value_mm + 0.004 * late
    drifted = Sweep(
        sweep.t_s, value, sweep.sigma_mm, sweep.angle_rad, sweep.sigma_angle_rad, sense=None
    )
    assert fit_turn(drifted).return_mm == pytest.approx(0.004, abs=3e-4)
    assert "return differs" in fit_turn(drifted).flags
    assert abs(fit_turn(sweep).return_mm) < 2e-4
    short = turn(Work(), rng(), arc_rad=np.radians(366))
    assert fit_turn(short).return_mm is None


def test_outliers_are_left_out_and_said():
    sweep = turn(Work(), rng())
    value = np.array(sweep.value_mm)
    value[[20, 21, 90]] += [0.05, 0.04, -0.2]
    result = fit_turn(
        Sweep(sweep.t_s, value, sweep.sigma_mm, sweep.angle_rad, sweep.sigma_angle_rad, sense=None)
    )
    assert np.flatnonzero(~result.kept).tolist() == [20, 21, 90]
    assert "outliers left out" in result.flags
    assert "outliers left out" not in fit_turn(sweep).flags
    assert result.eccentricity_mm == pytest.approx(0.15, abs=1e-4)


def test_one_way_retrace_stands_at_right_angles_in_the_offset():
    result = fit_turn(turn(Work(), rng(), retrace_mm=0.003), surface="bore")
    unit = -np.array([result.offset_x_mm, result.offset_y_mm]) / result.eccentricity_mm
    across = np.array([-unit[1], unit[0]])
    assert np.sqrt(across @ result.u_offset_mm @ across) > 0.9 * 2 * 0.003 / np.pi / np.sqrt(3)
    along = np.sqrt(unit @ result.u_offset_mm @ unit)
    assert along < 4e-4
    assert "one way only" in result.flags
    assert abs(result.eccentricity_mm - 0.15) < 2 * along


def test_dial_error_stands_apart_and_joins_the_verdict():
    sweep = turn(Work(e_mm=0.001), rng())
    unchecked, checked = fit_turn(sweep), fit_turn(sweep, u_dial_mm=0.003)
    assert unchecked.u_dial_mm is None
    assert "dial unchecked" in unchecked.flags
    assert "dial unchecked" not in checked.flags
    assert checked.u_eccentricity_mm == unchecked.u_eccentricity_mm
    assert unchecked.judge(0.003).word == "inside"
    assert checked.judge(0.003).word == "cannot tell"


BAD = {
    "two places": (np.radians([0, 180, 0, 180]), [0, 1, 0, 1.0]),
    "one place": (np.zeros(20), np.zeros(20)),
    "not a number": (np.linspace(0, 6, 20), [np.nan] * 20),
    "short arc": (np.linspace(0, 2.0, 60), np.linspace(0, 1, 60)),
    "nothing": (np.array([]), np.array([])),
}


@pytest.mark.parametrize("name", BAD)
def test_a_failure_is_false_says_why_and_raises_when_used(name):
    result = fit_turn(sweep_of(*BAD[name]))
    assert isinstance(result, SweepFailure)
    assert not result
    assert result.reason.endswith(".")
    with pytest.raises(UnusableResultError, match="gives no eccentricity_mm"):
        _ = result.eccentricity_mm
    with pytest.raises(UnusableResultError):
        _ = result.any_number_of_another_result
    with pytest.raises(AttributeError):
        _ = result._private
    with pytest.raises(TypeError):
        _ = 1.0 + result


def test_what_is_stated_of_gain_warmth_and_setting_up_stands_in_budget_and_covariance():
    stated = Allowance(u_gain=0.02, temperature_mm=0.001, repeat_mm=0.002)
    sweep = turn(Work(), rng())
    plain, more = (fit_turn(sweep, surface="bore", allowance=a) for a in (Allowance(), stated))
    lines = {line.name: line.u_mm for line in more.budget}
    assert lines["lever gain"] == pytest.approx(0.02 * more.eccentricity_mm)
    assert (lines["temperature"], lines["repeatability"]) == (0.001, 0.002)
    added = more.u_total_mm**2 - plain.u_total_mm**2
    assert added == pytest.approx((0.02 * 0.15) ** 2 + 5e-6, rel=1e-2)
    assert more.u_eccentricity_mm == plain.u_eccentricity_mm
    grown = more.u_offset_mm - plain.u_offset_mm
    along = np.array([more.offset_x_mm, more.offset_y_mm]) / more.eccentricity_mm
    assert along @ grown @ along == pytest.approx(added, rel=1e-9)
    assert np.linalg.eigvalsh(grown)[0] == pytest.approx(5e-6, rel=1e-9)


def test_every_flag_raised_is_registered_and_a_clean_sweep_raises_few():
    for sweep in (turn(Work(), rng()), stops(Work(), rng())):
        assert set(fit_turn(sweep).flags) <= set(FLAGS)
    theta = np.linspace(0, 2 * np.pi, 100)
    there_and_back = np.concatenate([theta, theta[::-1]])
    clean = sweep_of(there_and_back, Work().reading(there_and_back))
    checked = fit_turn(clean, surface="bore", diameter_mm=52.0, u_dial_mm=0.001)
    assert checked.flags == ()


def test_inputs_are_not_changed():
    sweep = turn(Work(), rng())
    before = [a.copy() for a in (sweep.value_mm, sweep.angle_rad, sweep.sigma_mm)]
    fit_turn(sweep, allowance=Allowance())
    after = (sweep.value_mm, sweep.angle_rad, sweep.sigma_mm)
    assert all(np.array_equal(a, b) for a, b in zip(before, after, strict=True))


def test_a_return_of_two_readings_apart_and_a_tight_rest_is_a_number():
    """Two readings lie either side of their median: none of them lies near it."""
    theta = np.array([0.0, 0.1, *np.linspace(0.4, 6.2, 30), *np.linspace(6.3, 6.48, 7)])
    value = 0.1 * np.cos(theta)
    value[:2] += (0.002, -0.002)
    found = mean_return(sweep_of(theta, value), lambda angle: 0.1 * np.cos(angle))
    assert found is not None
    assert np.isfinite([found.mean_mm, found.u_mm]).all()
