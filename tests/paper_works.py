"""Machines and works on paper: exact geometry of their own, no pictures, no project code.

Each shows a reading where the dial stands, with noise, and lets hands do what is told.
"""

from dataclasses import dataclass, field
from math import cos, hypot, pi, radians, sin
from typing import ClassVar

import numpy as np

HAND_MM = 0.001
"""How near a hand brings a needle to its reading (k = 1)."""


@dataclass
class Paper:
    """What all share: time, noise, a collar on what turns."""

    rng: np.random.Generator
    noise_mm: float = 0.0003
    theta_rad: float = 0.3
    collar_zero_rad: float = 1.0
    collar_sense: int = -1
    time_s: float = 0.0
    reach_mm: float = 0.0
    log: list = field(default_factory=list)

    def contact_mm(self, theta_rad):
        raise NotImplementedError

    def reading_mm(self):
        return self.contact_mm(self.theta_rad) + self.reach_mm + self.rng.normal(0, self.noise_mm)

    def load(self):
        """Set the dial to mid travel where it stands."""
        self.reach_mm = -self.contact_mm(self.theta_rad)

    def set_for_turn(self):
        """Set the dial to mid travel between the highest and the lowest place of a turn."""
        round_it = [self.contact_mm(turn) for turn in np.linspace(0, 2 * pi, 72)]
        self.reach_mm = -(max(round_it) + min(round_it)) / 2

    def collar_rad(self):
        return self.collar_zero_rad + self.collar_sense * self.theta_rad

    def turn_to(self, degrees):
        away = (radians(degrees) - self.theta_rad + pi) % (2 * pi) - pi
        self.theta_rad += away + radians(self.rng.normal(0, 1.5))

    def sweep(self, sense, degrees=375, places=200):
        """Columns t, value, collar angle of one turn."""
        rows, start = [], self.theta_rad
        for theta in np.linspace(start, start + sense * radians(degrees), places):
            self.theta_rad = float(theta)
            self.time_s += 0.1
            rows.append((self.time_s, self.reading_mm(), self.collar_rad()))
        return np.array(rows)

    def lock(self):
        pass

    def bring_needle(self, todo, turn_by):
        """Turn `turn_by(amount)` until the needle stands at its reading, as a hand does."""
        goal = todo.needle_mm + self.rng.normal(0, HAND_MM)
        step = 1e-4
        for _ in range(6):
            before = self.contact_mm(self.theta_rad) + self.reach_mm
            turn_by(step)
            slope = (self.contact_mm(self.theta_rad) + self.reach_mm - before) / step
            turn_by(-step)
            turn_by((goal - before) / slope)


@dataclass
class PaperHead(Paper):
    """A head over a table: an arm on the spindle, its stylus down, reading up as it is pushed."""

    lean: np.ndarray = field(default_factory=lambda: np.zeros(2))
    arm_mm: float = 100.0
    bowl_mm: float = 0.0
    """The table's own form along the circle: two waves."""
    lock_lean: np.ndarray = field(default_factory=lambda: np.zeros(2))

    def contact_mm(self, theta_rad):
        axis = np.array([*self.lean, 1.0])
        axis /= np.linalg.norm(axis)
        one = np.array([1.0, 0.0, 0.0]) - axis[0] * axis
        one /= np.linalg.norm(one)
        other = np.cross(axis, one)
        tip = self.arm_mm * (cos(theta_rad) * one + sin(theta_rad) * other)
        return -tip[2] / axis[2] + self.bowl_mm * cos(2 * theta_rad)

    def do(self, todo):
        k = 0 if "tilt" in todo.what else 1
        self.turn_to((0.0, 90.0)[k])

        def turn_by(amount):
            self.lean[k] += amount

        self.bring_needle(todo, turn_by)

    def lock(self):
        self.lean = self.lean + self.lock_lean
        self.lock_lean = np.zeros(2)

    def off_mm(self):
        return float(np.abs(self.lean).max() * 300.0)


