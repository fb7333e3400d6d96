"""Works swept round their axis: bore, boss, plug, test bar, work in four jaws, a pair of seats."""

import math

import numpy as np

from simulator.contact import Wall, contact_along
from simulator.spec import BenchSpec
from simulator.work import Change, Floats, Goes, Knob, Stand, Work, away, round_spec, towards

JAW_PITCH_MM = 4.0
BAR_APART_MM = 200.0
FIRST_APART_MM, TO_SECOND_MM, SECOND_APART_MM = 15.0, 100.0, 15.0

DEPTHS_MM = {
    "": 0.0,
    "to-first-lower": FIRST_APART_MM,
    "to-second-upper": TO_SECOND_MM,
    "to-second-lower": TO_SECOND_MM + SECOND_APART_MM,
}
"""Depth of the stylus after each change."""


class Round(Work):
    """What the spec says: a bore, a boss or a bar, by exact contact of a round tip and its wall."""

    turns = slides = True

    def __init__(self, spec: BenchSpec, title: str, goes: Goes = "") -> None:
        super().__init__()
        self.title, self.goes = title, goes
        self._spec = spec
        begin, end = spec.worn_deg
        worn = math.radians(begin), math.radians((end - begin) % 360.0), spec.worn_mm
        self._wall = Wall(spec.seat_diameter_mm / 2, spec.lobes, spec.surface == "bore", worn)

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec that this was made of."""
        return self._spec

    def offset_mm(self, stand: Stand) -> tuple[float, float]:
        """Return work axis - spindle axis, in the frame in which the stylus' angle counts."""
        x, y = self._spec.offset_mm
        if self._spec.layout == "still":
            return x, y
        return x + stand.table_mm[0], y + stand.table_mm[1]

    def contact_mm(self, stand: Stand) -> float:
        """Return how far the wall pushes the stylus in."""
        out_mm = contact_along(
            self._wall,
            self.offset_mm(stand),
            self._stand_mm(stand),
            stand.stylus_rad,
            self._spec.tip_radius_mm,
        )
        return -out_mm if self._wall.inside else out_mm

    def _stand_mm(self, stand: Stand) -> tuple[float, float]:
        """Return where the stylus' line starts: the spindle axis, or the stand on the table."""
        if self._spec.layout != "still":
            return 0.0, 0.0
        x, y = stand.table_mm
        cos, sin = math.cos(stand.spindle_rad), math.sin(stand.spindle_rad)
        return cos * x + sin * y, cos * y - sin * x

    def off_mm(self, stand: Stand) -> float:
        """Return the distance of the two axes."""
        return math.hypot(*self.offset_mm(stand))


class Plug(Round):
    """A plug on the table, over which the part is lowered once it has been swept."""

    changes = (
        Change("over-plug", "Part over plug"),
        Change("back-face", "Along back face"),
    )


