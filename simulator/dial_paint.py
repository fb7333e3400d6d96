"""Paint one drawn dial into linear light: print, light on the face, hands, glare, solids."""

import math
from collections import OrderedDict
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.dial_design import Counter, DialDesign, Hand
from simulator.dial_hands import cover
from simulator.dial_print import Print, print_face, sample, sample_dirt
from simulator.dial_solids import cut_camera, lay_solids, mix, paint_bezel, paint_body
from simulator.dial_view import DialView, Lamp
from simulator.optics import PlaneMap, Window, project, window_round

Soft = NDArray[np.float32]
_KEPT_PRINTS = 3
_PART_RAD = 0.35 * 2 * math.pi
"""A third of a division, times the marks of a turn."""
_WALL_TONE = 0.8
_prints: OrderedDict[DialDesign, Print] = OrderedDict()


def _print_of(design: DialDesign) -> Print:
    """Return the design's print; the last few are kept."""
    if design not in _prints:
        _prints[design] = print_face(design)
        while len(_prints) > _KEPT_PRINTS:
            _prints.popitem(last=False)
    _prints.move_to_end(design)
    return _prints[design]


class DialPainter:
    """One dial in one view, drawn into a window of the picture."""

    def __init__(self, design: DialDesign, view: DialView, window: Window) -> None:
        self.design, self.view, self.window = design, view, window
        self.place = view.place(design)
        self.camera = cut_camera(view.camera, window)
        self.per_radius = view.face_radius_px / design.face_radius
        self.fine = 2 if self.per_radius > 130 else 3

    def paint(self, light: Soft) -> None:
        """Paint case, face, hands, glare and bezel over what is behind, in place."""
        lay_solids(light, self.camera, lambda c: paint_body(c, self.design, self.place))
        face = PlaneMap(self.view.camera, self.place, 0.0, self.window)
        x, y = (v / np.float32(self.design.radius_mm) for v in face.on(self.window))
        colour = self._printed(x, y)
        colour *= cv2.merge([self._light(x, y)] * 3)
        counter = self.design.counter
        if counter is not None:
            self._counter_hand(colour, counter)
        self._needle(colour)
        self._glare(colour)
        inside = np.clip(
            (self.design.face_radius - cv2.magnitude(x, y)) * self.per_radius + 0.5, 0, 1
        )
        mix(light, inside, colour)
        lay_solids(light, self.camera, lambda c: paint_bezel(c, self.design, self.place))

    def _printed(self, x: Soft, y: Soft) -> Soft:
        """Return the face's own light: paper, ink, dirt."""
        made = _print_of(self.design)
        per = self.per_radius * math.sqrt(math.cos(math.radians(self.view.tilt_deg)))
        ink = sample(made.ring, x, y, per)
        spin = math.radians(self.view.bezel_deg) if self._stands() else 0.0
        cos, sin = np.float32(math.cos(spin)), np.float32(math.sin(spin))
        inner = sample(made.inner, cos * x + sin * y, cos * y - sin * x, per)
        share = cv2.max(ink, inner).astype(np.float32) / np.float32(255)
        dirt = sample_dirt(made.dirt, x, y)
        paper, black = (np.array(c, np.float32) for c in (self.design.face, self.design.ink))
        parts = [dirt * (p + share * (b - p)) for p, b in zip(paper, black, strict=True)]
        return np.asarray(cv2.merge(parts), dtype=np.float32)

    def _stands(self) -> bool:
        return self.design.counter is not None and self.design.counter.stands

    def _light(self, x: Soft, y: Soft) -> Soft:
        """Return how light falls on the face: a slope, soft shadows of the bezel and the cap."""
        design, right, up = self.design, *self.view.lamps[0].shift
        light = 1 - 0.08 * (x * np.float32(right) + y * np.float32(up))
        wall = design.bezel_height_mm / design.radius_mm
        cap = (design.needle_height_mm + design.cap_mm) / design.radius_mm
        for lamp in self.view.lamps:
            beside = _inside(x, y, lamp, wall, design.face_radius)
            under = _inside(x, y, lamp, cap, design.cap_radius)
            shade = np.maximum(1 - beside, under)
            light *= 1 - np.float32(lamp.depth) * shade
        return np.asarray(light, dtype=np.float32)

    def _counter_hand(self, colour: Soft, counter: Counter) -> None:
        design, view = self.design, self.view
        spin = math.radians(view.bezel_deg) if counter.stands else 0.0
        turns = view.total_divisions / design.marks_per_turn
        bezel_turns = spin / (2 * math.pi) * design.rising
        sense = 1.0 if counter.clockwise else -1.0
        at = sense * 2 * math.pi * (turns + bezel_turns) / counter.turns - spin
        cos, sin = math.cos(spin), math.sin(spin)
        middle = counter.centre
        centre = cos * middle[0] - sin * middle[1], cos * middle[1] + sin * middle[0]
        height = 0.45 * design.needle_height_mm
        self._hand(colour, counter.hand, at, 0.0, height, centre)

    def _needle(self, colour: Soft) -> None:
        design, view = self.design, self.view
        sweep = view.sweep_divisions * 2 * math.pi / design.marks_per_turn
        at, height = view.needle_rad(design), design.needle_height_mm
        self._hand(colour, design.needle, at, sweep, height, (0.0, 0.0))
        cap = Hand((-1e-3, design.cap_radius), (2 * design.cap_radius,) * 2, design.cap_colour)
        self._cap(colour, cap, height + design.cap_mm)

    def _hand(
        self,
        colour: Soft,
        hand: Hand,
        at: float,
        sweep: float,
        height_mm: float,
        centre: tuple[float, float],
    ) -> None:
        """Draw a hand and its shadow on the face.

        A hand in motion hides its own shadow at every moment, so the exposure is cut into
        short parts: what is seen of the face is the mean of what both leave free.
        """
        high = height_mm / self.design.radius_mm
        lamps = self.view.lamps
        at_shadow = [
            (centre[0] + high * lamp.shift[0], centre[1] + high * lamp.shift[1]) for lamp in lamps
        ]
        soft = [high * lamp.penumbra for lamp in lamps]
        box = self._box(hand, at, sweep, height_mm, centre, 0.0)
        for place, wide in zip(at_shadow, soft, strict=True):
            box = _hull(box, self._box(hand, at, sweep, 0.0, place, wide))
        above = self._on_plane(box, height_mm, centre, 0.0)
        thick_mm = min(self.design.needle_thick_mm, 0.5 * height_mm)
        foot = self._on_plane(box, height_mm - thick_mm, centre, 0.0)
        below = [
            self._on_plane(box, 0.0, place, wide)
            for place, wide in zip(at_shadow, soft, strict=True)
        ]
        parts = max(1, math.ceil(sweep * self.design.marks_per_turn / _PART_RAD))
        free, own, wall = np.zeros((3, box.height, box.width), np.float32)
        for when in (np.arange(parts) + 0.5) / parts - 0.5:
            now = at + when * sweep
            share = above.share(hand, now, sweep / parts)
            side = (1 - share) * foot.share(hand, now, sweep / parts)
            lit = 1 - share - side
            for lamp, sheet in zip(lamps, below, strict=True):
                lit *= 1 - np.float32(lamp.depth) * sheet.share(hand, now, sweep / parts)
            free += lit
            own += share
            wall += side
        part = _part(colour, _local(box, self.window))
        part *= (free / parts)[..., None]
        tone = np.float32(self._wall_tone(at))
        part += ((own + tone * wall) / parts)[..., None] * np.array(hand.colour, np.float32)

    def _wall_tone(self, at: float) -> float:
        """Return how bright the wall of a hand is that faces the camera, over its top.

        The wall that faces the first lamp too is lit; the one that faces away lies in the dark.
        """
        right, up = self.view.lamps[0].shift
        across = np.array([math.cos(at), -math.sin(at)])
        seen_from = float(self.place.eye_mm()[:2] @ across)
        lit_from = -float(np.array([right, up]) @ across) / math.hypot(right, up)
        return 1.0 + _WALL_TONE * math.copysign(1.0, seen_from) * lit_from

    def _on_plane(
        self, box: Window, height_mm: float, centre: tuple[float, float], soft: float
    ) -> "_Sheet":
        """Return a box's places on a plane, from a hand's pivot or from where its shadow is."""
        fine = replace(box, fine=1 if soft * self.per_radius > 2 else self.fine)
        x, y = PlaneMap(self.view.camera, self.place, height_mm, fine).on(fine)
        radius = np.float32(self.design.radius_mm)
        edge = max(1.0 / (self.per_radius * fine.fine), soft)
        x, y = x / radius - np.float32(centre[0]), y / radius - np.float32(centre[1])
        return _Sheet(x, y, edge, (box.width, box.height))

    def _box(
        self,
        hand: Hand,
        at: float,
        sweep: float,
        height_mm: float,
        centre: tuple[float, float],
        soft: float,
    ) -> Window:
        ways = at + np.linspace(-sweep / 2, sweep / 2, 5)
        along = np.array([hand.along[0] - soft, hand.along[-1] + soft])
        way = np.column_stack([np.sin(ways), np.cos(ways)])
        middle = (along[:, None, None] * way[None]).reshape(-1, 2) + centre
        wide = max(hand.half) + soft
        corners = (middle[:, None] + wide * _SQUARE[None]).reshape(-1, 2) * self.design.radius_mm
        points = np.column_stack([corners, np.full(len(corners), height_mm)])
        seen = project(self.view.camera, self.place.to_camera(points))
        box = window_round(self.view.camera, seen, 2, self.fine)
        return _within(box, self.window)

    def _cap(self, colour: Soft, cap: Hand, height_mm: float) -> None:
        box = self._box(cap, 0.0, 0.0, height_mm, (0.0, 0.0), cap.along[-1])
        plain = replace(box, fine=1)
        x, y = PlaneMap(self.view.camera, self.place, height_mm, plain).on(plain)
        radius = cv2.magnitude(x, y) / np.float32(self.design.radius_mm)
        share = np.clip((cap.along[-1] - radius) * self.per_radius + 0.5, 0, 1)
        right, up = self.view.lamps[0].shift
        side = (x * right + y * up) / self.design.radius_mm
        tone = np.clip(1 - 0.5 * side / cap.along[-1], 0.3, 1.8)
        part = _part(colour, _local(box, self.window))
        part += share[..., None] * (tone[..., None] * np.array(cap.colour, np.float32) - part)

    def _glare(self, colour: Soft) -> None:
        """Add what the crystal mirrors."""
        for glare in self.view.glare:
            shine = np.zeros(colour.shape[:2], np.float32)
            for corners in glare.corners:
                flat = np.column_stack([np.array(corners), np.zeros(len(corners))])
                at = self.place.to_camera(flat * self.design.radius_mm)
                seen = np.round(16 * project(self.camera, at)).astype(np.int32)
                cv2.fillConvexPoly(shine, seen, (glare.level,), cv2.LINE_8, 4)
            shine = _softened(shine, glare.soft * self.per_radius)
            colour += cv2.merge([shine] * 3)


