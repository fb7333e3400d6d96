"""What does not change while the bench is used: the machine in front, the workshop behind."""

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from simulator.canvas import (
    BLACKED,
    BRASS,
    BRIGHT_IRON,
    CAST_IRON,
    DARK_STEEL,
    STEEL,
    Canvas,
    Image,
)
from simulator.face import paint_dial
from simulator.optics import (
    Float,
    Place,
    camera_model,
    dial_axes,
    leaning_axes,
    through,
    turned_axes,
)
from simulator.spec import BenchSpec, Shown
from simulator.work_scenery import paint_shown, touch_mm

COLLAR_RADIUS_MM = 31.6
COLLAR_HALF_MM = 7.0
"""Half the height of the collar's white strip."""
_DIAL_AT, _DIAL_DEPTH_MM = (0.330, 0.505), 103.0
_AXIS_AT, _AXIS_DEPTH_MM = (0.795, 0.275), 250.0
ROWS_APART = _DIAL_AT[1] - _AXIS_AT[1]
"""Share of the picture's height by which the collar's rows lie above the dial's."""
_AXIS_LEAN_DEG, _AXIS_NOD_DEG = -1.2, 9.0
_FLANGE_TOP_MM = -84.0
_PANORAMA_WIDTHS = 4
_LENS_BLUR_PX = 0.65


@dataclass(frozen=True, slots=True)
class Look:
    """The part of a spec on which the still scenery depends."""

    image_width: int
    image_height: int
    tilt_deg: float
    tilt_towards_deg: float
    bezel_deg: float
    bore: bool
    seat_diameter_mm: float
    fitted: bool
    shown: Shown = ""


@dataclass(frozen=True, slots=True, eq=False)
class Foreground:
    """The machine in front of something.

    Attributes
    ----------
    colour
        (height, width, 3), black where not fully covered.
    open_mask
        As `colour`: 0 where fully covered, else 255.
    edge, edge_colour, edge_open
        Flat indices (n,) of half covered pixels, their colour weighted by cover (n, 3), and the
        share (n, 1) of what is behind.
    """

    colour: Image
    open_mask: Image
    edge: NDArray[np.intp]
    edge_colour: NDArray[np.float32]
    edge_open: NDArray[np.float32]

    def before(self, view: Image) -> Image:
        """Return a new picture of the machine before a view (height, width, 3)."""
        image = np.asarray(cv2.bitwise_and(view, self.open_mask), dtype=np.uint8)
        cv2.bitwise_or(image, self.colour, dst=image)
        flat = image.reshape(-1, 3)
        mixed = self.edge_colour + self.edge_open * flat[self.edge]
        flat[self.edge] = np.rint(mixed).astype(np.uint8)
        return image


def look_of(spec: BenchSpec, *, fitted: bool) -> Look:
    """Return what the scenery of a bench depends on."""
    return Look(
        spec.image_width,
        spec.image_height,
        spec.tilt_deg,
        spec.tilt_towards_deg,
        spec.bezel_deg,
        spec.surface == "bore",
        spec.seat_diameter_mm,
        fitted,
        spec.shown,
    )


def dial_place(camera: CameraModel, spec: BenchSpec) -> Place:
    """Return where the dial's face is: x right and y up the face, zero mark on +y."""
    origin = through(camera, _pixel(camera, _DIAL_AT), _DIAL_DEPTH_MM)
    return Place(dial_axes(camera, spec, origin), origin)


def axis_place(camera: CameraModel) -> Place:
    """Return the spindle axis: z up, x towards the lens, origin at the collar's middle."""
    origin = through(camera, _pixel(camera, _AXIS_AT), _AXIS_DEPTH_MM)
    return Place(leaning_axes(_AXIS_LEAN_DEG, _AXIS_NOD_DEG), origin)


def _pixel(camera: CameraModel, share: tuple[float, float]) -> tuple[float, float]:
    return share[0] * camera.image_width, share[1] * camera.image_height


