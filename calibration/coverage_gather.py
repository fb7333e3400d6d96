"""Views picked from a film or a live camera by themselves: held still, sharp, and new.

Whoever shows the board moves it about and holds it still now and then. A view is taken when
the corners have stood still for a moment and show the board where or as no view before did.
"""

from dataclasses import dataclass
from math import cos, radians
from typing import Literal

import numpy as np

from calibration.boards import LeftOut, View, shift_px
from calibration.coverage import Coverage, Float, coverage_of, normal_of

Kind = Literal["taken", "sharper", "same", "moving", "hold", "unseen"]

LOOKS_PER_S = 8.0
"""So many pictures a second are looked at: more say nothing new of a board held by hand."""
STILL_SHARE_PER_S = 0.025
"""Corners that move slower (of the picture's width) stand still: hands sway by a millimetre or
two a second; at twice as much a rolling shutter skews the board by a pixel."""
STILL_S = 0.3
GAP_S = 1.0
"""After so long without a board, nothing is known of how it moved."""
NEW_SHARE = 0.06
"""A view is new where the middle corner lies this far (of the width) from any other view's."""
NEW_TILT_DEG = 10.0
SHARPER = 0.85
MOST_VIEWS = 30
ENOUGH_VIEWS = 12

WHY: dict[Kind, str] = {
    "same": "shows the board where another view does",
    "moving": "the board was moving",
    "hold": "the board was not held still for long enough",
    "sharper": "a sharper view of the same came",
}


@dataclass(frozen=True, slots=True)
class Offer:
    """What became of a picture: its kind, and why in words where no board was found."""

    kind: Kind
    words: str = ""


@dataclass(slots=True)
class _Stretch:
    """Pictures one after another that were left out for the same reason."""

    kind: Kind
    first: str
    last: str
    count: int
    reason: str

    def told(self) -> LeftOut:
        name = self.first if self.count == 1 else f"{self.first} to {self.last} ({self.count})"
        return LeftOut(name, self.reason, self.count)


class Gathering:
    """The views of one calibration while they come in."""

    def __init__(self) -> None:
        self._views: list[View] = []
        self._normals: list[Float] = []
        self._before: tuple[float, View] | None = None
        self._still_since_s: float | None = None
        self._out: list[_Stretch] = []
        self._due_s = float("-inf")

    @property
    def views(self) -> tuple[View, ...]:
        """The views taken, in order."""
        return tuple(self._views)

    @property
    def coverage(self) -> Coverage:
        """What they cover."""
        return coverage_of(self._views, self._normals)

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """Pictures not used and why; those in a row with the same reason told together."""
        return tuple(one.told() for one in self._out)

    @property
    def enough(self) -> bool:
        """Whether more views would add little."""
        count = len(self._views)
        return count >= MOST_VIEWS or (count >= ENOUGH_VIEWS and self.coverage.complete)

    def wants(self, t_s: float) -> bool:
        """Whether a picture of this time is to be looked at; asked once a picture."""
        if t_s < self._due_s:
            return False
        self._due_s = t_s + 0.999 / LOOKS_PER_S
        return True

    def offer(self, seen: View | LeftOut, t_s: float) -> Offer:
        """Look at what was found in the next picture, taken at `t_s`."""
        if isinstance(seen, LeftOut):
            self._still_since_s = None
            self._before = None
            self._leave_out("unseen", seen.name, seen.reason)
            return Offer("unseen", seen.reason)
        kind = self._judged(seen, t_s)
        if kind in ("taken", "sharper"):
            self._held_before_it()
        else:
            self._leave_out(kind, seen.name, WHY[kind])
        return Offer(kind)

    def _judged(self, view: View, t_s: float) -> Kind:
        if not self._still(view, t_s):
            return "moving"
        assert self._still_since_s is not None
        held = t_s - self._still_since_s >= STILL_S
        normal = normal_of(view)
        near = self._nearest(view, normal)
        if near is not None:
            return self._better(near, view, normal) if held else "same"
        if not held:
            return "hold"
        self._views.append(view)
        self._normals.append(normal)
        return "taken"

    def _still(self, view: View, t_s: float) -> bool:
        """Note how the board moves; return whether it stands still."""
        before, self._before = self._before, (t_s, view)
        if before is None or not 0 < t_s - before[0] <= GAP_S:
            self._still_since_s = t_s
            return True
        apart = shift_px(before[1], view)
        most = STILL_SHARE_PER_S * view.size[0] * (t_s - before[0])
        if apart.size == 0 or float(np.median(apart)) > most:
            self._still_since_s = t_s
            return False
        if self._still_since_s is None:
            self._still_since_s = t_s
        return True

    def _nearest(self, view: View, normal: Float) -> int | None:
        """Return which view taken shows the same; None where none does."""
        for k, (other, leaning) in enumerate(zip(self._views, self._normals, strict=True)):
            apart = shift_px(other, view)
            if (
                apart.size
                and float(np.median(apart)) < NEW_SHARE * view.size[0]
                and float(normal @ leaning) > cos(radians(NEW_TILT_DEG))
            ):
                return k
        return None

    def _better(self, k: int, view: View, normal: Float) -> Kind:
        """Take a far sharper view of the same in place of the one taken before."""
        if view.blur_px >= SHARPER * self._views[k].blur_px:
            return "same"
        self._leave_out("sharper", self._views[k].name, WHY["sharper"])
        self._views[k], self._normals[k] = view, normal
        return "sharper"

    def _held_before_it(self) -> None:
        """Pictures of the hold that ended in a view show the same as it."""
        last = self._out[-1] if self._out else None
        if last is not None and last.kind == "hold":
            last.kind, last.reason = "same", WHY["same"]

    def _leave_out(self, kind: Kind, name: str, reason: str) -> None:
        last = self._out[-1] if self._out else None
        if last is not None and last.kind == kind:
            last.last = name
            last.count += 1
            return
        self._out.append(_Stretch(kind, name, name, 1, reason))