def _inside(x: Soft, y: Soft, lamp: Lamp, high: float, radius: float) -> Soft:
    """Return how far places lie in a circle's shadow (or light, for a hole), 0 to 1.

    The circle stands `high` over the face; lengths are in radii of the scale.
    """
    shift = high * lamp.shift[0], high * lamp.shift[1]
    away = cv2.magnitude(x - np.float32(shift[0]), y - np.float32(shift[1]))
    soft = max(0.02, high * lamp.penumbra)
    return np.asarray(np.clip((radius - away) / soft + 0.5, 0, 1), dtype=np.float32)


_SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


def _within(box: Window, window: Window) -> Window:
    left, top = max(box.left, window.left), max(box.top, window.top)
    right = min(box.left + box.width, window.left + window.width)
    bottom = min(box.top + box.height, window.top + window.height)
    return Window(left, top, max(1, right - left), max(1, bottom - top), box.fine)


@dataclass(frozen=True, slots=True, eq=False)
class _Sheet:
    """Places on a plane for the fine pixels of a box, and the softness of edges there."""

    x: Soft
    y: Soft
    edge: float
    size: tuple[int, int]

    def share(self, hand: Hand, at: float, sweep: float) -> Soft:
        """Return a hand's share of each pixel of the box."""
        fine = cover(hand, self.x, self.y, at, sweep, self.edge)
        share = cv2.resize(fine, self.size, interpolation=cv2.INTER_AREA)
        return np.asarray(share, dtype=np.float32)


def _hull(one: Window, other: Window) -> Window:
    """Return the smallest window around two."""
    left, top = min(one.left, other.left), min(one.top, other.top)
    right = max(one.left + one.width, other.left + other.width)
    bottom = max(one.top + one.height, other.top + other.height)
    return Window(left, top, right - left, bottom - top, one.fine)


def _local(box: Window, window: Window) -> Window:
    return replace(box, left=box.left - window.left, top=box.top - window.top)


def _part(colour: Soft, box: Window) -> Soft:
    return colour[box.rows, box.columns]


def _softened(shine: Soft, sigma_px: float) -> Soft:
    """Blur, on a smaller picture where the blur is wide."""
    if sigma_px < 6:
        return np.asarray(cv2.GaussianBlur(shine, (0, 0), max(sigma_px, 0.5)), dtype=np.float32)
    small = cv2.resize(shine, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small, (0, 0), sigma_px / 4)
    out = cv2.resize(soft, shine.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(out, dtype=np.float32)
