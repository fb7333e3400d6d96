"""The live block as a Streamlit component (version 2): fixed page files, plain data in.

The files are package data, read once. Nothing that a person typed is ever put into
them: the page gets all texts over its own websocket and shows them as text only.
"""

from importlib.resources import files
from typing import Any

import streamlit as st

SCRIPTS = (
    "link.js",
    "drawing.js",
    "picture.js",
    "dial_face.js",
    "polar.js",
    "polar_arcs.js",
    "scheme.js",
    "rounds.js",
    "sound.js",
    "keys.js",
    "machine.js",
    "bench_buttons.js",
    "step.js",
    "keypad.js",
    "page.js",
)
"""In this order they make one script; the last one exports what Streamlit calls."""


def page_text(name: str) -> str:
    """Return a page file of the live blocks."""
    return (files("ui.live") / name).read_text(encoding="utf-8")


def page_script() -> str:
    """Return the whole script of the live block."""
    return "\n".join(page_text(name) for name in SCRIPTS)


_mount = st.components.v2.component(
    "sparehand.live", html=page_text("page.html"), css=page_text("page.css"), js=page_script()
)


def live_block(*, key: str, revision: int, compact: bool = False, beside: str = "") -> Any:  # noqa: ANN401
    """Mount the live block and return what it triggers.

    Parameters
    ----------
    key
        Names the block; without a key a change of data would mount it anew.
    revision
        Of the session as this run of the script knows it; the block triggers a rerun
        (`revision`) only when it has seen another one.
    compact
        Picture and reading only, beside the form that starts a setup.
    beside
        What stands quietly beside the step: datum, and the numbers of the part before.

    Returns
    -------
    The component's result: `revision` and `wish` ("record" or "another") where triggered.
    """
    return _mount(
        key=key,
        data={"revision": revision, "compact": compact, "beside": beside},
        height="content",
        on_revision_change=_nothing,
        on_wish_change=_nothing,
    )


def _nothing() -> None:
    """Let a trigger rerun the script; the script reads its value."""
