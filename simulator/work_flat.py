"""Works that are swept or touched as faces and lines: head, face, centres, square, jacks, hung."""

import numpy as np

from simulator.spec import BenchSpec
from simulator.work import Change, Floats, Knob, Stand, Work, away, round_spec, towards

PER_MM = 300.0
_ARC_MINUTE = np.pi / 180.0 / 60.0
ARM_MM = 100.0
ARM_IN_SIGHT_MM = 60.0
LENGTH_MM = 150.0
SQUARE_MM = 120.0
SUPPORTS_MM = (200.0, 150.0)
JACKS_MM = ((0.0, 0.0), (200.0, 0.0), (100.0, 150.0))
PITCH_MM = 1.5
CORNERS = {
    "back-left": (-1, 1),
    "back-right": (1, 1),
    "front-left": (-1, -1),
    "front-right": (1, -1),
}
"""Which way each support lies, X and Y."""
HUNG_MM = (180.0, 120.0)
HUNG_JACKS_MM = 140.0


def _minutes(key: str, label: str, less: str, more: str) -> Knob:
    return Knob(key, label, less, more, "'", (5.0, 1.0, 0.1, 0.02), 40.0)


class Head(Work):
    """A head over the table: an arm in the spindle, its stylus down, pushed up by the table."""

    title = "Head over the table, arm 100 mm"
    arm_mm = ARM_MM
    knobs = (
        _minutes("tilt", "Tilt of the head", "left", "right"),
        _minutes("nod", "Nod of the head", "front", "back"),
    )
    turns = True
    clamp, unclamp = "Tighten the head", "Loosen the head"

    def __init__(self, rng: np.random.Generator, spec: BenchSpec | None = None) -> None:
        super().__init__()
        self._table = spec or BenchSpec()
        self._lean = away(rng, 0.15, 0.35) / PER_MM
        self._bowl_mm = float(rng.uniform(0.0, 0.003))
        self._pulled = away(rng, 0.0, 0.004) / PER_MM

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: the dial rides on the spindle's arm."""
        return round_spec(spec, "riding", "bar", "table", collar=self.turns)

    def _lean_now(self, stand: Stand) -> Floats:
        turned = np.array([stand.knobs["tilt"], stand.knobs["nod"]]) * _ARC_MINUTE
        return np.asarray(self._lean + turned + (self._pulled if stand.clamped else 0.0))

    def contact_mm(self, stand: Stand) -> float:
        """Return how far the table pushes the stylus up: it goes round square to the axis."""
        axis = np.array([*self._lean_now(stand), 1.0])
        axis /= np.linalg.norm(axis)
        one = np.array([1.0, 0.0, 0.0]) - axis[0] * axis
        one /= np.linalg.norm(one)
        sideways = np.cross(axis, one)
        cos, sin = towards(stand.stylus_rad)
        tip = self.arm_mm * (cos * one + sin * sideways)
        bowl = self._bowl_mm * np.cos(2 * stand.stylus_rad)
        return float(-tip[2] / axis[2] + bowl - self._fall_mm(float(tip[1])))

    def _fall_mm(self, y_mm: float) -> float:
        """Return how far a round tip falls into a slot of the table at this Y.

        It rolls over the edge until it hangs on it, or the slot's floor stops it.
        """
        table = self._table
        beside = min((abs(y_mm - slot) for slot in table.slots_mm), default=np.inf)
        inside = table.slot_wide_mm / 2 - beside
        if inside <= 0:
            return 0.0
        tip = table.tip_radius_mm
        hangs = tip - float(np.sqrt(tip**2 - inside**2)) if inside < tip else np.inf
        return float(min(hangs, table.slot_deep_mm))

    def off_mm(self, stand: Stand) -> float:
        """Return the larger lean over 300 mm."""
        return float(np.abs(self._lean_now(stand)).max() * PER_MM)


