"""What the camera says of the spindle nose: "fitted", "bare" or "cannot see". It ticks nothing.

"Fitted" wants the dial or its collar in sight. "Bare" wants positive evidence for a second: live,
lit pictures of the scene that a person once showed with the nose bare. All else is "cannot see".
Pure of clocks: time is the source's.
"""

from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

NoseAnswer = Literal["fitted", "bare", "cannot see"]

EVIDENCE_S = 1.0
LONGEST_GAP_S = 0.5
"""Pictures further apart than this are no evidence of what was between them."""
DARKEST, BRIGHTEST, LEAST_SPREAD = 20.0, 238.0, 6.0
"""Grey levels: mean of a lit picture, and how much it must show."""
ALIKE = 0.97
MOST_OFF = 16.0
"""Grey levels by which any part of the picture may differ from the scene that was shown."""
_CELLS = (32, 18)

Cells = NDArray[np.float32]


class NoseWatch:
    """Watches one camera's pictures."""

    def __init__(self) -> None:
        self._scene: Cells | None = None
        self._last: tuple[float, NDArray[np.uint8]] | None = None
        self._since_s: float | None = None
        self._fitted = False

    @property
    def taught(self) -> bool:
        """Whether a person has shown the nose bare."""
        return self._scene is not None

    @property
    def fitted(self) -> bool:
        """Whether dial or collar were found in the latest picture."""
        return self._fitted

    def forget(self) -> None:
        """Forget the scene: another camera is in use."""
        self._scene, self._last, self._since_s, self._fitted = None, None, None, False

    def teach(self, image: NDArray[np.uint8]) -> bool:
        """Take a picture as the scene with the nose bare; return whether it can serve.

        A dark or even picture cannot, nor any while dial or collar are in sight.
        """
        cells = _cells(image)
        if self._fitted or not _lit(cells):
            return False
        self._scene, self._since_s = cells, None
        return True

    def look(self, image: NDArray[np.uint8] | None, t_s: float, *, fitted: bool) -> NoseAnswer:
        """Take one picture in; `fitted` tells that dial or collar were found in it."""
        self._fitted = fitted and image is not None
        if image is None or not self._live(image, t_s):
            self._since_s = None
            return "cannot see"
        if fitted:
            self._since_s = None
            return "fitted"
        if not self._as_shown(image):
            self._since_s = None
            return "cannot see"
        if self._since_s is None:
            self._since_s = t_s
        return "bare" if t_s - self._since_s >= EVIDENCE_S else "cannot see"

    def _live(self, image: NDArray[np.uint8], t_s: float) -> bool:
        """Whether this picture is new: noise makes no two pictures of a camera alike.

        The very same array twice is no camera's doing and does not count.
        """
        before, self._last = self._last, (t_s, image)
        if before is None:
            return True
        fresh = image is before[1] or not np.array_equal(image[::8, ::8], before[1][::8, ::8])
        return fresh and 0.0 < t_s - before[0] <= LONGEST_GAP_S

    def _as_shown(self, image: NDArray[np.uint8]) -> bool:
        if self._scene is None:
            return False
        cells = _cells(image)
        if not _lit(cells):
            return False
        gain = float(np.median(cells) / np.median(self._scene))
        scene = self._scene * gain
        off = float(np.abs(cells - scene).max())
        like = float(np.corrcoef(cells.ravel(), scene.ravel())[0, 1])
        return off <= MOST_OFF and like >= ALIKE


def _cells(image: NDArray[np.uint8]) -> Cells:
    grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY) if image.ndim == 3 else image
    return np.asarray(cv2.resize(grey, _CELLS, interpolation=cv2.INTER_AREA), dtype=np.float32)


def _lit(cells: Cells) -> bool:
    return DARKEST <= float(cells.mean()) <= BRIGHTEST and float(cells.std()) >= LEAST_SPREAD