@lru_cache(maxsize=6)
def foreground(look: Look) -> Foreground:
    """Return the machine in front, painted once for each look."""
    spec = BenchSpec(
        image_width=look.image_width,
        image_height=look.image_height,
        tilt_deg=look.tilt_deg,
        tilt_towards_deg=look.tilt_towards_deg,
        bezel_deg=look.bezel_deg,
    )
    camera = camera_model(spec)
    canvas = Canvas(camera)
    axis = axis_place(camera)
    paint_work(canvas, axis, look)
    _paint_spindle(canvas, axis)
    if look.fitted:
        dial = dial_place(camera, spec)
        case = Place(turned_axes(dial.axes, math.radians(look.bezel_deg)), dial.origin_mm)
        _paint_arm(canvas, axis, case, look)
        paint_dial(canvas, dial)
    return finish(canvas)


def finish(canvas: Canvas) -> Foreground:
    """Return what was painted, as it stands before whatever is behind."""
    size = (canvas.camera.image_width, canvas.camera.image_height)
    colour = cv2.resize(canvas.colour, size, interpolation=cv2.INTER_AREA)
    cover = cv2.resize(canvas.cover, size, interpolation=cv2.INTER_AREA)
    colour = cv2.GaussianBlur(colour, (0, 0), _LENS_BLUR_PX)
    cover = cv2.GaussianBlur(cover, (0, 0), _LENS_BLUR_PX)
    full, edge = cover == 255, np.flatnonzero((cover > 0) & (cover < 255))
    return Foreground(
        colour=np.asarray(colour * full[..., None], dtype=np.uint8),
        open_mask=np.asarray(cv2.merge([np.where(full, 0, 255).astype(np.uint8)] * 3), np.uint8),
        edge=edge,
        edge_colour=colour.reshape(-1, 3)[edge].astype(np.float32),
        edge_open=(1.0 - cover.ravel()[edge, None] / 255.0).astype(np.float32),
    )


def paint_work(canvas: Canvas, axis: Place, look: Look) -> None:
    """Paint what stands under the spindle."""
    radius, top = look.seat_diameter_mm / 2, _FLANGE_TOP_MM
    if look.shown:
        paint_shown(canvas, axis, look.shown, radius)
        return
    if not look.bore:
        bar = [(radius, -150.0), (radius, top + 14), (radius - 1.5, top + 15.5), (0.0, top + 15.5)]
        canvas.turned(axis, bar, STEEL)
        return
    canvas.turned(axis, [(68.0, -150.0), (66.0, top - 2.0), (64.0, top)], CAST_IRON)
    canvas.turned(axis, [(64.0, top), (radius + 1.0, top)], BRIGHT_IRON)
    for turn in np.radians([20, 80, 140, 200, 260, 320]):
        centre = axis.to_camera([[54 * math.cos(turn), 54 * math.sin(turn), top]])[0]
        canvas.turned(Place(axis.axes, centre), [(3.4, 0.0), (0.0, 0.0)], BLACKED)
    wall = [
        (radius + 1.0, top),
        (radius, top - 1.0),
        (radius, top - 16.0),
        (radius - 4, top - 16.0),
    ]
    canvas.turned(axis, wall, STEEL)
    canvas.turned(axis, [(radius - 4, top - 16.0), (0.0, top - 40.0)], BLACKED)


def _paint_spindle(canvas: Canvas, axis: Place) -> None:
    canvas.turned(axis, [(5.0, -74.0), (6.0, -72.0), (6.0, -52.0)], STEEL)
    canvas.turned(axis, [(12.0, -54.0), (17.0, -50.0), (17.0, -24.0)], DARK_STEEL)
    canvas.turned(axis, [(20.5, -48.0), (21.5, -47.0), (21.5, -36.0), (17.0, -36.0)], BLACKED)
    quill = [(17.0, -25.0), (27.0, -25.0), (31.5, -21.0), (31.5, 70.0)]
    canvas.turned(axis, quill, STEEL)


def _paint_arm(canvas: Canvas, axis: Place, case: Place, look: Look) -> None:
    clamp, back = axis.to_camera([[14.0, -17.0, -41.5]])[0], case.to_camera([[4.0, 2.0, -12.0]])[0]
    canvas.tube(clamp, back, (4.2, 4.2), DARK_STEEL)
    knuckle = clamp + 0.10 * (back - clamp)
    _upright_pin(canvas, knuckle, 7.0, 6.0)
    body = case.to_camera([[2.0, -8.0, -9.0], [9.0, -25.5, -9.0]])
    canvas.tube(body[0], body[1], (6.5, 4.6), BLACKED)
    touch = axis.to_camera([_touch_mm(look)])[0]
    canvas.tube(body[1], touch, (1.5, 0.8), STEEL)
    _upright_pin(canvas, touch, 1.2, 1.8)


