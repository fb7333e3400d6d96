"""The Camera page: a model of the camera in use, made by showing it the printed board."""

import streamlit as st

from calibration.boards import OUR_BOARD
from calibration.sheets import RULER_MM
from ui.camera_block import camera_block

OURS, CHESS = "Our printed board", "A chessboard"


def board_form() -> dict[str, object]:
    """Ask for the board, and return what a calibration is started with."""
    with st.expander("The board, as measured on the print"):
        kind = st.radio("Board", (OURS, CHESS), horizontal=True, key="board")
        return _chessboard() if kind == CHESS else _ours()


def _ours() -> dict[str, object]:
    across, down = st.columns(2)
    width = across.number_input(
        f"The {RULER_MM[0]:g} mm ruler line measures (mm)", 100.0, 200.0, RULER_MM[0], 0.1
    )
    height = down.number_input(
        f"The {RULER_MM[1]:g} mm ruler line measures (mm)", 50.0, 150.0, RULER_MM[1], 0.1
    )
    return {"ruler_width_mm": width, "ruler_height_mm": height}


def _chessboard() -> dict[str, object]:
    columns, rows, square = st.columns(3)
    return {
        "pattern": "chessboard",
        "columns": columns.number_input("Inner corners across", 3, 60, OUR_BOARD.columns),
        "rows": rows.number_input("Inner corners down", 3, 60, OUR_BOARD.rows),
        "square_mm": square.number_input(
            "Side of a square (mm)", 0.5, 500.0, OUR_BOARD.square_mm, 0.1
        ),
    }


camera_block(key="camera", board=board_form())
