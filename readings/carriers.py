"""The frozen carriers: Frame -> Reading -> Sample -> Sweep.

Units stand in the field names. Arrays are read-only; classes that hold arrays
compare by identity.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from readings.axes import Sense

Float = NDArray[np.float64]


def frozen_array(values: ArrayLike) -> Float:
    """Return a read-only float64 copy of `values`."""
    array = np.array(values, dtype=np.float64)
    array.flags.writeable = False
    return array


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One picture from a source.

    Attributes
    ----------
    image
        ``(height, width, 3)`` uint8 BGR, read-only; None where the picture could not be had,
        in which case `flags` says why.
    t_s
        The source's own monotonic seconds (video: presentation time; folder: index / fps).
    index
        Counts up from 0 within the source.
    name
        Path relative to the source where it is a folder, else None.
    """

    image: NDArray[np.uint8] | None
    t_s: float
    index: int
    source: str
    name: str | None = None
    flags: tuple[str, ...] = ()


class FrameSource(Protocol):
    """Anything that delivers frames. `name` identifies it in records."""

    @property
    def name(self) -> str:
        """Identify the source."""

    def frames(self) -> Iterator[Frame]:
        """Yield frames in order until the source ends; a live source never ends by itself."""

    def close(self) -> None:
        """Release the device or file; may be called twice."""


@dataclass(frozen=True, slots=True, eq=False)
class DialSight:
    """Where things were seen in the picture, for drawing and for tracking (pixels, (x, y))."""

    pivot_px: Float
    needle_px: Float
    """(2, 2): tail end and tip of the fitted needle line."""
    zero_px: Float
    outline_px: Float
    """(n, 2): the scale's outer circle as a polygon in the picture."""
    face_radius_px: float
    marks_used: int
    mark_scatter_px: float


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What one picture of a dial says.

    A refused reading has None for every number and at least one flag; an accepted one has
    `divisions` in [0, marks_per_turn) counted in the rising direction, and a
    `sigma_divisions` that is k = 1 and never None. `turns` is known only where a turns
    counter or tracking tells. `value_mm` is signed, with turns where known; without turns
    it is the nearest to zero on balanced dials and in [0, one turn) on continuous ones.
    """

    state: Literal["ok", "refused"]
    t_s: float
    divisions: float | None = None
    sigma_divisions: float | None = None
    turns: int | None = None
    value_mm: float | None = None
    sigma_mm: float | None = None
    flags: tuple[str, ...] = ()
    sight: DialSight | None = None
    turns_followed: int | None = None
    """Whole turns since the stream's first reading, or since the last one that is flagged
    "ambiguous turn"; says nothing about zero."""

    @property
    def ok(self) -> bool:
        """Whether the reading may be used as a number."""
        return self.state == "ok"


@dataclass(frozen=True, slots=True, eq=False)
class CollarAngle:
    """The angle of a collar in one picture, rising with the marker number, modulo a turn."""

    t_s: float
    angle_rad: float
    sigma_rad: float
    markers: int
    corners_px: Float
    """(m, 4, 2): corners of the markers used."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One accepted reading at one angle: the grain of a sweep."""

    t_s: float
    value_mm: float
    sigma_mm: float
    angle_rad: float
    """Unwrapped stylus angle θ from +X, anticlockwise seen from above (or raw collar angle)."""
    sigma_angle_rad: float


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """One pass over a surface, all arrays of one length n and read-only.

    `sense` is the sense in which θ was swept as seen from above, None where mixed or unknown.
    `kind` is "turn" for a continuous pass with measured angles and "stops" for still places.
    """

    t_s: Float
    value_mm: Float
    sigma_mm: Float
    angle_rad: Float
    sigma_angle_rad: Float
    sense: Sense | None
    kind: Literal["turn", "stops"] = "turn"
    refused: int = 0
    """Pictures in the span of the sweep that gave no reading."""
    flags: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.value_mm)

    @classmethod
    def from_samples(
        cls,
        samples: "list[Sample] | tuple[Sample, ...]",
        *,
        sense: Sense | None,
        kind: Literal["turn", "stops"] = "turn",
        refused: int = 0,
        flags: tuple[str, ...] = (),
    ) -> "Sweep":
        """Pack samples (in time order) into a sweep."""
        names = ("t_s", "value_mm", "sigma_mm", "angle_rad", "sigma_angle_rad")
        arrays: dict[str, Any] = {
            name: frozen_array([getattr(s, name) for s in samples]) for name in names
        }
        return cls(**arrays, sense=sense, kind=kind, refused=refused, flags=flags)
