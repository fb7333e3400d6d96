"""What is said aloud: British and American words, millimetres, thou and tenths."""

import pytest

from setups import GUIDES
from ui.live.speech import all_ways, inch_words, spoken

# 1 inch is 25.4 mm exactly (international yard and pound agreement, 1959).


@pytest.mark.parametrize(
    ("mm", "british", "american"),
    [
        (0.0254, "1 thou", "1 thousandth"),
        (0.0508, "2 thou", "2 thousandths"),
        (0.00254, "1 tenth", "1 tenth"),
        (0.0584, "2 thou and 3 tenths", "2 thousandths and 3 tenths"),
        (0.0008, "less than a tenth", "less than a tenth"),
        (25.4, "1 inch", "1 inch"),
        (52.0, "2 inches 47 thou and 2 tenths", "2 inches 47 thousandths and 2 tenths"),
        (0.02539, "1 thou", "1 thousandth"),
    ],
)
def test_inches_are_said_in_thou_and_tenths(mm, british, american):
    assert inch_words(mm, "en-GB") == british
    assert inch_words(mm, "en-US") == american


def test_a_move_is_said_in_every_way():
    told = "Stylus to the right. Table left, 0.058 mm. Needle to -5.6 divisions."
    assert all_ways(told) == {
        "en-GB mm": "Stylus to the right. Table left, 0.058 millimetres. "
        "Needle to minus 5.6 divisions.",
        "en-GB in": "Stylus to the right. Table left, 2 thou and 3 tenths. "
        "Needle to minus 5.6 divisions.",
        "en-US mm": "Stylus to the right. Table left, 0.058 millimeters. "
        "Needle to minus 5.6 divisions.",
        "en-US in": "Stylus to the right. Table left, 2 thousandths and 3 tenths. "
        "Needle to minus 5.6 divisions.",
    }


def test_signs_are_words_and_hyphens_stay():
    assert spoken("Needle to +0.5 divisions.", "en-GB", "mm") == "Needle to plus 0.5 divisions."
    assert spoken("Set -0.010 mm.", "en-GB", "in") == "Set minus 4 tenths."
    assert spoken("A four-jaw chuck.", "en-GB", "mm") == "A four-jaw chuck."


def test_americans_hear_their_own_words():
    said = spoken("Centre it: one turn anticlockwise. Drawbar spanner out.", "en-US", "mm")
    assert said == "Center it: one turn counterclockwise. Drawbar wrench out."


def test_no_step_is_said_with_a_figure_that_a_voice_would_garble():
    for guide in GUIDES.values():
        for step in guide.steps:
            for said in all_ways(step.say).values():
                assert " mm" not in said
                assert "°" not in said
