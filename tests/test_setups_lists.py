"""The two checklists: what makes which lines lapse, what carries over, the shop's own lines."""

from dataclasses import replace

import pytest
from guide_agent import begun

from setups import (
    BEFORE_HANDS,
    BEFORE_POWER,
    CHECKLISTS,
    CameraBack,
    CameraLost,
    Changed,
    Clock,
    KeepTick,
    ShopLine,
    Still,
    Touched,
    advance,
    advise,
    list_of,
    ticked,
)
from setups.checklists import Tick

NEVER_CARRIED = {
    "before-hands": {"isolated", "keys-out"},
    "before-power": {"keys-out", "turned-by-hand", "guards"},
}
SHOP = (ShopLine("before-power", "Coolant turned off"), ShopLine("before-power", "Door bolted"))


def at(step, *, full=(), at_s=0.0, **changes):
    """A setup at a step with whole lists ticked."""
    ticks = tuple(Tick(key, line.key, "me", at_s) for key in full for line in CHECKLISTS[key].lines)
    return replace(begun("tram-head"), step=step, ticks=ticks, active_s=at_s, **changes)


def told(state, event):
    return advance(state, event)[0]


def left_out(before, after, checklist):
    return ticked(before.ticks, checklist) - ticked(after.ticks, checklist)


@pytest.mark.parametrize(
    ("what", "asked"),
    [
        ("move", {"clamped", "slides", "daylight"}),
        ("tool", {"daylight", "speed"}),
        ("reload", {line.key for line in BEFORE_POWER.lines}),
    ],
)
def test_before_power_asks_again_what_a_change_touches_and_what_never_carries(what, asked):
    before = at("before-power", full=("before-power",))
    after = told(before, Changed(what, 1.0))
    wanted = asked | NEVER_CARRIED["before-power"]
    assert left_out(before, after, "before-power") == wanted
    assert after.step == "before-power"
    assert "touch" in after.note
    assert f"{len(wanted)} of 9 left" in advise(after).detail


def test_a_lost_camera_asks_again_what_hangs_on_it():
    before = at("before-power", full=("before-hands", "before-power"))
    after = told(before, CameraLost(1.0))
    power = {"indicator-off", "camera-off"} | NEVER_CARRIED["before-power"]
    assert left_out(before, after, "before-power") == power
    assert after.camera_lost


def test_a_spindle_that_moves_under_the_list_is_a_move():
    before = at("before-power", full=("before-power",))
    still = Still(1.0, 0.4, 0.0, 0.001, False)
    assert told(before, still) is before
    after = told(before, replace(still, moved=True))
    assert {"clamped", "slides"} <= left_out(before, after, "before-power")


@pytest.mark.parametrize("event", [CameraLost(1.0), Changed("tool", 1.0)])
def test_what_lapses_under_the_hands_is_asked_again_and_the_setup_goes_on_where_it_was(event):
    before = at("turns", full=("before-hands",))
    lapsed = told(before, event)
    assert lapsed.step == "before-hands"
    missing = {line.key for line in BEFORE_HANDS.lines} - ticked(lapsed.ticks, "before-hands")
    assert NEVER_CARRIED["before-hands"] <= missing < {line.key for line in BEFORE_HANDS.lines}
    lapsed = told(lapsed, CameraBack(2.0))
    for line in sorted(missing):
        assert lapsed.step == "before-hands"
        lapsed = told(lapsed, Touched("before-hands", line, "me", 3.0))
    assert (lapsed.step, lapsed.resume) == ("turns", "")


def test_a_move_before_a_line_is_touched_says_nothing():
    before = at("before-power", full=("before-hands",))
    assert told(before, Still(1.0, 0.4, 0.0, 0.001, True)) is before


def test_moves_and_sweeps_are_what_the_first_list_lets_hands_do():
    before = at("point-right", full=("before-hands",))
    after = told(before, Still(1.0, 0.4, 0.0, 0.001, True))
    assert left_out(before, after, "before-hands") == set()


def test_ten_minutes_ask_for_the_whole_list():
    before = at("turns", full=("before-hands",))
    assert told(before, Clock(599.0)) is before
    after = told(before, Clock(601.0))
    assert after.step == "before-hands"
    assert ticked(after.ticks, "before-hands") == set()


def test_a_page_loaded_anew_while_no_list_is_on_show_changes_nothing():
    before = at("turns", full=("before-hands",))
    assert told(before, Changed("reload", 1.0)) is before
    bare = at("before-hands")
    assert told(bare, Changed("reload", 1.0)) is bare


def test_the_shops_own_lines_stand_at_the_end_and_must_be_touched_too():
    state = at("before-power", full=("before-power",), shop_lines=SHOP)
    assert [line.text for line in list_of("before-power", SHOP).lines][-2:] == [
        "Coolant turned off",
        "Door bolted",
    ]
    assert list_of("before-hands", SHOP).lines == BEFORE_HANDS.lines
    assert "2 of 11 left" in advise(state).detail
    state, effects = advance(state, Touched("before-power", "shop-1", "me", 1.0))
    assert effects == (KeepTick(Tick("before-power", "shop-1", "me", 1.0), True),)
    assert state.step == "before-power"
    assert told(state, Touched("before-power", "shop-3", "me", 1.0)) is state
    state = told(state, Touched("before-power", "shop-2", "me", 1.0))
    assert state.step == "done"


def test_the_shops_own_lines_never_carry_over():
    ticks = (Tick("before-power", "shop-1", "me", 0.0),)
    before = replace(at("before-power", shop_lines=SHOP), ticks=ticks)
    assert told(before, Changed("tool", 1.0)).ticks == ()
