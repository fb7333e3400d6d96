"""What no dial, shop or clock can have said gives no number, by any road."""

from dataclasses import replace
from math import inf, nan

import numpy as np
import pytest
from sweep_making import Work, turn

from readings import frozen_array
from sweeps import (
    BudgetLine,
    SweepFailure,
    UnusableResultError,
    centre_by_arcs,
    face_square_to_spindle,
    find_falls,
    find_stops,
    fit_plane,
    fit_turn,
    four_point,
    three_point,
    tram_by_arm,
    traverse,
    verdict,
    verdict_between,
)

GOOD = turn(Work(e_mm=0.05), np.random.default_rng(1), n=120)
SHIMS = [(50.0, 0.0), (-30.0, 40.0), (-30.0, -40.0)]


def spoilt(column, value, at=slice(5, 6)):
    """One column of a good sweep with something in it that cannot be."""
    values = np.array(getattr(GOOD, column))
    values[at] = value
    return replace(GOOD, **{column: frozen_array(values)})


def cut(n):
    names = ("t_s", "value_mm", "sigma_mm", "angle_rad", "sigma_angle_rad")
    return replace(GOOD, **{name: getattr(GOOD, name)[:n] for name in names})


SWEEPS = {
    "empty": cut(0),
    "one": cut(1),
    "two": cut(2),
    "short arc": cut(12),
    "one place": spoilt("angle_rad", 1.0, slice(None)),
    "no number": spoilt("value_mm", nan),
    "endless": spoilt("value_mm", inf),
    "no angle": spoilt("angle_rad", nan),
    "endless sigma": spoilt("sigma_mm", inf),
    "negative sigma": spoilt("sigma_mm", -1.0),
    "in metres of another planet": spoilt("value_mm", 1e9),
    "thousands of turns": spoilt("angle_rad", 1e9),
    "columns of two lengths": replace(GOOD, value_mm=GOOD.value_mm[:-1]),
    "no columns": replace(GOOD, value_mm=frozen_array(np.ones((3, 2)))),
}
ROADS = {
    "turn": fit_turn,
    "arcs": lambda s: centre_by_arcs(s, surface="bore", tolerance_mm=0.01),
    "tram": lambda s: tram_by_arm(s, 100.0),
    "face": lambda s: face_square_to_spindle(s, 100.0, SHIMS),
}


@pytest.mark.parametrize("road", ROADS)
@pytest.mark.parametrize("name", SWEEPS)
def test_bad_sweeps_fail_with_a_reason_and_are_no_number(name, road):
    assert ROADS[road](GOOD), "this check cannot fail"
    found = ROADS[road](SWEEPS[name])
    assert isinstance(found, SweepFailure)
    assert found.reason.endswith(".")
    with pytest.raises(UnusableResultError):
        float(found.eccentricity_mm)


@pytest.mark.parametrize("name", ["empty", "no number", "no angle", "columns of two lengths"])
def test_bad_sweeps_have_no_falls(name):
    assert isinstance(find_falls(SWEEPS[name]), SweepFailure)


SIZES = {
    "no such surface": {"surface": "hole"},
    "no diameter": {"surface": "bore", "diameter_mm": nan},
    "diameter zero": {"surface": "boss", "diameter_mm": 0.0},
    "bore under the tip": {"surface": "bore", "diameter_mm": 2.0, "tip_radius_mm": 1.0},
    "no tip": {"tip_radius_mm": 0.0},
    "travel upside down": {"travel_mm": (0.4, -0.4)},
    "travel of no number": {"travel_mm": (nan, 0.4)},
    "dial of no number": {"u_dial_mm": nan},
    "negative dial": {"u_dial_mm": -0.001},
}


@pytest.mark.parametrize("name", SIZES)
def test_sizes_that_cannot_be_are_refused(name):
    found = fit_turn(GOOD, **SIZES[name])
    assert isinstance(found, SweepFailure)
    assert found.reason.endswith(".")


@pytest.mark.parametrize("u_place_mm", [nan, inf, -0.1])
def test_an_uncertainty_of_places_is_a_length(u_place_mm):
    assert not traverse([0, 50, 100], [0, 0.1, 0.2], sigma_mm=0.001, u_place_mm=u_place_mm)
    face = [(0, 0), (100, 0), (0, 100), (100, 100)]
    assert not fit_plane(face, [0, 0.1, 0.2, 0.3], sigma_mm=0.001, u_place_mm=u_place_mm)


@pytest.mark.parametrize("reading", [nan, inf])
def test_the_rules_of_three_and_four_points_need_numbers_and_a_centre(reading):
    assert not four_point(reading, 0, 0, 0, surface="bore")
    assert not three_point(reading, 0, 0, surface="bore")
    assert not four_point(0.1, 0, 0, 0, surface="face")
    assert four_point(0.1, 0, 0, 0, surface="bore")


@pytest.mark.parametrize(
    ("value", "u", "tolerance", "dof"),
    [
        (nan, 1e-3, 0.01, 9),
        (0.0, nan, 0.01, 9),
        (0.0, -1e-3, 0.01, 9),
        (0.0, 1e-3, nan, 9),
        (0.0, 1e-3, inf, 9),
        (0.0, 1e-3, 0.01, nan),
        (0.0, 1e-3, 0.01, 0),
        (0.0, None, 0.01, 9),
    ],
)
def test_no_verdict_where_a_figure_is_none(value, u, tolerance, dof):
    assert verdict(value, u, tolerance, dof).word == "cannot tell"
    assert verdict(0.0, 1e-3, 0.01, 9).word == "inside"


def test_a_signed_size_is_judged_by_its_size():
    assert verdict(-0.1, 0.001, 0.01).word == "outside"
    assert verdict_between(0.0, 0.001, (0.01, -0.01)).word == "cannot tell"


@pytest.mark.parametrize(("u", "dof"), [(nan, inf), (-0.001, inf), (0.001, 0.0), (0.001, nan)])
def test_a_budget_never_drops_what_it_does_not_know(u, dof):
    with pytest.raises(ValueError, match="'dial'"):
        BudgetLine("dial", u, dof)


def test_pauses_are_found_past_readings_that_are_none():
    t = np.arange(60) / 10
    value = np.where(t < 3, 0.1, 0.2) + np.where(np.arange(60) % 7 == 0, nan, 0.0)
    found = find_stops(t, value, np.full(60, 1e-4))
    assert [round(stop.value_mm, 6) for stop in found] == [0.1, 0.2]
    with pytest.raises(ValueError, match="one length"):
        find_stops(t, value[:-1], np.full(60, 1e-4))
