"""A bar that turns about an axis nobody sees, a printed target on its end, another beside it."""

import numpy as np

from simulator.spec import BenchSpec
from simulator.target_view import TargetPainter, TurningBar
from simulator.work import Change, Paints, Stand, Work, round_spec

HEIGHTS_MM = {"": 20.0, "longer": 100.0}
"""Of the bar's end over the still target's paper, after each change."""
PER_MM = 300.0


class AxisByTargets(Work):
    """A dividing head lying or standing: only its axis and the targets count."""

    title = "Bar's end with target, 20 and 100 mm over the still one"
    turns, dial = True, False
    turn_on_deg = 40.0
    changes = (Change("longer", "Longer bar"),)

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__()
        self.bar = TurningBar(rng)
        self.bar.set_height(HEIGHTS_MM[""])

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: the camera stands still, neither dial nor collar is in sight."""
        return round_spec(spec, "still", "bar", "targets", collar=False)

    def painter(self, spec: BenchSpec, rng: np.random.Generator) -> Paints:
        """Return what draws both targets."""
        return TargetPainter(spec, rng, self.bar)

    def contact_mm(self, stand: Stand) -> float:
        """No dial stands against it."""
        return 0.0

    def change(self, key: str) -> None:
        """Put the longer bar in, its target stuck anew."""
        super().change(key)
        self.bar.set_height(HEIGHTS_MM[key])

    def off_mm(self, stand: Stand) -> float:
        """Return the larger lean over 300 mm."""
        return float(np.abs(self.bar.lean).max() * PER_MM)
