"""How a camera is to be set, and what its driver really did: two things that often differ.

A camera model holds for one size and one focus, so both are kept beside it.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from math import isfinite
from typing import Any, Literal

from readings import BadInputError

PixelFormat = Literal["mjpg", "raw"]
Control = Literal["focus", "exposure", "white_balance"]
CONTROLS: tuple[Control, ...] = ("focus", "exposure", "white_balance")
SMALLEST_PX, LARGEST_PX = 160, 8192


@dataclass(frozen=True, slots=True)
class CameraSettings:
    """What is asked of a camera.

    `locks` are the controls to be taken out of the camera's own hands; `values` says at which
    value (in the driver's own numbers), a control without one is held where it stands.
    """

    width_px: int = 1280
    height_px: int = 720
    pixel_format: PixelFormat = "mjpg"
    locks: tuple[Control, ...] = ()
    values: Mapping[Control, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, size in (("wide", self.width_px), ("high", self.height_px)):
            if not SMALLEST_PX <= size <= LARGEST_PX:
                msg = (
                    f"a picture {size} pixels {name} was asked for: give {SMALLEST_PX} to "
                    f"{LARGEST_PX}, like 1280x720."
                )
                raise BadInputError(msg)
        if self.pixel_format not in ("mjpg", "raw"):
            msg = f"the format {self.pixel_format!r} is not known: give mjpg or raw."
            raise BadInputError(msg)
        unknown = [name for name in (*self.locks, *self.values) if name not in CONTROLS]
        if unknown:
            words = ", ".join(name.replace("_", "-") for name in CONTROLS)
            msg = f"{unknown[0]!r} cannot be locked: give {words}."
            raise BadInputError(msg)
        if not all(isfinite(value) for value in self.values.values()):
            msg = "a value to lock at is no number: give one as `camera set` shows it."
            raise BadInputError(msg)


@dataclass(frozen=True, slots=True)
class CameraState:
    """What a driver says after it was set.

    `values` are the controls as read back, `locked` those that the camera keeps its hands off;
    `not_done` one sentence for each thing that was asked for and did not come about.
    """

    identity: str
    width_px: int
    height_px: int
    pixel_format: str
    fps: float
    values: Mapping[Control, float] = field(default_factory=dict)
    locked: tuple[Control, ...] = ()
    not_done: tuple[str, ...] = ()


def plain_settings(settings: CameraSettings) -> dict[str, Any]:
    """Return settings as JSON holds them."""
    return asdict(settings) | {"locks": list(settings.locks), "values": dict(settings.values)}


def settings_from(plain: Mapping[str, Any]) -> CameraSettings:
    """Return the settings that `plain_settings` wrote.

    Raises
    ------
    BadInputError
        If they are none.
    """
    try:
        values = {name: float(value) for name, value in plain.get("values", {}).items()}
        return CameraSettings(
            int(plain["width_px"]),
            int(plain["height_px"]),
            plain["pixel_format"],
            tuple(plain.get("locks", ())),
            values,
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        msg = f"camera settings cannot be read ({error!r}): give them anew with camera set."
        raise BadInputError(msg) from error


def plain_state(state: CameraState) -> dict[str, Any]:
    """Return a state as it is kept beside a model and shown."""
    return asdict(state) | {
        "values": dict(state.values),
        "locked": list(state.locked),
        "not_done": list(state.not_done),
    }


def focus_warning(state: CameraState | None) -> str:
    """Return what is to be said of a model made as a camera stood; empty where nothing is."""
    if state is None or "focus" not in state.values or "focus" in state.locked:
        return ""
    return (
        "Focus was not locked: the model holds only until the camera focuses anew (see: "
        "camera set --lock focus, then calibrate again)."
    )
