"""The job page's grid as a Streamlit component: fixed page files, plain data in."""

from typing import Any

import streamlit as st

from ui.live.component import page_text

SCRIPTS = ("link.js", "drawing.js", "job.js")
"""In this order they make one script; the last one exports what Streamlit calls."""

_mount = st.components.v2.component(
    "sparehand.job",
    html=page_text("job.html"),
    css=page_text("page.css") + page_text("job.css"),
    js="\n".join(page_text(name) for name in SCRIPTS),
)


def job_block(data: dict[str, Any], *, key: str) -> Any:  # noqa: ANN401
    """Mount the grid and return what it triggers.

    Parameters
    ----------
    data
        What `ui.job_views.board_shown` says.
    key
        Names the block; without a key a change of data would mount it anew.

    Returns
    -------
    The component's result: `wish` ({"what": "begin", "setup" or "record", "value"}) where
    something was touched; `changed` where another setup runs or ended.
    """
    return _mount(
        key=key, data=data, height="content", on_wish_change=_nothing, on_changed_change=_nothing
    )


def _nothing() -> None:
    """Let a trigger rerun the script; the script reads its value."""
