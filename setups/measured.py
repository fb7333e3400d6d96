"""What a guide other than centring asks, takes in and finds: sizes, places, numbers, things to do.

All frozen and plain, so that a state holding them is written down and resumed.
"""

from dataclasses import dataclass
from typing import Literal

VerdictWord = Literal["inside", "outside", "cannot tell"]
Unit = Literal["mm", "mm per 300", "mm per 100", "deg", "arcsec", "turns"]


@dataclass(frozen=True, slots=True)
class SizeAsked:
    """A size that a person enters by hand, with what it is taken with and what can be."""

    key: str
    label: str
    default: float
    low: float
    high: float
    unit: str = "mm"
    tool: str = "rule"


@dataclass(frozen=True, slots=True)
class Place:
    """One place at which the dial is read: what is told, and where it is (mm)."""

    key: str
    words: str
    at_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class TargetStop:
    """Where a turning target stood in a still one's frame: x right, y up as that is printed.

    Attributes
    ----------
    x_mm, y_mm, sigma_mm
        At the height that was entered; sigma (k = 1) of either, from this picture alone.
    turn_rad
        How far the target is turned against the still one, anticlockwise.
    common_mm2
        (xx, xy, yy) of what the still target's own pose makes all such places err by.
    tilt_rad2
        Variances of the still target's tilt about its x and its y.
    aside
        How far x and y go aside for each mm that the height is wrong.
    still_px
        Where the still target's centre stands in the picture.
    """

    x_mm: float
    y_mm: float
    sigma_mm: float
    turn_rad: float
    common_mm2: tuple[float, float, float]
    tilt_rad2: tuple[float, float]
    aside: tuple[float, float]
    still_px: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Seen:
    """The reading at one place; of a target's stop, `value_mm` is its x."""

    place: str
    value_mm: float
    sigma_mm: float
    at_s: float
    target: TargetStop | None = None


@dataclass(frozen=True, slots=True)
class Run:
    """A finished run over the places of a step."""

    step: str
    seen: tuple[Seen, ...]


@dataclass(frozen=True, slots=True)
class Number:
    """One number of a result as it is shown and kept; `u` is k = 1, None where not told."""

    key: str
    label: str
    value: float
    unit: Unit
    u: float | None = None


@dataclass(frozen=True, slots=True)
class Do:
    """One thing to do.

    Attributes
    ----------
    what
        What is turned, pushed or packed: the head, jack 2, jaw 3.
    headline, detail
        Five words or so for the glass, and the sentence under it.
    stylus_deg
        The angle at which stylus or work must stand meanwhile; None where it does not matter.
    needle_mm, window_mm
        The reading to bring the needle to, and near enough; None where the needle cannot
        tell and a touch of next says that it is done.
    amount_mm
        How far, where no needle tells: up, in or thicker is positive.
    turns
        The same in turns of its screw, None where there is none.
    """

    what: str
    headline: str
    detail: str
    stylus_deg: float | None = None
    needle_mm: float | None = None
    window_mm: float = 0.0
    amount_mm: float | None = None
    turns: float | None = None


@dataclass(frozen=True, slots=True)
class Measured:
    """What one round found.

    `size_mm` is what was judged against the tolerance, in the guide's own words of it;
    `verdict` None where the guide has no tolerance. `budget` is (name, u in mm) of it.
    """

    numbers: tuple[Number, ...]
    sentence: str
    size_mm: float | None
    u_size_mm: float | None
    verdict: VerdictWord | None
    guard_mm: float | None
    least_provable_mm: float | None
    todo: tuple[Do, ...] = ()
    budget: tuple[tuple[str, float], ...] = ()
    flags: tuple[str, ...] = ()
    locked: bool = False

    def number(self, key: str) -> Number:
        """Return the number named `key`."""
        return next(number for number in self.numbers if number.key == key)


@dataclass(frozen=True, slots=True)
class CannotTell:
    """A round that gave no number: the reason, and what to do about it."""

    reason: str
    flags: tuple[str, ...] = ()