class HeadByStops(Head):
    """The same with a shorter arm: dial and arm go round in sight of a camera that stands still."""

    arm_mm = ARM_IN_SIGHT_MM
    title = f"Head over the table, arm {ARM_IN_SIGHT_MM:g} mm"
    goes, turns = "round", False

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: a camera that stands still, and hands that stop about where told."""
        return round_spec(spec, "orbiting", "bar", "table", collar=False)


class Face(Work):
    """A part on four supports, its face swept by an arm of 100 mm; shims lift its corners."""

    title = "Part on four supports, 200 by 150 mm, arm 100 mm"
    turns = True
    clamp, unclamp = "Clamp the part", "Loosen the clamps"
    knobs = tuple(
        Knob(f"shim-{key}", f"Shim {key.replace('-', ' ')}", "out", "in", "mm",
             (0.1, 0.01, 0.001), 3.0)
        for key in CORNERS
    )  # fmt: skip

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__()
        self._slope = away(rng, 0.15, 0.4) / PER_MM
        self._pressed = away(rng, 0.0, 0.004) / PER_MM

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: the dial rides on the spindle's arm."""
        return round_spec(spec, "riding", "bar", "casting")

    def _slope_now(self, stand: Stand) -> Floats:
        slope = self._slope + (self._pressed if stand.clamped else 0.0)
        for key, at in CORNERS.items():
            # the plane through four corner heights, as least squares lays it
            lift = np.array([at[0] / SUPPORTS_MM[0], at[1] / SUPPORTS_MM[1]]) / 2
            slope = slope + lift * stand.knobs[f"shim-{key}"]
        return np.asarray(slope)

    def contact_mm(self, stand: Stand) -> float:
        """Return the height of the face under the stylus."""
        return float(ARM_MM * self._slope_now(stand) @ towards(stand.stylus_rad))

    def off_mm(self, stand: Stand) -> float:
        """Return the larger tilt over 300 mm."""
        return float(np.abs(self._slope_now(stand)).max() * PER_MM)


class Centres(Work):
    """A bar between centres: the near one fixed, the far one off up and to the front."""

    title = "Bar between centres, 150 mm"
    goes = "x"
    start_mm = (LENGTH_MM, 0.0, 0.0)
    knobs = (
        Knob("height", "Far centre, height", "down", "up", "mm", (0.1, 0.01, 0.001), 1.0),
        Knob("sideways", "Far centre, sideways", "front", "back", "mm", (0.1, 0.01, 0.001), 1.0),
    )
    changes = (Change("to-side", "Dial to the side"), Change("to-top", "Dial to the top"))
    clamp, unclamp = "Lock far centre", "Free far centre"

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__()
        self._up_mm, self._front_mm = away(rng, 0.04, 0.15).tolist()
        self._moved_mm = away(rng, 0.0, 0.001)

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: the dial stands still in the nose."""
        return round_spec(spec, "still", "bar", "centres", collar=False)

    def _off(self, stand: Stand) -> Floats:
        knobs = stand.knobs
        off = np.array([self._up_mm + knobs["height"], self._front_mm - knobs["sideways"]])
        return np.asarray(off + (self._moved_mm if stand.clamped else 0.0))

    def contact_mm(self, stand: Stand) -> float:
        """Return how far the bar stands up (or to the front) under the stylus."""
        beside = self.changed == "to-side"
        return float(stand.at_mm[0] / LENGTH_MM * self._off(stand)[int(beside)])

    def change(self, key: str) -> tuple[float, float, float] | None:
        """Set the dial on top or at the side, at the far end."""
        super().change(key)
        return self.start_mm

    def off_mm(self, stand: Stand) -> float:
        """Return how far the far end is off, up or sideways."""
        return float(np.abs(self._off(stand)).max())


class Square(Work):
    """A square that leans out of its own, run along by a head whose travel leans too."""

    title = "Square on the table, 120 mm"
    goes = "z"
    changes = (Change("reverse", "Turn the square round"),)

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__()
        leans = away(rng, 0.01, 0.03) / SQUARE_MM
        self.square, self.travel = float(leans[0]), float(leans[1])

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: the dial stands still in the nose."""
        return round_spec(spec, "still", "bar", "square", collar=False)

    def contact_mm(self, stand: Stand) -> float:
        """Return how far the square's face comes towards the stylus at this height."""
        side = -1.0 if self.changed == "reverse" else 1.0
        return stand.at_mm[2] * (self.square - side * self.travel)

    def change(self, key: str) -> tuple[float, float, float] | None:
        """Turn the square round, the dial at its foot again."""
        super().change(key)
        return self.start_mm

    def off_mm(self, stand: Stand) -> float:
        """Return the square's own error over its length."""
        return abs(self.square) * SQUARE_MM


