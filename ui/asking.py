"""Commands of the still pages: one is sent, and the page shown anew once its state has come."""

import time
from typing import Any

import streamlit as st

from ui.server import dashboard

STATE_WITHIN_S = 2.0


def ask(name: str, **args: Any) -> bool:  # noqa: ANN401 - JSON is any
    """Send a command; wait until the session's new state has come, or show why it was not done."""
    bridge = dashboard().bridge
    before = bridge.view.revision
    answer = bridge.command_now(name, **args)
    if not answer.ok:
        st.error(answer.said)
        return False
    until_s = time.monotonic() + STATE_WITHIN_S
    while name != "plan" and bridge.view.revision == before and time.monotonic() < until_s:
        time.sleep(0.02)
    return True
