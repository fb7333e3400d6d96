"""Rough centring brings any bore within the dial's travel, by the needle alone."""

from dataclasses import dataclass
from math import cos, pi, sin

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readings import DIRECTION_DEG
from setups.rough import ROUGH_WITHIN_MM, at_stop, mid_travel_mm, rough_step, zone
from setups.state import Instrument, Rough

DIAL = Instrument("bench", 0.01, 100, (-0.4, 0.4))


@dataclass
class PaperBench:
    """A bore and a dial with stops, drawn on paper: first order only, no picture."""

    x_mm: float
    y_mm: float
    reach_mm: float

    def reading(self, stop):
        angle = DIRECTION_DEG[stop] * pi / 180
        # the wall at the stylus' side is nearer where the bore's axis lies to the other side
        wall = -(self.x_mm * cos(angle) + self.y_mm * sin(angle))
        return min(0.4, max(-0.4, self.reach_mm + wall))

    def bring_to(self, rough):
        """Move along the axis, as a person who only looks at the needle, until it stands."""
        angle = DIRECTION_DEG[rough.stop] * pi / 180
        along = cos(angle) if rough.axis == "x" else sin(angle)
        if rough.what == "stylus":
            self.reach_mm += rough.goal_mm - self.true(rough.stop)
            return
        change = (self.true(rough.stop) - rough.goal_mm) / along
        if rough.axis == "x":
            self.x_mm += change
        else:
            self.y_mm += change

    def true(self, stop):
        angle = DIRECTION_DEG[stop] * pi / 180
        return self.reach_mm - (self.x_mm * cos(angle) + self.y_mm * sin(angle))


def run(bench, most=60):
    rough, touched = Rough(), 0
    for _ in range(most):
        after, note = rough_step(rough, bench.reading(rough.stop), DIAL)
        assert note == ""
        if after is None:
            return touched
        if after.goal_mm is not None and after.goal_mm != rough.goal_mm:
            bench.bring_to(after)
            touched += 1
        rough = after
    pytest.fail(f"rough centring did not end: {rough}")


@settings(max_examples=300, deadline=None)
@given(x=st.floats(-0.8, 0.8), y=st.floats(-0.8, 0.8), reach=st.floats(-0.9, 0.9))
def test_ends_near_the_axis_with_all_four_stops_inside_the_travel(x, y, reach):
    bench = PaperBench(x, y, reach)
    touched = run(bench)
    assert abs(bench.x_mm) <= ROUGH_WITHIN_MM + 1e-9
    assert abs(bench.y_mm) <= ROUGH_WITHIN_MM + 1e-9
    assert touched <= 8
    for stop in DIRECTION_DEG:
        assert zone(bench.reading(stop), DIAL) == "inside"


def test_a_centred_bore_needs_no_move():
    assert run(PaperBench(0.01, -0.01, 0.05)) == 0


@pytest.mark.parametrize("reach", [-0.3, -0.28, 0.25])
def test_a_centred_bore_with_the_needle_near_an_end_is_loaded_to_mid_travel(reach):
    """Round, true and centred, its needle rests all the way round: near an end it may hang free."""
    bench = PaperBench(0.01, -0.01, reach)
    assert run(bench) == 1
    for stop in DIRECTION_DEG:
        assert abs(bench.reading(stop)) < 0.05


def test_a_refused_reading_is_not_taken():
    rough, note = rough_step(Rough(), None, DIAL)
    assert rough == Rough()
    assert "cannot read" in note


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0.0, "inside"), (-0.4, "low"), (-0.36, "low"), (0.39, "high"), (0.3, "inside")],
)
def test_zones(value, expected):
    assert zone(value, DIAL) == expected


def test_mid_travel_and_stops():
    assert mid_travel_mm(DIAL) == 0.0
    assert at_stop(pi / 2 + 0.1, "back")
    assert not at_stop(pi / 2 + 0.5, "back")
    assert at_stop(-0.1 + 6 * pi, "right")
