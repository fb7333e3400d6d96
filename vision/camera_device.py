"""A camera's driver, behind the few calls that are asked of it: set, and read back.

Drivers take a value and keep another, call a control locked that they do not have, and need
format, size and rate in this order. Nothing is believed here that was not read back.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import cv2
import numpy as np

from calibration.camera_settings import CONTROLS, CameraSettings, CameraState, Control


class Device(Protocol):
    """What OpenCV's capture does for us; a test hands in another one."""

    def isOpened(self) -> bool:  # noqa: N802 - OpenCV's name
        """Whether it can be grabbed from."""

    def grab(self) -> bool:
        """Take the next picture; False where none comes any more."""

    def retrieve(self) -> tuple[bool, Any]:
        """Return whether the picture taken could be decoded, and it."""

    def get(self, what: int, /) -> float:
        """Return a property as the driver tells it."""

    def set(self, what: int, value: float, /) -> bool:
        """Set a property; drivers say True and do not do it."""

    def release(self) -> None:
        """Let it go."""


OpenDevice = Callable[[int], Device]


@dataclass(frozen=True, slots=True)
class _Knob:
    """The properties of one control: its value, the camera's own hand on it."""

    value: int
    auto: int
    manual: tuple[float, ...]
    """What to write into `auto` for manual, tried in turn: backends differ."""


_KNOBS: dict[Control, _Knob] = {
    "focus": _Knob(cv2.CAP_PROP_FOCUS, cv2.CAP_PROP_AUTOFOCUS, (0.0,)),
    "exposure": _Knob(cv2.CAP_PROP_EXPOSURE, cv2.CAP_PROP_AUTO_EXPOSURE, (1.0, 0.25)),
    "white_balance": _Knob(cv2.CAP_PROP_WB_TEMPERATURE, cv2.CAP_PROP_AUTO_WB, (0.0,)),
}
_FOURCC = {"mjpg": "MJPG", "raw": "YUYV"}
_HELD_WITHIN = 0.02
"""A value counts as kept within this share of it (drivers round to their own steps)."""


def open_device(number: int) -> Device:
    """Return the camera of a number; it may not have opened."""
    log = cv2.utils.logging
    before = log.getLogLevel()
    log.setLogLevel(log.LOG_LEVEL_SILENT)  # a number that does not answer is told in our words
    try:
        return cv2.VideoCapture(number)
    finally:
        log.setLogLevel(before)


def set_up(device: Device, settings: CameraSettings, identity: str) -> CameraState:
    """Set a camera and return what it then says of itself."""
    device.set(cv2.CAP_PROP_FOURCC, float(cv2.VideoWriter.fourcc(*_FOURCC[settings.pixel_format])))
    for _ in range(2):  # some drivers take the size only once the format stands
        device.set(cv2.CAP_PROP_FRAME_WIDTH, float(settings.width_px))
        device.set(cv2.CAP_PROP_FRAME_HEIGHT, float(settings.height_px))
    device.set(cv2.CAP_PROP_BUFFERSIZE, 1.0)
    not_done = [_locked(device, name, settings.values.get(name)) for name in settings.locks]
    state = state_of(device, identity)
    said = (*_size_told(settings, state), *_format_told(settings, state), *filter(None, not_done))
    failed = {name for name, why in zip(settings.locks, not_done, strict=True) if why is not None}
    locked = tuple(name for name in settings.locks if name not in failed)
    return CameraState(
        identity, state.width_px, state.height_px, state.pixel_format, state.fps,
        state.values, locked, said,
    )  # fmt: skip


def state_of(device: Device, identity: str) -> CameraState:
    """Return what a camera says of itself, of its first picture where one comes."""
    good, image = device.retrieve() if device.grab() else (False, None)
    width, height = (
        np.shape(image)[1::-1]
        if good and image is not None
        else (_number(device, cv2.CAP_PROP_FRAME_WIDTH), _number(device, cv2.CAP_PROP_FRAME_HEIGHT))
    )
    values = {
        name: found for name in CONTROLS if (found := _told(device, _KNOBS[name].value)) is not None
    }
    fps = max(0.0, device.get(cv2.CAP_PROP_FPS))
    return CameraState(identity, int(width), int(height), _format_of(device), fps, values)


def _number(device: Device, what: int) -> int:
    return int(max(0.0, device.get(what)))


def _told(device: Device, what: int) -> float | None:
    """Return a property, None where the driver has none (-1 and 0 alike say so to some)."""
    value = float(device.get(what))
    return None if value == -1.0 or not np.isfinite(value) else value


def _format_of(device: Device) -> str:
    code = _number(device, cv2.CAP_PROP_FOURCC)
    letters = "".join(chr(code >> 8 * k & 0xFF) for k in range(4))
    return letters.lower() if letters.isalnum() else "unknown"


def _size_told(settings: CameraSettings, state: CameraState) -> tuple[str, ...]:
    got, wanted = (state.width_px, state.height_px), (settings.width_px, settings.height_px)
    if got == wanted:
        return ()
    return (
        f"the camera gives {got[0]} x {got[1]} pixels, not {wanted[0]} x {wanted[1]}: ask for a "
        "size that it has",
    )


def _format_told(settings: CameraSettings, state: CameraState) -> tuple[str, ...]:
    raw = state.pixel_format in ("yuyv", "yuy2", "uyvy", "nv12", "i420", "yu12", "bgr3", "rgb3")
    right = state.pixel_format == "mjpg" if settings.pixel_format == "mjpg" else raw
    if right:
        return ()
    return (
        f"the format could not be set to {settings.pixel_format} (it is {state.pixel_format}): "
        "fewer pictures a second may come",
    )


def _locked(device: Device, name: Control, value: float | None) -> str | None:
    """Take a control out of the camera's hands; return why it is not, None where it is."""
    knob, words = _KNOBS[name], name.replace("_", " ")
    before = _told(device, knob.value)
    if before is None and value is None:
        return f"{words} could not be locked: the camera has no such control"
    if not _by_hand(device, knob):
        return (
            f"{words} could not be locked: the camera keeps it automatic; switch that off in "
            "the camera's or phone's own program"
        )
    wanted = before if value is None else value
    assert wanted is not None
    device.set(knob.value, wanted)
    kept = _told(device, knob.value)
    if kept is None or abs(kept - wanted) > max(_HELD_WITHIN * abs(wanted), 1e-6):
        return f"{words} could not be set to {wanted:g}: the camera says {_shown(kept)}"
    return None


def _by_hand(device: Device, knob: _Knob) -> bool:
    for manual in knob.manual:
        device.set(knob.auto, manual)
        if _told(device, knob.auto) == manual:
            return True
    return False


def _shown(value: float | None) -> str:
    return "nothing" if value is None else f"{value:g}"


def identity_of(number: int, root: Path = Path("/")) -> str:
    """Return what tells this camera from another: its lasting name where the system has one."""
    if sys.platform == "linux":
        device = root / "dev" / f"video{number}"
        for link in sorted((root / "dev" / "v4l" / "by-id").glob("*")):
            if link.resolve() == device.resolve():
                return link.name
        name = root / "sys" / "class" / "video4linux" / f"video{number}" / "name"
        if name.is_file():
            return name.read_text(encoding="utf-8", errors="replace").strip()
    return f"camera {number}"