@dataclass
class PaperFace(Paper):
    """A part on four supports, its face swept by an arm; shims lift its corners."""

    slope: np.ndarray = field(default_factory=lambda: np.zeros(2))
    arm_mm: float = 80.0
    half_mm: tuple = (100.0, 75.0)
    corners: ClassVar = {"back right": (1, 1), "back left": (-1, 1), "front left": (-1, -1),
               "front right": (1, -1)}  # fmt: skip

    def contact_mm(self, theta_rad):
        return self.arm_mm * float(self.slope @ [cos(theta_rad), sin(theta_rad)])

    def do(self, todo):
        at = self.corners[todo.what.removeprefix("shim, ")]
        thick = round(todo.amount_mm, 3)  # as feeler stock comes
        # one corner of a plane on four: half of it lifts the side
        lift = np.array([at[0] / self.half_mm[0], at[1] / self.half_mm[1]]) * thick / 4
        self.slope = self.slope + lift

    def off_mm(self):
        return float(np.abs(self.slope).max() * 300.0)


@dataclass
class PaperBar(Paper):
    """A bar turning with the spindle: off by a vector and leaning; lobes of its own."""

    off: np.ndarray = field(default_factory=lambda: np.zeros(2))
    lean: np.ndarray = field(default_factory=lambda: np.zeros(2))
    oval_mm: float = 0.0
    height_mm: float = 0.0

    def contact_mm(self, theta_rad):
        at = self.off + self.lean * self.height_mm
        return float(at @ [cos(theta_rad), sin(theta_rad)]) + self.oval_mm * cos(2 * theta_rad)

    def tir_mm(self, height_mm):
        turn = np.linspace(0, 2 * pi, 3600)
        at = self.off + self.lean * height_mm
        curve = at[0] * np.cos(turn) + at[1] * np.sin(turn) + self.oval_mm * np.cos(2 * turn)
        return float(np.ptp(curve))


@dataclass
class PaperChuck(Paper):
    """Work in four jaws; jaw 1 at 0 degrees of the work, 2 at 90, and so on."""

    off: np.ndarray = field(default_factory=lambda: np.zeros(2))
    oval_mm: float = 0.0

    def contact_mm(self, theta_rad):
        return float(self.off @ [cos(theta_rad), sin(theta_rad)]) + self.oval_mm * cos(
            2 * theta_rad
        )

    def do(self, todo):
        tighten = int(todo.what.split()[-1])
        at = radians(90.0 * (tighten - 1))
        self.turn_to(todo.stylus_deg)
        push = -np.array([cos(at), sin(at)])

        def turn_by(amount):
            self.off = self.off + amount * push

        self.bring_needle(todo, turn_by)

    def off_mm(self):
        return hypot(*self.off)


@dataclass
class PaperCentres(Paper):
    """A bar between centres: the near one fixed, the far one off up and to the front."""

    up_mm: float = 0.0
    front_mm: float = 0.0
    length_mm: float = 150.0
    x_mm: float = 0.0
    beside: bool = False

    def contact_mm(self, theta_rad):
        share = self.x_mm / self.length_mm
        return share * (self.front_mm if self.beside else self.up_mm)

    def do(self, todo):
        if todo.needle_mm is None:
            return self.by_eye(todo)

        def turn_by(amount):
            self.front_mm += amount

        return self.bring_needle(todo, turn_by)

    def by_eye(self, todo):
        self.up_mm += todo.amount_mm * (1 + self.rng.normal(0, 0.03))

    def off_mm(self):
        return max(abs(self.up_mm), abs(self.front_mm))


@dataclass
class PaperSquare(Paper):
    """A square leaning out to its face's side, a travel leaning to the right; both per mm."""

    square: float = 0.0
    travel: float = 0.0
    looks_right: bool = True
    z_mm: float = 0.0

    def contact_mm(self, theta_rad):
        side = 1.0 if self.looks_right else -1.0
        face = side * self.square * self.z_mm
        stylus = self.travel * self.z_mm
        return side * (face - stylus)


