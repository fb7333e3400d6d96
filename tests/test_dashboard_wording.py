"""What the page shows of a reading and of the numbers found."""

from dataclasses import replace

import pytest
from dashboard_stand_in import live, moving_view

from setups import Found
from setups.words import VERDICT_WORDS, number_rows
from stream.messages import SessionView
from ui.live.wording import NO_NUMBER, show_live, show_state

AIM = {"target_mm": 0.05, "target_divisions": 5.0, "window_mm": 0.001}

FOUND = Found(
    offset_x_mm=-0.0312,
    offset_y_mm=0.0104,
    u_x_mm=0.0004,
    u_y_mm=0.0004,
    eccentricity_mm=0.0329,
    u_eccentricity_mm=0.0004,
    u_dial_mm=None,
    mean_mm=0.01,
    lobes=(),
    sideways_mm=0.002,
    ovality_mm=0.012,
    tir_mm=0.071,
    return_mm=0.0005,
    verdict="outside",
    guard_mm=0.0007,
    least_provable_mm=0.0008,
    locked=False,
    flags=("dial unchecked",),
)


def test_a_reading_without_a_target_is_a_number_only():
    shown = show_live(live(1, -0.1234), SessionView(1))
    assert (shown.value, shown.divisions) == ("-0.123", "-12.3 divisions")
    assert (shown.side, shown.off, shown.travel) == (None, None, "")


def test_a_refused_reading_shows_no_number_and_no_side():
    shown = show_live(live(1, None, **AIM), moving_view())
    assert shown.value == NO_NUMBER
    assert (shown.side, shown.off, shown.travel, shown.remaining) == (None, None, "", "")


@pytest.mark.parametrize(
    ("value_mm", "side", "words"),
    [(0.0489, "low", "too low"), (0.0511, "high", "too high"), (0.0505, "there", "there")],
)
def test_too_far_is_told_as_plainly_as_not_far_enough(value_mm, side, words):
    shown = show_live(live(1, value_mm, **AIM), moving_view())
    assert shown.side == side
    assert words in shown.side_words


# A bore, the stylus on its right or back wall: the reading is above its target, so the wall
# presses too hard, so the wall (and the work with it) must go away from the axis: to the
# right, or to the back. From the left wall it must go left.
@pytest.mark.parametrize(
    ("axis", "theta_deg", "value_mm", "way", "words"),
    [
        ("x", 0.0, 0.15, "right", "table right 0.100 mm"),
        ("x", 0.0, -0.05, "left", "table left 0.100 mm"),
        ("x", 180.0, 0.15, "left", "table left 0.100 mm"),
        ("y", 90.0, 0.15, "back", "table to the back 0.100 mm"),
        ("y", 90.0, 0.0, "front", "table to the front 0.050 mm"),
        ("y", 450.0, 0.0, "front", "table to the front 0.050 mm"),
    ],
)
def test_which_way_the_table_goes_is_told_from_the_needle(axis, theta_deg, value_mm, way, words):
    shown = show_live(live(1, value_mm, theta_deg=theta_deg, **AIM), moving_view(axis))
    assert (shown.way, shown.travel) == (way, words)


def test_a_needle_at_its_end_gives_a_least_distance_only():
    view = replace(moving_view(), travel_mm=(-0.4, 0.4))
    shown = show_live(live(1, 0.39, **AIM), view)
    assert (shown.travel, shown.remaining) == ("table right at least 0.340 mm", "≥ 0.340")
    inside = show_live(live(1, 0.3, **AIM), view)
    assert (inside.travel, inside.remaining) == ("table right 0.250 mm", "0.250")
    assert inside.side_words == "needle too high by 0.250 mm"


def test_a_stylus_that_stands_elsewhere_is_sent_to_its_stop_first():
    shown = show_live(live(1, 0.2, theta_deg=180.0), moving_view())
    assert (shown.way, shown.travel) == ("right", "first turn the stylus to the right")
    assert show_live(live(1, 0.2, theta_deg=3.0), moving_view()).travel == ""


def test_no_way_is_told_where_the_stylus_angle_is_unknown():
    assert show_live(live(1, 0.2, theta_deg=None, **AIM), moving_view()).travel == ""


def test_a_bore_is_drawn_with_its_wall_outward_where_the_reading_falls():
    assert show_state(moving_view()).outline_sign == -1.0


def test_numbers_carry_their_uncertainty_and_the_way():
    rows = dict(number_rows(FOUND))
    assert rows["Off centre"] == "0.0329 ± 0.0008 mm (k = 2)"
    assert rows["Work from spindle along X"] == "left 0.0312 ± 0.0008 mm (k = 2)"
    assert rows["Work from spindle along Y"] == "to the back 0.0104 ± 0.0008 mm (k = 2)"
    assert rows["The dial's own uncertainty (k = 2)"] == "not checked"


def test_flags_are_shown_as_sentences_and_the_verdict_in_words():
    view = replace(moving_view(), found=FOUND, history=(FOUND,), tolerance_mm=0.005)
    shown = show_state(view)
    assert shown.flags == ("The dial itself has not been checked.",)
    assert shown.verdict == "Outside the tolerance"
    assert shown.result == ("0.0329", "mm off")
    assert shown.tolerance == "0.005 mm"
    assert shown.history == ("1. Off centre 0.0329 ± 0.0008 mm (k = 2): outside",)


def test_no_word_of_the_page_clears_the_machine():
    from ui.live.component import SCRIPTS, page_script

    assert len(SCRIPTS) == 15
    said = [*VERDICT_WORDS.values(), page_script()]
    for word in ("safe", "all clear", "good to go", "ready to"):
        assert not any(word in text.lower() for text in said)
