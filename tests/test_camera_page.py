"""The camera page's own form, run by Streamlit's test runner."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import ui
from stream.calibrating import board_asked

PAGE = Path(ui.__file__).parent / "pages" / "page_camera.py"


@pytest.fixture
def page(monkeypatch):
    """The page, and what its block is told of the board."""
    told = []
    monkeypatch.setattr("ui.camera_block.camera_block", lambda *, key, board: told.append(board))
    shown = AppTest.from_file(str(PAGE), default_timeout=20).run()
    assert not shown.exception
    return shown, told


def test_the_ruler_lines_go_with_the_command(page):
    shown, told = page
    assert told[-1] == {"ruler_width_mm": 150.0, "ruler_height_mm": 100.0}
    shown.number_input[0].set_value(148.5).run()
    assert board_asked(told[-1]).stretch == (0.99, 1.0)


def test_a_chessboard_is_told_by_its_corners_and_square(page):
    shown, told = page
    shown.radio[0].set_value("A chessboard").run()
    shown.number_input[0].set_value(8).run()
    board = board_asked(told[-1])
    assert (board.pattern, board.columns, board.rows, board.square_mm) == ("chessboard", 8, 6, 25.0)