@dataclass
class PaperJacks(Paper):
    """A rough face on three jacks; its own plane, its roughness, and the jacks' heights."""

    heights_mm: np.ndarray = field(default_factory=lambda: np.zeros(3))
    jacks_mm: tuple = ((0.0, 0.0), (200.0, 0.0), (100.0, 150.0))
    pitch_mm: float = 1.5
    rough_mm: float = 0.0
    at_mm: tuple = (0.0, 0.0)

    def slope(self):
        places = np.column_stack([np.ones(3), np.array(self.jacks_mm)])
        return np.linalg.solve(places, self.heights_mm)

    def contact_mm(self, theta_rad):
        x, y = self.at_mm
        lumps = self.rough_mm * sin(0.031 * x + 0.7) * cos(0.043 * y)
        return float(self.slope() @ [1.0, x, y]) + lumps

    def do(self, todo):
        jack = int(todo.what.split()[-1]) - 1
        self.heights_mm[jack] += (todo.turns + self.rng.normal(0, 0.01)) * self.pitch_mm

    def off_mm(self):
        return float(np.abs(self.slope()[1:]).max() * 200.0)


@dataclass
class PaperHung(Paper):
    """A casting hung between centres: heights across and along, rolled by an angle."""

    roll: float = 0.0
    lumps_mm: np.ndarray = field(default_factory=lambda: np.zeros((2, 3)))
    length_mm: float = 180.0
    width_mm: float = 120.0
    half_mm: float = 70.0
    pitch_mm: float = 1.5
    at_mm: tuple = (0.0, -60.0)

    def height(self, along, across):
        row = 0 if across < 0 else 1
        column = round(2 * along / self.length_mm)
        return float(self.lumps_mm[row, column]) + self.roll * across

    def contact_mm(self, theta_rad):
        return self.height(*self.at_mm)

    def do(self, todo):
        side = -1.0 if "front" in todo.what else 1.0
        if todo.turns > 0:  # the jack that is tightened lifts its side; the other only follows
            self.roll += (
                side * (todo.turns + self.rng.normal(0, 0.01)) * self.pitch_mm / (self.half_mm)
            )

    def best_roll(self):
        """Roll of least removal, by trying."""
        rolls = np.linspace(-0.05, 0.05, 40001)
        half = self.width_mm / 2
        front, back = self.lumps_mm.min(axis=1)
        floor = np.minimum(front - rolls * half, back + rolls * half)
        return float(rolls[int(np.argmax(floor))])

    def off_mm(self):
        return abs(self.roll - self.best_roll()) * self.width_mm


@dataclass
class PaperPair(Paper):
    """Two bored seats, each with its axis: place at depth 0 and lean per mm up."""

    first: tuple = ((0.0, 0.0), (0.0, 0.0))
    second: tuple = ((0.0, 0.0), (0.0, 0.0))
    z_mm: float = 0.0
    on_second: bool = False

    def axis(self, which, z_mm):
        at, lean = which
        return np.array(at) + np.array(lean) * z_mm

    def contact_mm(self, theta_rad):
        at = self.axis(self.second if self.on_second else self.first, self.z_mm)
        return -float(at @ [cos(theta_rad), sin(theta_rad)])

    def apart_mm(self, ends):
        """Twice the larger distance of the second axis from the first at a seat's ends."""
        return 2 * max(
            float(np.linalg.norm(self.axis(self.second, z) - self.axis(self.first, z)))
            for z in ends
        )


@dataclass
class PaperBore(Paper):
    """A bore under a spindle with exact geometry; the table is moved by the needle."""

    off: np.ndarray = field(default_factory=lambda: np.zeros(2))
    oval_mm: float = 0.0
    radius_mm: float = 26.0
    tip_mm: float = 1.0
    outwards: ClassVar = -1
    """Where the stylus is of the wall, as a sign: within it, or outside a boss."""

    def contact_mm(self, theta_rad):
        way = np.array([cos(theta_rad), sin(theta_rad)])
        along, across = float(self.off @ way), float(self.off[0] * way[1] - self.off[1] * way[0])
        rest = self.radius_mm + self.outwards * self.tip_mm
        reach = rest + self.oval_mm * cos(2 * theta_rad)
        return self.outwards * (along + (reach**2 - across**2) ** 0.5 - rest)

    def do(self, todo):
        k = 0 if todo.what.endswith("x") else 1
        self.turn_to((0.0, 90.0)[k])

        def turn_by(amount):
            self.off[k] += amount

        self.bring_needle(todo, turn_by)

    def off_mm(self):
        return hypot(*self.off)


@dataclass
class PaperBoss(PaperBore):
    """A boss, the stylus outside it on an arm that points in."""

    outwards: ClassVar = 1
