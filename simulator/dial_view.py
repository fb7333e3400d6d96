"""Views of a drawn dial, at random: where camera, light and needle stand, and what goes wrong."""

import math
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from calibration.camera import CameraModel
from simulator.dial_design import DialDesign
from simulator.dial_glare import Glare, random_glare
from simulator.optics import Float, Place, facing_axes, project, through

Category = Literal["clean", "tilt", "glare", "dim", "defocus", "motion", "part", "refuse"]
Fault = Literal["half", "spin"]
"""Beyond the categories: half of the needle hidden; a needle that sweeps far too fast."""
CATEGORIES: tuple[Category, ...] = get_args(Category)
FAULTS: tuple[Fault, ...] = get_args(Fault)
Pair = tuple[float, float]

_SIZES = ((1280, 720),) * 6 + ((960, 540), (640, 480))


@dataclass(frozen=True, slots=True)
class Finger:
    """A finger before the dial: where its middle line begins and ends, and its half width, px."""

    start_px: Pair
    end_px: Pair
    half_px: float


@dataclass(frozen=True, slots=True)
class Lamp:
    """A lamp or window over a dial, told by the shadows it throws.

    Attributes
    ----------
    shift
        Where a shadow lies on the face (right, up), per height of what throws it.
    penumbra
        How soft its edge is, per height.
    depth
        How much of the light this lamp gives, hence what its shadow takes.
    """

    shift: Pair
    penumbra: float
    depth: float


@dataclass(frozen=True, slots=True)
class DialView:
    """One picture to be taken.

    Attributes
    ----------
    at_px, face_radius_px
        Where the face's middle is seen, and how large.
    tilt_deg, towards_deg
        How far the face's normal stands off the line of sight, and to which side.
    turned_deg
        The face's zero mark, clockwise from upright.
    bezel_deg
        What of that was done by turning the bezel against the case, clockwise.
    total_divisions
        The reading with whole turns, in the middle of the exposure.
    sweep_divisions
        How far the needle moves meanwhile.
    lamps
        The first one shades the cap and the face.
    exposure, tint, gamma
        Brightness, colour of the light (3,), and the exponent by which it is stored.
    noise
        Share of light, of the root of light, and floor, in linear light.
    focus_px, lens_px
        Radius of the disc of confusion; sigma of the lens' own blur.
    """

    camera: CameraModel
    category: Category | Fault
    cover: str | None
    at_px: Pair
    face_radius_px: float
    tilt_deg: float
    towards_deg: float
    turned_deg: float
    bezel_deg: float
    total_divisions: float
    sweep_divisions: float
    lamps: tuple[Lamp, ...]
    exposure: float
    tint: tuple[float, float, float]
    gamma: float
    noise: tuple[float, float, float]
    glare: tuple[Glare, ...]
    fingers: tuple[Finger, ...]
    focus_px: float
    lens_px: float
    jpeg_quality: int
    scene: int
    """Which workshop stands behind."""

    @property
    def gone(self) -> bool:
        """Whether no dial is in the picture."""
        return self.cover == "gone"

    def place(self, design: DialDesign) -> Place:
        """Return where the face stands: x right and y up the face, zero mark on +y."""
        radius_mm = design.radius_mm * design.face_radius
        depth_mm = self.camera.fx * radius_mm / self.face_radius_px
        origin = through(self.camera, self.at_px, depth_mm)
        axes = facing_axes(origin, self.tilt_deg, self.towards_deg, self.turned_deg)
        return Place(axes, origin)

    def needle_rad(self, design: DialDesign) -> float:
        """Return where the needle points, clockwise from the zero mark."""
        step = 2 * math.pi / design.marks_per_turn
        return design.rising * step * self.total_divisions


def random_camera(rng: np.random.Generator, size: tuple[int, int] | None = None) -> CameraModel:
    """Return a camera: mostly 1280 x 720, with a webcam's lens."""
    width, height = size or _SIZES[int(rng.integers(len(_SIZES)))]
    focal = width * float(rng.uniform(0.85, 1.25))
    k1 = float(rng.uniform(-0.10, 0.05))
    return CameraModel(
        width, height, focal, focal, (width - 1) / 2, (height - 1) / 2, k1, float(-0.3 * k1)
    )


