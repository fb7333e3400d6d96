"""The Help page: from nothing to the first reading of one's own dial, in four steps."""

import streamlit as st

from calibration.boards import OUR_BOARD
from calibration.collars import Collar
from calibration.sheets import board_sheet, collar_sheet
from readings import BadInputError
from ui.dial_form import CLICK_WORDS, DialForm, picture_of, read_words, teach_from_form
from ui.home import Home
from ui.live.clicks import clicked_places
from ui.print_command import as_pdf
from ui.server import dashboard

COLLAR_MM = 60.0
PHOTOS = ["jpg", "jpeg", "png"]


def camera_step() -> None:
    """Say how the camera is chosen and its lens made known."""
    st.header("1. The camera")
    st.write(
        "Stand the camera so that the dial fills a third of the picture or more, its face lit "
        "from the side and square to the lens within 30 degrees. Lock focus and exposure if it "
        "can. Print the board at true size, check its ruler lines, and show it on the Camera page."
    )
    board, collar, link = st.columns(3)
    board.download_button(
        "The board to print (PDF)", as_pdf(board_sheet(OUR_BOARD, "a4")), "board.pdf",
        "application/pdf", width="stretch",
    )  # fmt: skip
    collar.download_button(
        f"A collar for {COLLAR_MM:g} mm (PDF)", as_pdf(collar_sheet(Collar(16), COLLAR_MM, "a4")),
        "collar.pdf", "application/pdf", width="stretch",
    )  # fmt: skip
    link.page_link("pages/page_camera.py", label="To the Camera page", width="stretch")


def dial_form() -> DialForm:
    """Ask what is printed on the dial."""
    one, two, three = st.columns(3)
    name = one.text_input("Its name", "shop-dial")
    unit = two.selectbox("Unit", ["mm", "in"])
    step = 0.01 if unit == "mm" else 0.001
    graduation = three.number_input(
        f"One division is ({unit})", 0.0001, 1.0, step, step / 10, format="%.4f"
    )
    marks = one.number_input("Divisions on the scale", 20, 400, 100)
    numbering = two.selectbox("Numbers run", ["continuous", "balanced"])
    clockwise = three.selectbox("Pushed in, the needle turns", ["clockwise", "anticlockwise"])
    across = one.number_input("Across the outer ends of the marks (mm)", 5.0, 300.0, 40.0, 0.5)
    high = two.number_input("Needle above the scale, roughly (mm)", 0.0, 10.0, 1.0, 0.1)
    reading = three.number_input("It reads, by eye (divisions)", -400.0, 400.0, 0.0, 0.1)
    return DialForm(
        name, unit, graduation, int(marks), numbering, clockwise == "clockwise", across, high,
        reading,
    )  # fmt: skip


def teach_step(home: Home) -> None:
    """Teach a dial from one photo and five clicks."""
    st.header("2. Teach your dial")
    st.write("Take one sharp photo of the dial at rest, with the camera that will watch it.")
    form = dial_form()
    photo = st.file_uploader("The photo", PHOTOS, key="teach-photo")
    if photo is None:
        return
    content = photo.getvalue()
    try:
        picture_of(content)
    except BadInputError as error:
        st.error(str(error))
        return
    places = clicked_places(
        content, list(CLICK_WORDS.values()), key="clicks", kind=_kind(photo.name)
    )
    if not st.button("Learn this dial", type="primary", disabled=len(places) < len(CLICK_WORDS)):
        return
    try:
        dial = home.ensure().dials.save(teach_from_form(form, content, places))
    except BadInputError as error:
        st.error(str(error))
        return
    st.session_state.taught = dial.name
    st.success(f"{dial.name}, version {dial.version}, is learned and kept.")


def _kind(name: str) -> str:
    return "png" if name.lower().endswith("png") else "jpeg"


def try_step(home: Home) -> None:
    """Read another photo with a taught dial."""
    st.header("3. Try it")
    names = home.dials.list()
    if not names:
        st.write("Teach a dial first.")
        return
    newest = st.session_state.get("taught", names[0])
    name = st.selectbox("Dial", names, index=names.index(newest) if newest in names else 0)
    photo = st.file_uploader("Another photo of it, the needle elsewhere", PHOTOS, key="try-photo")
    if photo is None:
        return
    try:
        st.subheader(read_words(home.dials.load(name), photo.getvalue()))
    except BadInputError as error:
        st.error(str(error))
    st.write("Compare it with your eye. A photo that cannot be read is refused with its reason.")


def run_step(home: Home) -> None:
    """Say how the program is started with the dial."""
    st.header("4. Watch it live")
    name = st.session_state.get("taught", "shop-dial")
    elsewhere = "" if home == Home.find() else f' --home "{home.folder}"'
    st.code(f"sparehand{elsewhere} run --dial {name} --source 0", language=None)
    st.write(
        "0 is the first camera; an address (http://… or rtsp://…) is a camera on the network. "
        "Then choose a setup on the Setup page: it says what to mount where."
    )


home = Home.find(dashboard().home)
st.title("From nothing to the first reading")
camera_step()
teach_step(home)
try_step(home)
run_step(home)
