"""The camera page's block as a Streamlit component: fixed page files, plain data in."""

from collections.abc import Mapping

import streamlit as st

from ui.live.component import page_text

SCRIPTS = ("link.js", "drawing.js", "picture.js", "bench_buttons.js", "sound.js", "camera.js")
"""In this order they make one script; the last one exports what Streamlit calls."""

_mount = st.components.v2.component(
    "sparehand.camera",
    html=page_text("camera.html"),
    css=page_text("page.css") + page_text("camera.css"),
    js="\n".join(page_text(name) for name in SCRIPTS),
)


def camera_block(*, key: str, board: Mapping[str, object]) -> None:
    """Mount the block.

    Parameters
    ----------
    key
        Names the block; without a key a change of data would mount it anew.
    board
        What is told of the board with the command that starts a calibration.
    """
    _mount(key=key, data={"board": dict(board)}, height="content")
