"""Where Sparehand keeps its state: one folder."""

import os
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from calibration.camera_store import CAMERAS, CameraStore
from calibration.dial_classes import PRESETS
from calibration.dial_errors_store import ErrorStore
from calibration.dials import DialStore
from calibration.handwheels_store import HandwheelStore
from readings import BadInputError


@dataclass(frozen=True, slots=True)
class Home:
    """The folder that holds dials, the book and the running service's addresses."""

    folder: Path

    @classmethod
    def find(cls, given: Path | None = None) -> "Home":
        """Return the folder given, else SPAREHAND_HOME, else the platform's own place."""
        named = given or os.environ.get("SPAREHAND_HOME")
        folder = Path(named) if named else platformdirs.user_data_path("sparehand", appauthor=False)
        return cls(folder.expanduser().resolve())

    def ensure(self) -> "Home":
        """Make the folder.

        Raises
        ------
        BadInputError
            If it cannot be made.
        """
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            msg = (
                f"the folder {self.folder} cannot be used ({error.strerror}); "
                "name another with --home or SPAREHAND_HOME"
            )
            raise BadInputError(msg) from error
        return self

    @property
    def dials(self) -> DialStore:
        """The dials taught so far."""
        return DialStore(self.folder / "dials")

    @property
    def dial_errors(self) -> ErrorStore:
        """The checks of the dials."""
        return ErrorStore(self.folder / "dials")

    @property
    def cameras(self) -> CameraStore:
        """How each camera is set, and its models."""
        return CameraStore(self.folder / CAMERAS)

    @property
    def handwheels(self) -> HandwheelStore:
        """The handwheels taught so far."""
        return HandwheelStore(self.folder / "handwheels")

    @property
    def dial_classes(self) -> Path:
        """A person's own file of dial classes; it need not be there."""
        return self.folder / PRESETS

    def zero_picture(self, name: str) -> Path:
        """Where a dial's owner sees which mark was taken as zero."""
        return self.folder / "zeros" / f"{name}.png"

    @property
    def demo(self) -> "Home":
        """The demo's own folder, so that its book stays apart from the user's."""
        return Home(self.folder / "demo")
