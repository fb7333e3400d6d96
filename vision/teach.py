"""Teach a dial from its owner's sheet and a few photos."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel, load_camera
from calibration.dial_sheet import DialSheet, TeachingPhoto, read_sheet
from calibration.dials import TaughtDial, check_dial_name
from readings import BadInputError, Frame, frozen_array
from vision.dial_counter_learn import learn_counter
from vision.dial_learn import (
    LearnedPhoto,
    first_look,
    learn_half_width,
    learn_inner_ends,
    learn_view,
    locate_photo,
    settle_photo,
)
from vision.dial_learn_needle import learn_needle
from vision.dial_marks import ScaleLook
from vision.dial_pose import guessed_camera
from vision.dial_reader import DialReader
from vision.dial_unclicked import (
    FoundZero,
    check_together,
    locate_unclicked,
    sign_of_marks,
    zero_sight,
)

_READING_OFF = 0.5  # divisions: an eye reads to a fifth
_CLICKS_OFF = 0.4  # of a mark: farther off, the clicks and the marks do not agree


def _load(photo: TeachingPhoto) -> NDArray[np.uint8]:
    data = photo.file.read_bytes() if photo.file.is_file() else b""
    image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR) if data else None
    if image is None:
        msg = f"The teaching photo {photo.file} is missing or no picture: take it again."
        raise BadInputError(msg)
    return np.asarray(image, dtype=np.uint8)


def _check_clicks(photo: TeachingPhoto, width: int, height: int) -> None:
    if photo.marks_px is None or photo.pivot_px is None:
        return
    clicks = np.vstack([photo.marks_px, photo.pivot_px])
    if np.any(clicks < -0.5) or np.any(clicks > (width - 0.5, height - 0.5)):
        msg = (
            f"A click of {photo.file} lies outside its {width} x {height} pixels: click the "
            "marks again in dial.json."
        )
        raise BadInputError(msg)


def _check_readings(dial: TaughtDial, learned: list[LearnedPhoto], camera: CameraModel) -> None:
    """Refuse a photo whose needle, read by what was learned, stands elsewhere than was said."""
    reader, marks = DialReader(dial, camera), dial.marks_per_turn
    for one in learned:
        reader.reset()
        reading = reader.read(Frame(one.image, 0.0, 0, "teach"))
        if reading.divisions is None:
            continue
        said = one.photo.reading_divisions
        off = (reading.divisions - said + marks / 2) % marks - marks / 2
        if abs(off) > _READING_OFF:
            msg = (
                f"dial.json says {said:g} divisions for {one.photo.file}, but by its marks the "
                f"needle stands at {(said + off):.1f}: read it again, and check clockwise and "
                "which mark was taken as zero."
            )
            raise BadInputError(msg)


def _camera_for(folder: Path, images: list[NDArray[np.uint8]], *, use: bool) -> CameraModel:
    height, width = images[0].shape[:2]
    if not use or not (folder / "camera.json").exists():
        return guessed_camera(width, height)
    camera = load_camera(folder / "camera.json")
    for image in images:
        if image.shape[1::-1] != camera.size:
            msg = (
                f"A teaching photo is {image.shape[1]} x {image.shape[0]} pixels, the camera file "
                f"says {camera.image_width} x {camera.image_height}: use that camera's photos."
            )
            raise BadInputError(msg)
    return camera


def _gray(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), dtype=np.uint8)


def _polarity(
    sheet: DialSheet,
    gray: NDArray[np.uint8],
    photo: TeachingPhoto,
    camera: CameraModel,
    *,
    free_camera: bool,
) -> float:
    """Return +1 for bright marks, -1 for dark ones: as which they agree with the clicks.

    Without clicks: as which more of them fit.
    """
    if photo.marks_px is None:
        return sign_of_marks(gray, sheet, camera, free_camera=free_camera)
    off = {
        sign: locate_photo(gray, sheet, photo, camera, first_look(sheet, sign))[1]
        for sign in (-1.0, 1.0)
    }
    return min(off, key=lambda sign: off[sign])


def _misfit(photo: TeachingPhoto) -> BadInputError:
    return BadInputError(
        f"The scale in {photo.file} does not fit the clicks: check marks_per_turn, "
        "clockwise and the clicked marks, or take a sharper photo."
    )


def _first_sight(
    sheet: DialSheet,
    image: NDArray[np.uint8],
    photo: TeachingPhoto,
    camera: CameraModel,
    look: ScaleLook,
    *,
    free_camera: bool,
) -> LearnedPhoto:
    gray = _gray(image)
    if photo.marks_px is None:
        found = locate_unclicked(image, gray, sheet, photo, camera, look, free_camera=free_camera)
        return LearnedPhoto(photo, image, gray, found)
    pose, off = locate_photo(gray, sheet, photo, camera, look)
    fit = settle_photo(gray, pose, look, free_camera=free_camera)
    if fit is None or off > _CLICKS_OFF:
        raise _misfit(photo)
    return LearnedPhoto(photo, image, gray, fit)


def _settled_again(
    learned: list[LearnedPhoto], look: ScaleLook, *, free_camera: bool
) -> list[LearnedPhoto]:
    """Settle the photos on what was learned of the marks."""
    out = []
    for one in learned:
        fit = settle_photo(one.gray, one.scale.pose, look, free_camera=free_camera)
        if fit is None:
            raise _misfit(one.photo)
        out.append(LearnedPhoto(one.photo, one.image, one.gray, fit))
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Teaching:
    """A dial learned, and what was taken as zero in photos without clicks: to be confirmed."""

    dial: TaughtDial
    zeros: tuple[FoundZero, ...]


def teach(
    folder: Path, *, name: str, photos: int | None = None, use_camera: bool = True
) -> Teaching:
    """Learn a dial from `dial.json`, `camera.json` (if used) and the teaching photos.

    `photos` uses only the first so many. Nothing is written: give the dial to a `DialStore`,
    which sets its version, once its owner has confirmed the zeros.

    Raises
    ------
    BadInputError
        If the folder, its sheet or a photo cannot be used.
    """
    check_dial_name(name)
    sheet = read_sheet(Path(folder))
    if photos is not None and photos < 1:
        msg = f"{photos} teaching photos were asked for: at least one is needed."
        raise BadInputError(msg)
    if photos is not None and photos > len(sheet.photos):
        msg = f"{photos} teaching photos were asked for, dial.json names {len(sheet.photos)}."
        raise BadInputError(msg)
    chosen = sheet.photos[:photos]
    images = [_load(photo) for photo in chosen]
    camera = _camera_for(Path(folder), images, use=use_camera)
    for photo, image in zip(chosen, images, strict=True):
        _check_clicks(photo, image.shape[1], image.shape[0])
    free = not use_camera or not (Path(folder) / "camera.json").exists()
    sign = _polarity(sheet, _gray(images[0]), chosen[0], camera, free_camera=free)
    look = first_look(sheet, sign)
    learned = [
        _first_sight(sheet, image, photo, camera, look, free_camera=free)
        for image, photo in zip(images, chosen, strict=True)
    ]
    look = _learn_marks(learned, look)
    learned = _settled_again(learned, look, free_camera=free)
    zeros = _found_zeros(sheet, learned, look)
    dial = _assemble(name, sheet, learned, look)
    _check_readings(dial, learned, camera)
    return Teaching(dial, zeros)


def teach_dial(
    folder: Path, *, name: str, photos: int | None = None, use_camera: bool = True
) -> TaughtDial:
    """Learn a dial as `teach` does, for callers that confirm no zeros."""
    return teach(folder, name=name, photos=photos, use_camera=use_camera).dial


def _found_zeros(
    sheet: DialSheet, learned: list[LearnedPhoto], look: ScaleLook
) -> tuple[FoundZero, ...]:
    """Return what was taken as zero where nothing was clicked; photos must agree on it."""
    unclicked = [one for one in learned if one.photo.marks_px is None]
    if unclicked:
        rising = 1.0 if sheet.clockwise else -1.0
        check_together([(one.photo, one.gray, one.scale.pose) for one in learned], look, rising)
    return tuple(
        FoundZero(one.photo, one.image, zero_sight(one.scale.pose, sheet, one.photo))
        for one in unclicked
    )


def _learn_marks(learned: list[LearnedPhoto], look: ScaleLook) -> ScaleLook:
    inner = learn_inner_ends(learned, look)
    look = ScaleLook(look.angle_rad, look.outer_mm, inner, look.half_width_mm, look.sign)
    width = np.full(len(inner), learn_half_width(learned, look))
    return ScaleLook(look.angle_rad, look.outer_mm, inner, width, look.sign)


def _assemble(
    name: str, sheet: DialSheet, learned: list[LearnedPhoto], look: ScaleLook
) -> TaughtDial:
    needle = learn_needle(learned, sheet, float(np.max(look.inner_mm)))
    view, radii = learn_view(learned, look, needle, 1.0 if sheet.clockwise else -1.0)
    counts = sheet.has_turns_counter
    counter = learn_counter(learned, sheet, needle, look.sign) if counts else None
    return TaughtDial(
        name=name,
        version=0,
        unit=sheet.unit,
        graduation=sheet.graduation,
        marks_per_turn=sheet.marks_per_turn,
        numbering=sheet.numbering,
        clockwise=sheet.clockwise,
        has_turns_counter=sheet.has_turns_counter,
        scale_outer_diameter_mm=sheet.scale_outer_diameter_mm,
        needle_height_mm=sheet.needle_height_mm,
        travel_mm=sheet.travel_mm,
        photos=len(learned),
        mark_sign=look.sign,
        mark_inner_mm=frozen_array(look.inner_mm),
        mark_half_width_mm=frozen_array(look.half_width_mm),
        view=frozen_array(view),
        view_radius_mm=frozen_array(radii),
        needle_step=frozen_array(needle.step),
        needle_reach_mm=frozen_array(needle.u_mm),
        needle_half_width_mm=frozen_array(needle.half_width_mm),
        hub_mm=needle.hub_mm,
        counter=counter,
    )
