"""The script that Streamlit runs for each page: chooses the page, sets the look."""

from pathlib import Path

import streamlit as st

from ui.theme import PAGE_STYLE

PAGES = Path(__file__).parent / "pages"

st.set_page_config(page_title="Sparehand", layout="wide", initial_sidebar_state="collapsed")
st.html(PAGE_STYLE)
page = st.navigation(
    [
        st.Page(PAGES / "page_setup.py", title="Setup", url_path="setup", default=True),
        st.Page(PAGES / "page_job.py", title="Job", url_path="job"),
        st.Page(PAGES / "page_records.py", title="Records", url_path="records"),
        st.Page(PAGES / "page_camera.py", title="Camera", url_path="camera"),
        st.Page(PAGES / "page_help.py", title="First steps", url_path="help"),
    ],
    position="top",
)
page.run()
