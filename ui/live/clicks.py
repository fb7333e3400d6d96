"""A photo on which a person clicks places: a Streamlit component of fixed page files."""

from base64 import b64encode
from collections.abc import Sequence

import streamlit as st

from ui.live.component import page_text

_mount = st.components.v2.component(
    "sparehand.clicks",
    html=page_text("clicks.html"),
    css=page_text("clicks.css"),
    js=page_text("clicks.js"),
)


def clicked_places(
    photo: bytes, words: Sequence[str], *, key: str, kind: str = "jpeg"
) -> list[tuple[float, float]]:
    """Show a photo and return the places clicked so far, in the photo's own pixels.

    Parameters
    ----------
    photo
        A JPEG's (or `kind`'s) bytes.
    words
        What is to be clicked, one after another.
    key
        Names the block.
    """
    data = {
        "photo": f"data:image/{kind};base64,{b64encode(photo).decode()}",
        "words": list(words),
    }
    result = _mount(
        key=key, data=data, default={"places": []}, height="content", on_places_change=lambda: None
    )
    return [(float(x), float(y)) for x, y in result.places or []]
