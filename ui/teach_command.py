"""The engine of `sparehand dial teach`: learn a dial, have its zero confirmed, keep it."""

from collections.abc import Callable
from pathlib import Path

import cv2

from calibration.dials import TaughtDial
from readings import BadInputError
from ui.home import Home
from ui.output import tell
from vision.annotate import draw_zero
from vision.dial_unclicked import FoundZero
from vision.teach import teach


def teach_and_keep(
    home: Home,
    folder: Path,
    name: str,
    *,
    photos: int | None,
    use_camera: bool,
    confirm: Callable[[str], bool],
) -> TaughtDial:
    """Learn a dial and keep it as a new version.

    Where photos had no clicks, `confirm` is asked whether the marks taken as zero are right.

    Raises
    ------
    BadInputError
        If the folder cannot be used, or the zero was not confirmed: then no dial is kept.
    """
    teaching = teach(folder, name=name, photos=photos, use_camera=use_camera)
    if use_camera and not (folder / "camera.json").exists():
        tell(
            f"There is no camera.json in {folder}: the lens was told from the marks alone "
            "(--no-camera says so without this line)."
        )
    if teaching.zeros:
        picture = home.ensure().zero_picture(name)
        write_zeros(picture, teaching.zeros)
        if not confirm(f"I took the mark ringed in {picture} as zero. Is it the zero mark?"):
            msg = (
                f"{name} was not kept, as its zero is not confirmed: look at {picture}, then run "
                "again with --zero-confirmed if the ringed mark is zero, else correct "
                "reading_divisions or add clicks_px in dial.json."
            )
            raise BadInputError(msg)
    return home.ensure().dials.save(teaching.dial)


def write_zeros(path: Path, zeros: tuple[FoundZero, ...]) -> None:
    """Write the photos one under another, the mark taken as zero ringed in each."""
    path.parent.mkdir(parents=True, exist_ok=True)
    drawn = [draw_zero(zero.image, zero.sight, zero.photo.reading_divisions) for zero in zeros]
    width = min(one.shape[1] for one in drawn)
    even = [cv2.resize(one, (width, round(one.shape[0] * width / one.shape[1]))) for one in drawn]
    _, data = cv2.imencode(".png", cv2.vconcat(even))
    path.write_bytes(data.tobytes())


def counter_words(dial: TaughtDial) -> str:
    """Return what was learned of a dial's turns counter, "" where it has none."""
    if not dial.has_turns_counter:
        return ""
    if dial.counter is None:
        return (
            " Its turns counter could not be made out, so whole turns are not told: teach it "
            "with photos that show the counter's hand free of the needle."
        )
    known = f" A turn of its counter's hand is {dial.counter.turns} turns of the needle."
    if dial.counter.rising:
        return known
    return known + (
        " Which way that hand turns is not known, so whole turns are told now and then only: "
        "add counter_clockwise to dial.json, or a photo with another reading."
    )