class Jacks(Work):
    """A rough face on three jacks, 1 and 2 along the front, 3 behind them."""

    title = "Casting on three jacks, 200 by 150 mm, thread 1.5 mm"
    goes = "xy"
    knobs = tuple(
        Knob(f"jack-{i}", f"Jack {i}", "down", "up", "turn", (0.1, 0.01, 0.001), 2.0)
        for i in (1, 2, 3)
    )
    clamp, unclamp = "Clamp on jacks", "Loosen the clamps"

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__()
        self._heights_mm = rng.uniform(-0.16, 0.16, 3)
        self._pressed_mm = rng.uniform(-0.002, 0.002, 3)
        self._rough_mm = float(rng.uniform(0.0, 0.005))

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: the dial stands still in the nose."""
        return round_spec(spec, "still", "bar", "jacks", collar=False)

    def _plane(self, stand: Stand) -> Floats:
        turns = np.array([stand.knobs[f"jack-{i}"] for i in (1, 2, 3)])
        heights = self._heights_mm + PITCH_MM * turns
        heights = heights + (self._pressed_mm if stand.clamped else 0.0)
        places = np.column_stack([np.ones(3), np.array(JACKS_MM)])
        return np.asarray(np.linalg.solve(places, heights))

    def contact_mm(self, stand: Stand) -> float:
        """Return the height of the rough face under the stylus."""
        x, y, _ = stand.at_mm
        lumps = self._rough_mm * np.sin(0.031 * x + 0.7) * np.cos(0.043 * y)
        return float(self._plane(stand) @ [1.0, x, y] + lumps)

    def off_mm(self, stand: Stand) -> float:
        """Return the larger slope over the two front jacks' distance."""
        return float(np.abs(self._plane(stand)[1:]).max() * JACKS_MM[1][0])


class Hung(Work):
    """A casting hung between centres along X, a jack under either side, its face rough."""

    title = "Casting between centres, 180 by 120 mm, jacks 140 mm apart, thread 1.5 mm"
    goes = "xy"
    start_mm = (0.0, -HUNG_MM[1] / 2, 0.0)
    knobs = tuple(
        Knob(f"{side}-jack", f"{side.capitalize()} jack", "slacken", "tighten", "turn",
             (0.1, 0.01, 0.001), 2.0)
        for side in ("front", "back")
    )  # fmt: skip
    clamp, unclamp = "Pinch, clamp", "Loosen the clamps"

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__()
        self._roll = float(away(rng, 0.0008, 0.0016, 1)[0])
        self._lumps_mm = rng.uniform(-0.05, 0.05, (2, 3))

    def spec(self, spec: BenchSpec) -> BenchSpec:
        """Return the spec: the dial stands still in the nose."""
        return round_spec(spec, "still", "bar", "hung", collar=False)

    def _roll_now(self, stand: Stand) -> float:
        # pinched from both sides: what one jack gives, the other takes
        turns = stand.knobs["back-jack"] - stand.knobs["front-jack"]
        return self._roll + turns * PITCH_MM / HUNG_JACKS_MM

    def contact_mm(self, stand: Stand) -> float:
        """Return the height of the rough face under the stylus."""
        along, across, _ = stand.at_mm
        row = self._lumps_mm[0 if across < 0 else 1]
        lump = np.interp(along, np.linspace(0.0, HUNG_MM[0], 3), row)
        return float(lump + self._roll_now(stand) * across)

    def best_roll(self) -> float:
        """Return the roll of least removal, by trying (rad)."""
        rolls = np.linspace(-0.01, 0.01, 40_001)
        half = HUNG_MM[1] / 2
        front, back = self._lumps_mm.min(axis=1)
        floor = np.minimum(front - rolls * half, back + rolls * half)
        return float(rolls[int(np.argmax(floor))])

    def off_mm(self, stand: Stand) -> float:
        """Return the roll off the least skim's, over the width."""
        return abs(self._roll_now(stand) - self.best_roll()) * HUNG_MM[1]