def _touch_mm(look: Look) -> tuple[float, float, float]:
    """Return where the stylus touches, in the spindle axis' own frame."""
    if look.shown and look.shown not in ("chuck", "head"):
        return touch_mm(look.shown)
    radius = look.seat_diameter_mm / 2
    at, depth = (math.radians(-118.0), -89.0) if look.bore else (math.radians(-78.0), -76.0)
    return radius * math.cos(at), radius * math.sin(at), depth


def _upright_pin(canvas: Canvas, middle_mm: Float, half_mm: float, radius_mm: float) -> None:
    up = np.array([0.0, -half_mm, 0.0])
    canvas.tube(middle_mm - up, middle_mm + up, (radius_mm, radius_mm), BRASS)


@lru_cache(maxsize=2)
def panorama(width: int, height: int) -> Image:
    """Return the workshop all round, out of focus: one turn wide and one picture more.

    It is (height, (4 + 1)·width, 3); the last picture repeats the first.
    """
    round_px = _PANORAMA_WIDTHS * width
    small = _paint_workshop(round_px // 4, height // 4)
    wrapped = np.hstack([small, small, small])
    blurred = cv2.GaussianBlur(wrapped, (0, 0), small.shape[0] / 55)
    middle = blurred[:, small.shape[1] : 2 * small.shape[1] + small.shape[1] // 4]
    out = cv2.resize(middle, (round_px + width, height), interpolation=cv2.INTER_CUBIC)
    return np.ascontiguousarray(out, dtype=np.uint8)


def panorama_start(turn_rad: float, width: int) -> int:
    """Return the first column in sight: carried anticlockwise, the camera looks further left."""
    round_px = _PANORAMA_WIDTHS * width
    return int(-turn_rad / (2 * math.pi) * round_px) % round_px


def _paint_workshop(width: int, height: int) -> Image:
    """Paint a wall, windows, shelves, a machine's column and the table (small, sharp)."""
    rng = np.random.default_rng(52)
    y = np.linspace(0.0, 1.0, height)[:, None]
    wall = 62.0 + 26.0 * (1 - y)
    room = np.repeat((wall[..., None] * np.array([0.98, 1.04, 0.96]))[:, :1], width, axis=1)
    image = np.ascontiguousarray(room.astype(np.uint8))
    for left, tone in ((0.06, 205), (0.16, 212), (0.61, 188)):
        _box(image, (left, 0.02, 0.07, 0.40), (tone, tone - 4, tone - 16))
    for at in rng.uniform(0.0, 1.0, 34):
        grey = rng.uniform(50, 150)
        tint = np.clip(grey + rng.uniform(-28, 28, 3), 0, 255)
        size = rng.uniform(0.008, 0.03), rng.uniform(0.05, 0.22)
        _box(image, (float(at), 0.52 - size[1], *size), tuple(tint))
    _box(image, (0.36, 0.0, 0.13, 0.62), (66, 78, 58))
    _box(image, (0.385, 0.0, 0.02, 0.62), (84, 98, 76))
    _box(image, (0.78, 0.10, 0.12, 0.05), (60, 84, 112))
    _table(image)
    return image


def _table(image: Image) -> None:
    height = image.shape[0]
    top = int(0.60 * height)
    image[top:] = np.linspace(112, 150, height - top)[:, None, None].astype(np.uint8)
    for at, thick in ((0.66, 0.018), (0.76, 0.03), (0.90, 0.045)):
        rows = slice(int(at * height), int((at + thick) * height))
        image[rows] = (58, 60, 62)
    image[top : top + max(1, height // 60)] = (178, 182, 184)


def _box(image: Image, share: tuple[float, ...], colour: tuple[float, ...]) -> None:
    height, width = image.shape[:2]
    left, top = int(share[0] * width), int(share[1] * height)
    right, bottom = int((share[0] + share[2]) * width), int((share[1] + share[3]) * height)
    image[top:bottom, left:right] = np.array(colour, dtype=np.uint8)
