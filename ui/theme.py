"""The dashboard's own colours and sizes, light and dark, as Streamlit's options and its style."""

from typing import Any

LIGHT = {
    "primaryColor": "#0a5c58",
    "backgroundColor": "#f4f2ec",
    "secondaryBackgroundColor": "#e5e2d8",
    "textColor": "#14201e",
}
DARK = {
    "primaryColor": "#2f9085",
    "backgroundColor": "#0e1413",
    "secondaryBackgroundColor": "#1c2625",
    "textColor": "#eef4f1",
}

THEME_OPTIONS: dict[str, Any] = {
    "theme.baseFontSize": 20,
    "theme.baseRadius": "medium",
    "theme.showWidgetBorder": True,
    **{f"theme.light.{name}": value for name, value in LIGHT.items()},
    **{f"theme.dark.{name}": value for name, value in DARK.items()},
}

LEAST_TOUCH_PX = 94
"""15 mm on a tablet, where a CSS pixel is 1/160 inch."""

PAGE_STYLE = f"""<style>
.stMainBlockContainer {{ padding: 2.5rem 1rem 1rem 1rem; max-width: none; }}
.stAppHeader {{ height: 2.4rem; min-height: 2.4rem; }}
.stMain .stButton button, .stMain .stFormSubmitButton button {{
  min-height: {LEAST_TOUCH_PX}px;
}}
.stMain .stButton button p, .stMain .stFormSubmitButton button p {{
  font-size: 1.25rem; font-weight: 650;
}}
.stMain label p {{ font-size: 1.05rem; }}
.stMain input, .stMain [data-baseweb="select"] > div {{ min-height: 3rem; font-size: 1.3rem; }}
.sh-photo img {{ width: 100%; height: auto; display: block; border-radius: 0.4rem; }}
</style>"""
"""Streamlit's own parts, made to fit oily hands; fixed text, no one's input in it."""