class SpindleBar(Work):
    """A bar that turns with the spindle: off at the nose, leaning, a little oval."""

    title = "Test bar in the spindle, heights 200 mm apart"
    turns = True
    changes = (Change("lower", "Dial to the lower height"),)

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__()
        self._off_mm = away(rng, 0.001, 0.005)
        self._lean = away(rng, 0.003, 0.02) / 300.0
        self._oval_mm = 0.001

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: the dial stands still beside the bar."""
        return round_spec(spec, "still", "bar")

    def _at(self, depth_mm: float) -> Floats:
        return self._off_mm - self._lean * depth_mm

    def contact_mm(self, stand: Stand) -> float:
        """Return how far the bar comes out at the dial."""
        at = self._at(BAR_APART_MM if self.changed == "lower" else 0.0)
        oval = self._oval_mm * math.cos(2 * stand.stylus_rad)
        return float(at @ towards(stand.stylus_rad)) + oval

    def tir_mm(self, depth_mm: float) -> float:
        """Return the runout at a depth below the nose, over a turn in fine steps."""
        turn = np.linspace(0.0, 2 * np.pi, 3600)
        at = self._at(depth_mm)
        curve = at[0] * np.cos(turn) + at[1] * np.sin(turn) + self._oval_mm * np.cos(2 * turn)
        return float(np.ptp(curve))

    def off_mm(self, stand: Stand) -> float:
        """Return the runout at the lower height."""
        return self.tir_mm(BAR_APART_MM)


class FourJaw(Work):
    """Work in an independent chuck: jaw 1 at 0 degrees of the work, 2 at 90, and so on."""

    title = "Part in a four-jaw chuck, jaw screws 4 mm a turn"
    turns = True
    knobs = (
        Knob("jaws-1-3", "Jaws 1 and 3", "3 in", "1 in", "turn", (0.05, 0.005, 0.0005), 1.0),
        Knob("jaws-2-4", "Jaws 2 and 4", "4 in", "2 in", "turn", (0.05, 0.005, 0.0005), 1.0),
    )
    marks = tuple(f"jaw {i} at the dial" for i in (1, 2, 3, 4))
    clamp, unclamp = "Tighten all jaws", "Ease all jaws"

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__()
        self._off_mm = away(rng, 0.06, 0.14)
        self._drawn_mm = away(rng, 0.0, 0.002)
        self._oval_mm = float(rng.uniform(0.0, 0.008))

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: the dial stands still beside the chuck."""
        return round_spec(spec, "still", "bar", "chuck")

    def _pushed_mm(self, stand: Stand) -> Floats:
        # a jaw screwed in pushes the work away from itself
        return -JAW_PITCH_MM * np.array([stand.knobs["jaws-1-3"], stand.knobs["jaws-2-4"]])

    def _off(self, stand: Stand) -> Floats:
        drawn_mm = self._drawn_mm if stand.clamped else 0.0
        return np.asarray(self._off_mm + self._pushed_mm(stand) + drawn_mm)

    def contact_mm(self, stand: Stand) -> float:
        """Return how far the work comes out at the dial."""
        oval = self._oval_mm * math.cos(2 * stand.stylus_rad)
        return float(self._off(stand) @ towards(stand.stylus_rad)) + oval

    def off_mm(self, stand: Stand) -> float:
        """Return how far the work's axis is off the spindle's."""
        return float(np.linalg.norm(self._off(stand)))


def _taps(key: str, one: int, other: int) -> Knob:
    label = f"Sides {one} and {other}"
    return Knob(key, label, f"tap {other}", f"tap {one}", "mm", (0.05, 0.005, 0.001), 1.0)


class DividingHead(FourJaw):
    """Work nipped on a dividing head: a mallet moves it from the side tapped, a bit aslant."""

    title = "Part on a dividing head, sides 1 to 4"
    knobs = (_taps("sides-1-3", 1, 3), _taps("sides-2-4", 2, 4))
    marks = tuple(f"side {i} at the dial" for i in (1, 2, 3, 4))
    clamp, unclamp = "Tighten the part", "Ease the part"

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__(rng)
        across = rng.uniform(-0.05, 0.05, 2)
        self._goes = np.array([[1.0, across[0]], [across[1], 1.0]])

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: the dial stands still beside the head."""
        return round_spec(spec, "still", "bar", "head")

    def _pushed_mm(self, stand: Stand) -> Floats:
        tapped = np.array([stand.knobs["sides-1-3"], stand.knobs["sides-2-4"]])
        return np.asarray(-self._goes @ tapped)


class Pair(Work):
    """Two bored seats, each with an axis of its own: place at depth 0, and lean."""

    title = "Gear-case end, seats 100 mm apart, depths 15 mm apart"
    turns = True
    changes = (
        Change("to-first-lower", "1st seat, lower"),
        Change("to-second-upper", "2nd seat, upper"),
        Change("to-second-lower", "2nd seat, lower"),
    )

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__()
        held, lean = away(rng, 0.02, 0.1), away(rng, 0.0, 1e-4)
        self._first = (held, lean)
        self._second = (held + away(rng, 0.0, 0.01), lean + away(rng, 0.0, 6e-5))

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: the dial rides on the spindle's arm."""
        return round_spec(spec, "riding", "bore")

    def contact_mm(self, stand: Stand) -> float:
        """Return how far the wall of the seat in hand pushes the stylus in."""
        place, lean = self._second if "second" in self.changed else self._first
        at = place - lean * DEPTHS_MM[self.changed]
        return float(-at @ towards(stand.stylus_rad))

    def off_mm(self, stand: Stand) -> float:
        """Return twice the larger distance of the second axis from the first at its ends."""
        apart = [
            self._second[0] - self._first[0] - (self._second[1] - self._first[1]) * depth
            for depth in (TO_SECOND_MM, TO_SECOND_MM + SECOND_APART_MM)
        ]
        return 2 * max(float(np.linalg.norm(each)) for each in apart)
