"""Daylight under the spindle, checked by adding up and by trying every height."""

from math import inf, nan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sweep_error_bars import Bar, check_full, check_light

from sweeps import Height, Machine, SweepFailure, Tool, daylight, locked_table

MILL = Machine(least_mm=60.0, most_mm=420.0, quill_mm=100.0, u_mm=0.5)
BELOW = [Height("rollers", 25.0, 0.01), Height("gear case", 180.0, 0.3)]
ABOVE = [Height("holder", 65.0, 0.2), Height("boring bar", 120.0, 0.4)]


def test_what_is_left_over_the_gear_case():
    """Sum on paper: 420 - (25 + 180 + 65 + 120) = 30 mm; root sum of squares 0.73 mm."""
    found = daylight(MILL, BELOW, ABOVE)
    assert found.left_mm == pytest.approx(30.0)
    assert found.stack_mm == pytest.approx(390.0)
    assert found.u_mm == pytest.approx((0.25 + 0.0001 + 0.09 + 0.04 + 0.16) ** 0.5)
    assert found.judge().word == "inside"
    assert found.judge(29.5).word == "cannot tell"
    assert found.judge(35.0).word == "outside"


def fits(nose, tools, clearance=1.0):
    """Whether every tool comes out and reaches with the retracted nose at this height."""
    top = 205.0
    return all(
        nose - tool.out_mm - tool.release_mm - top >= clearance
        and nose - MILL.quill_mm - tool.out_mm <= top - tool.depth_mm
        for tool in tools
    )


TOOLS = st.builds(
    Tool,
    name=st.sampled_from(["drill", "bar", "dial"]),
    out_mm=st.integers(20, 160),
    release_mm=st.integers(0, 60),
    depth_mm=st.integers(0, 60),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(TOOLS, min_size=1, max_size=4))
def test_every_height_tried_says_the_same(tools):
    found = locked_table(MILL, BELOW, tools)
    serve = [h for h in range(int(MILL.least_mm), int(MILL.most_mm) + 1) if fits(h, tools)]
    assert bool(serve) == (found.spare_mm >= 0)
    if serve:
        assert (min(serve), max(serve)) == (found.low_mm, found.high_mm)
        assert fits(found.lock_at_mm, tools)
    else:
        assert found.lock_at_mm is None


def test_which_tools_quarrel_and_by_how_much():
    drill = Tool("drill", 150.0, release_mm=0.0, depth_mm=0.0, u_mm=0.3)
    dial = Tool("dial", 40.0, depth_mm=20.0, u_mm=0.4)
    found = locked_table(MILL, BELOW, [drill, dial])
    assert (found.longest, found.shortest) == ("drill", "dial")
    assert found.spare_mm == pytest.approx((40 - 20 + 100) - (150 + 1))
    assert found.u_mm == pytest.approx(0.5)
    assert found.judge().word == "outside"
    assert locked_table(MILL, BELOW, [dial]).judge().word == "inside"


def scene(rng):
    """Heights as they are, against the stack as it was measured."""
    drawn = [Height(h.name, h.mm + rng.normal(0, h.u_mm), h.u_mm) for h in (*BELOW, *ABOVE)]
    mill = Machine(60.0, 420.0 + rng.normal(0, 0.5), 100.0, 0.5)
    found = daylight(mill, drawn[:2], drawn[2:])
    tools = [
        Tool("drill", 120.0 + rng.normal(0, 0.3), u_mm=0.3),
        Tool("dial", 40.0 + rng.normal(0, 0.4), depth_mm=5.0, u_mm=0.4),
    ]
    locked = locked_table(mill, drawn[:2], tools)
    return {
        "daylight": Bar(found.left_mm - 30.0, found.u_mm, found.dof),
        "locked": Bar(locked.spare_mm - (135.0 - 121.0), locked.u_mm),
    }


def test_daylight_s_error_bars():
    check_light(scene)


@pytest.mark.long
def test_daylight_s_error_bars_in_full():
    check_full(scene)


def test_what_cannot_be_says_why():
    tool = [Tool("drill", 100.0)]
    for bad in (
        daylight(MILL, [], []),
        daylight(MILL, [Height("work", -1.0)], []),
        daylight(MILL, [Height("work", nan)], []),
        daylight(MILL, [Height("work", 1.0, -1.0)], []),
        daylight(Machine(100.0, 100.0), BELOW, ABOVE),
        daylight(Machine(0.0, inf), BELOW, ABOVE),
        locked_table(MILL, BELOW, []),
        locked_table(MILL, [], tool),
        locked_table(MILL, BELOW, [Tool("drill", nan)]),
        locked_table(MILL, BELOW, tool, clearance_mm=-1.0),
    ):
        assert isinstance(bad, SweepFailure)
        assert bad.reason.endswith(".")