def random_view(
    design: DialDesign,
    camera: CameraModel,
    category: Category | Fault,
    rng: np.random.Generator,
) -> DialView:
    """Return a view of a category."""
    view = _plain(design, camera, category, rng)
    change = _CHANGES.get(category)
    return view if change is None else change(design, view, rng)


def teaching_view(
    design: DialDesign, camera: CameraModel, divisions: float, rng: np.random.Generator
) -> DialView:
    """Return a view in which an owner would teach: near, sharp, bright, little tilt."""
    view = _plain(design, camera, "clean", rng)
    largest = _largest_px(design, camera)
    radius = float(rng.uniform(0.80, 0.97)) * largest
    return replace(
        view,
        at_px=_place_px(design, camera, radius, rng),
        face_radius_px=radius,
        tilt_deg=float(rng.uniform(0.5, 8.0)),
        total_divisions=divisions,
        glare=(),
    )


def _plain(
    design: DialDesign, camera: CameraModel, category: Category | Fault, rng: np.random.Generator
) -> DialView:
    radius = _radius_px(design, camera, rng)
    whole = float(rng.uniform(-2.0, 8.0)) if design.counter else float(rng.uniform(0.0, 1.0))
    lamps = _lamps(rng)
    bright = float(rng.uniform(0.75, 1.05))
    return DialView(
        camera=camera,
        category=category,
        cover=None,
        at_px=_place_px(design, camera, radius, rng),
        face_radius_px=radius,
        tilt_deg=float(rng.uniform(0.5, 15.0)),
        towards_deg=float(rng.uniform(0.0, 360.0)),
        turned_deg=float(rng.uniform(0.0, 360.0)),
        bezel_deg=float(rng.uniform(-180.0, 180.0)),
        total_divisions=whole * design.marks_per_turn,
        sweep_divisions=0.0,
        lamps=lamps,
        exposure=bright,
        tint=tuple(rng.uniform(0.92, 1.08, 3).tolist()),
        gamma=float(rng.uniform(2.0, 2.4)),
        noise=(float(rng.uniform(0.008, 0.030)), float(rng.uniform(0.008, 0.050)), 0.0008),
        glare=random_glare(rng) if rng.random() < 0.25 else (),
        fingers=(),
        focus_px=0.0,
        lens_px=float(rng.uniform(0.15, 0.75)),
        jpeg_quality=int(rng.integers(82, 97)),
        scene=int(rng.integers(1 << 20)),
    )


def _lamps(rng: np.random.Generator) -> tuple[Lamp, ...]:
    """Return a lamp and one or two windows or wide lamps that share the light with it."""
    wide = [_lamp(rng, (0.3, 1.2), (0.25, 0.55)) for _ in range(1 + int(rng.random() < 0.5))]
    return (_lamp(rng, (0.1, 0.8), (0.45, 0.85)), *wide)


def _lamp(rng: np.random.Generator, penumbra: Pair, depth: Pair) -> Lamp:
    low, towards = float(rng.uniform(0.05, 0.8)), rng.uniform(0.0, 2 * math.pi)
    shift = low * math.sin(towards), low * math.cos(towards)
    return Lamp(shift, float(rng.uniform(*penumbra)), float(rng.uniform(*depth)))


def _largest_px(design: DialDesign, camera: CameraModel) -> float:
    return 0.47 * camera.image_height * design.face_radius / (1 + 0.6 * design.bezel_width)


def _radius_px(design: DialDesign, camera: CameraModel, rng: np.random.Generator) -> float:
    """Return a face's radius: 100 px or more, a mark every 5 px at least."""
    least = max(100.0, 0.82 * design.marks_per_turn)
    most = 0.9 * _largest_px(design, camera)
    usual = max(least, 0.5 * most) if rng.random() < 0.8 else least
    return float(rng.uniform(min(usual, most), most))


def _place_px(
    design: DialDesign, camera: CameraModel, radius: float, rng: np.random.Generator
) -> Pair:
    half = radius / design.face_radius * (1.02 + 0.5 * design.bezel_width)
    room = max(0.0, camera.image_width / 2 - half), max(0.0, camera.image_height / 2 - half)
    off = rng.uniform(-0.6, 0.6), rng.uniform(-0.8, 0.8)
    middle = camera.image_width / 2, camera.image_height / 2
    return float(middle[0] + off[0] * room[0]), float(middle[1] + off[1] * room[1])


def _tilted(design: DialDesign, view: DialView, rng: np.random.Generator) -> DialView:
    return replace(view, tilt_deg=float(rng.uniform(16.0, 44.0)))


