"""What is kept of each camera, by its identity: how it is set, and its models, one file each."""

import json
import re
from pathlib import Path
from typing import Any

from calibration.camera import CameraModel, save_camera
from calibration.camera_settings import CameraSettings, plain_settings, settings_from
from calibration.numbered import numbered, write_whole
from readings import BadInputError

_PLAIN = re.compile(r"[^a-z0-9]+")


class CameraStore:
    """A folder a camera: `settings.json`, and models `m0001.json`, never written over."""

    def __init__(self, folder: Path) -> None:
        self._folder = Path(folder)

    def _of(self, identity: str) -> Path:
        return self._folder / (_PLAIN.sub("-", identity.lower()).strip("-")[:80] or "camera")

    def keep_settings(self, identity: str, settings: CameraSettings) -> None:
        """Keep how a camera is to be set whenever it is opened."""
        text = json.dumps({"identity": identity, **plain_settings(settings)}, indent=1)
        path = self._of(identity) / "settings.json"
        write_whole(path, lambda file: file.write(text.encode()))

    def settings(self, identity: str) -> CameraSettings:
        """Return how a camera is to be set; as usual where nobody said.

        Raises
        ------
        BadInputError
            If its file cannot be read.
        """
        path = self._of(identity) / "settings.json"
        if not path.is_file():
            return CameraSettings()
        try:
            return settings_from(json.loads(path.read_text(encoding="utf-8")))
        except (OSError, ValueError, AttributeError) as error:
            msg = f"the camera settings {path} cannot be read ({error}): give them anew."
            raise BadInputError(msg) from error

    def keep_model(self, identity: str, model: CameraModel, more: dict[str, Any]) -> Path:
        """Keep a model as the camera's newest and return where it lies."""
        folder = self._of(identity)
        folder.mkdir(parents=True, exist_ok=True)
        version = max(numbered(folder, "m", ".json"), default=0) + 1
        path = folder / f"m{version:04d}.json"
        save_camera(model, path, more)
        return path
