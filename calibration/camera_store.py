"""What is kept of each camera, by its identity: how it is set, and its models, one file each."""

import json
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from calibration.camera import CameraModel, save_camera
from calibration.camera_settings import (
    CameraSettings,
    CameraState,
    plain_settings,
    plain_state,
    settings_from,
)
from calibration.numbered import numbered, write_whole
from readings import BadInputError

CAMERAS = "cameras"
"""The store's folder in a home."""
_PLAIN = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True, slots=True)
class Origin:
    """What a model was made of: the camera's identity, when, and how its driver stood.

    `identity` and `state` are None where nobody could tell: photos and addresses tell neither
    focus nor exposure.
    """

    identity: str | None
    at_utc: datetime
    state: CameraState | None = None


def plain_origin(origin: Origin) -> dict[str, Any]:
    """Return an origin as a camera file holds it.

    >>> from datetime import UTC
    >>> plain_origin(Origin("bench camera", datetime(2026, 11, 27, 9, 30, tzinfo=UTC)))
    {'identity': 'bench camera', 'made_utc': '2026-11-27T09:30:00+00:00', 'settings': None}
    """
    return {
        "identity": origin.identity,
        "made_utc": origin.at_utc.isoformat(timespec="seconds"),
        "settings": None if origin.state is None else plain_state(origin.state),
    }


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

    def newest_model(self, identity: str) -> Path | None:
        """Return where a camera's newest model lies; None where it has none."""
        found = numbered(self._of(identity), "m", ".json")
        return found[max(found)] if found else None