def _glaring(design: DialDesign, view: DialView, rng: np.random.Generator) -> DialView:
    return replace(view, glare=(*random_glare(rng), *random_glare(rng)))


def _dimmed(design: DialDesign, view: DialView, rng: np.random.Generator) -> DialView:
    noise = (0.02, float(rng.uniform(0.012, 0.040)), float(rng.uniform(0.002, 0.005)))
    return replace(view, exposure=float(rng.uniform(0.05, 0.25)), noise=noise)


def _defocused(design: DialDesign, view: DialView, rng: np.random.Generator) -> DialView:
    scale = view.face_radius_px / 250.0
    spacing = 2 * math.pi * view.face_radius_px / design.marks_per_turn
    return replace(view, focus_px=min(float(rng.uniform(1.2, 3.6)) * scale, 0.28 * spacing) + 0.4)


def _moving(design: DialDesign, view: DialView, rng: np.random.Generator) -> DialView:
    return replace(view, sweep_divisions=float(rng.uniform(0.3, 3.0)))


def _spinning(design: DialDesign, view: DialView, rng: np.random.Generator) -> DialView:
    return replace(view, cover="spin", sweep_divisions=float(rng.uniform(5.0, 20.0)))


def _fingered(design: DialDesign, view: DialView, rng: np.random.Generator) -> DialView:
    """Lay a finger on the scale, clear of the needle's front half."""
    clear = float(rng.uniform(0.75, 2 * math.pi - 0.75))
    finger = _finger(design, view, rng, view.needle_rad(design) + clear, rng.uniform(0.62, 0.95))
    return replace(view, cover="edge", fingers=(finger,))


def _half_hidden(design: DialDesign, view: DialView, rng: np.random.Generator) -> DialView:
    at = view.needle_rad(design) + rng.uniform(-0.12, 0.12)
    finger = _finger(design, view, rng, at, rng.uniform(0.4, 0.8))
    return replace(view, cover="half", fingers=(finger,))


def _finger(
    design: DialDesign, view: DialView, rng: np.random.Generator, at: float, inner: float
) -> Finger:
    half = float(rng.uniform(0.13, 0.22))
    lean = at + rng.uniform(-0.3, 0.3)
    tip = (inner + half) * np.array([math.sin(at), math.cos(at)])
    start = tip + 4.0 * np.array([math.sin(lean), math.cos(lean)])
    return _on_picture(design, view, tip, start, half)


def hide_needle(design: DialDesign, view: DialView, rng: np.random.Generator) -> DialView:
    """Lay a finger along the whole needle, its shadow perhaps in sight."""
    at = view.needle_rad(design) + rng.choice([0.0, math.pi])
    way = np.array([math.sin(at), math.cos(at)])
    half = float(rng.uniform(0.17, 0.28))
    view = replace(view, cover="needle", tilt_deg=min(view.tilt_deg, 10.0))
    finger = _on_picture(design, view, -way * rng.uniform(0.9, 1.05), 4.5 * way, half)
    return replace(view, fingers=(finger,))


def _on_picture(
    design: DialDesign, view: DialView, tip: Float, start: Float, half: float
) -> Finger:
    """Return a finger given on the needle's plane, in radii, as it is seen."""
    flat = np.column_stack(
        [np.vstack([tip, start]) * design.radius_mm, [design.needle_height_mm] * 2]
    )
    end_px, start_px = project(view.camera, view.place(design).to_camera(flat))
    wide = half * view.face_radius_px / design.face_radius
    return Finger(tuple(start_px.tolist()), tuple(end_px.tolist()), wide)


def _refused(design: DialDesign, view: DialView, rng: np.random.Generator) -> DialView:
    what = ("needle", "gone", "blur")[int(rng.integers(3))]
    if what == "needle":
        return hide_needle(design, view, rng)
    if what == "gone":
        return replace(view, cover="gone")
    focus = view.face_radius_px * float(rng.uniform(0.09, 0.15))
    return replace(view, cover="blur", focus_px=focus)


_CHANGES = {
    "tilt": _tilted,
    "glare": _glaring,
    "dim": _dimmed,
    "defocus": _defocused,
    "motion": _moving,
    "part": _fingered,
    "refuse": _refused,
    "half": _half_hidden,
    "spin": _spinning,
}
