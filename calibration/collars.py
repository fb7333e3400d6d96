"""Collars: strips of numbered square markers round whatever turns."""

from dataclasses import dataclass
from math import pi

from readings import BadInputError

DICTIONARIES = {"4x4_50": 50}
"""Marker dictionaries by name, with how many markers each holds."""
MIN_MARKERS = 6
"""Fewer than this and a camera may lose sight of the last marker before the next shows."""


@dataclass(frozen=True, slots=True)
class Collar:
    """A cylinder's strip of `markers` equally spaced square markers, numbered from 0.

    The size of marker and cylinder need not be known.

    Raises
    ------
    BadInputError
        If the dictionary is unknown or holds fewer markers than asked for.
    """

    markers: int = 16
    dictionary: str = "4x4_50"

    def __post_init__(self) -> None:
        if self.dictionary not in DICTIONARIES:
            known = ", ".join(DICTIONARIES)
            msg = f"no marker dictionary is called {self.dictionary!r}: use one of {known}."
            raise BadInputError(msg)
        most = DICTIONARIES[self.dictionary]
        if not MIN_MARKERS <= self.markers <= most:
            msg = (
                f"a collar of {self.markers} markers was asked for: "
                f"it carries {MIN_MARKERS} to {most}; count the squares once round."
            )
            raise BadInputError(msg)

    @property
    def pitch_rad(self) -> float:
        """Angle from one marker to the next."""
        return 2 * pi / self.markers
