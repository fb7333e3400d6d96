"""The dial going round with the spindle, its face up, before a camera that stands still.

Own frame as in `scenery`: z up the spindle axis, x towards the lens. The camera stands between
two stops, so that the indicator's rod, which hides the dial when it passes behind, hides it at
none of them.
"""

import math
from collections import OrderedDict
from dataclasses import dataclass

import numpy as np

from calibration.camera import CameraModel
from simulator.canvas import BLACKED, DARK_STEEL, STEEL, Canvas, Image
from simulator.dial_solids import cut_camera
from simulator.face import CASE_RADIUS_MM, paint_dial
from simulator.hand import hand_over
from simulator.needle import Needle
from simulator.optics import (
    Float,
    Place,
    Window,
    leaning_axes,
    project,
    turned_axes,
    window_round,
)
from simulator.painter import Painter, Scene, needle_rad
from simulator.scenery import Foreground, finish, look_of, paint_work, panorama
from simulator.spec import BenchSpec
from simulator.work_flat import ARM_IN_SIGHT_MM
from simulator.work_scenery import TOP_MM

LENS_AT_DEG = -112.5
"""Where the camera stands, seen from above: front left, between two of eight stops."""
ORBIT_MM = 50.0
"""How far the middle of the dial's face is from the spindle axis."""
FACE_MM = -22.0
"""Height of the face."""
_ROD_MM, _ROD_FOOT_MM, _ROD_TOP_MM = 2.5, -52.0, 175.0
_NOD_DEG, _AWAY_MM = 70.0, 236.0
_ON_TABLE_MM = ARM_IN_SIGHT_MM
_AIM_AT = (0.5, 0.485)
_STEP_RAD = math.radians(1.5)
"""The dial is drawn at places as far apart as this; its needle wherever it points."""
_KEPT = 40
_MARGIN_PX = 14


@dataclass(frozen=True, slots=True, eq=False)
class _Drawn:
    """Arm, rod and dial at one angle: the window they fill, and the needle of its place."""

    window: Window
    front: Foreground
    needle: Needle
    rod: Foreground | None
    """The rod alone where it stands before the dial and its needle."""


class OrbitView:
    """Draws arm and dial at any angle of the spindle into a picture of the work."""

    def __init__(self, camera: CameraModel, spec: BenchSpec) -> None:
        self._camera, self._spec = camera, spec
        self._axis = spindle_place(camera)
        self._kept: OrderedDict[int, _Drawn] = OrderedDict()

    def paint(self, image: Image, stylus_rad: float, pointing_rad: float) -> None:
        """Draw arm, dial and needle with the stylus at an angle, from above, into `image`."""
        drawn = self._drawn(round(stylus_rad / _STEP_RAD) % round(2 * math.pi / _STEP_RAD))
        window = drawn.window
        part = np.ascontiguousarray(image[window.rows, window.columns])
        shown = drawn.front.before(part)
        drawn.needle.paint(shown, pointing_rad)
        if drawn.rod is not None:
            shown = drawn.rod.before(shown)
        image[window.rows, window.columns] = shown

    def dial_window(self, stylus_rad: float) -> Window:
        """Return the part of the picture that holds the dial."""
        dial = dial_place_at(self._axis, stylus_rad, self._spec.bezel_deg)
        return window_round(self._camera, project(self._camera, _case_mm(dial)), 0)

    def _drawn(self, step: int) -> _Drawn:
        if step not in self._kept:
            self._kept[step] = _draw(self._camera, self._axis, self._spec, step * _STEP_RAD)
            if len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        self._kept.move_to_end(step)
        return self._kept[step]


def spindle_place(camera: CameraModel) -> Place:
    """Return the spindle axis before the camera that stands still."""
    axes = leaning_axes(0.0, _NOD_DEG)
    middle = np.array([(_AIM_AT[0] - 0.5) * camera.image_width / camera.fx,
                       (_AIM_AT[1] - 0.5) * camera.image_height / camera.fy, 1.0])  # fmt: skip
    at_face = middle / np.linalg.norm(middle) * _AWAY_MM
    return Place(axes, at_face - axes[:, 2] * FACE_MM)


def round_rad(stylus_rad: float) -> float:
    """Return a stylus angle as an angle of the own frame, from the lens' side."""
    return stylus_rad - math.radians(LENS_AT_DEG)


def dial_place_at(axis: Place, stylus_rad: float, bezel_deg: float) -> Place:
    """Return where the dial's face is: face up, zero mark outward but for the bezel's turn."""
    angle = round_rad(stylus_rad)
    out = np.array([math.cos(angle), math.sin(angle), 0.0])
    own = np.column_stack([np.cross(out, [0.0, 0.0, 1.0]), out, [0.0, 0.0, 1.0]])
    middle = axis.to_camera([ORBIT_MM * out + [0.0, 0.0, FACE_MM]])[0]
    return Place(turned_axes(axis.axes @ own, -math.radians(bezel_deg)), middle)


def _case_mm(dial: Place) -> Float:
    """Return the case's edge (n, 3) in the camera's frame."""
    turn = np.linspace(0.0, 2 * math.pi, 36)
    ring = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(36)])
    return dial.to_camera(ring * CASE_RADIUS_MM)


def _draw(camera: CameraModel, axis: Place, spec: BenchSpec, stylus_rad: float) -> _Drawn:
    dial = dial_place_at(axis, stylus_rad, spec.bezel_deg)
    touch = _touch_own(spec, stylus_rad)
    window = _window(camera, axis, dial, touch)
    part = cut_camera(camera, window)
    behind = math.cos(round_rad(stylus_rad)) < 0
    canvas = Canvas(part)
    if not behind:
        _paint_rod(canvas, axis)
    _paint_arm(canvas, axis, dial, touch)
    paint_dial(canvas, dial)
    rod = None
    if behind:
        alone = Canvas(part)
        _paint_rod(alone, axis)
        rod = finish(alone)
    return _Drawn(window, finish(canvas), Needle(part, dial, spec), rod)


def _touch_own(spec: BenchSpec, stylus_rad: float) -> Float:
    angle, radius = round_rad(stylus_rad), _ON_TABLE_MM if spec.shown else spec.seat_diameter_mm / 2
    return np.array([radius * math.cos(angle), radius * math.sin(angle), TOP_MM])


def _window(camera: CameraModel, axis: Place, dial: Place, touch: Float) -> Window:
    rod = [[_ROD_MM * x, _ROD_MM * y, z] for x in (-1, 1) for y in (-1, 1)
           for z in (_ROD_FOOT_MM, _ROD_TOP_MM)]  # fmt: skip
    points = np.vstack([_case_mm(dial), axis.to_camera(rod), axis.to_camera([touch])])
    return window_round(camera, project(camera, points), _MARGIN_PX)


def _paint_rod(canvas: Canvas, axis: Place) -> None:
    canvas.turned(axis, [(_ROD_MM, _ROD_FOOT_MM), (_ROD_MM, _ROD_TOP_MM)], STEEL)


def _paint_arm(canvas: Canvas, axis: Place, dial: Place, touch: Float) -> None:
    low, hub = FACE_MM - 14.0, axis.to_camera([[0.0, 0.0, FACE_MM - 14.0]])[0]
    out = touch / np.linalg.norm(touch[:2]) * [1.0, 1.0, 0.0]
    elbow = axis.to_camera([out * 30.0 + [0.0, 0.0, low]])[0]
    canvas.tube(elbow, axis.to_camera([touch])[0], (2.2, 0.9), STEEL)
    canvas.tube(hub, dial.to_camera([[0.0, 0.0, -10.0]])[0], (4.0, 4.0), DARK_STEEL)
    canvas.tube(hub, elbow, (6.5, 6.5), BLACKED)


def still_view(camera: CameraModel, spec: BenchSpec, behind: Image) -> Image:
    """Return the work before the workshop, without spindle and dial."""
    canvas = Canvas(camera)
    paint_work(canvas, spindle_place(camera), look_of(spec, fitted=False))
    return finish(canvas).before(np.ascontiguousarray(behind))


class OrbitPainter(Painter):
    """Draws scenes of one bench whose dial goes round before a camera that stands still."""

    def __init__(self, spec: BenchSpec, rng: np.random.Generator) -> None:
        super().__init__(spec, rng)
        self._view = OrbitView(self._camera, spec)
        workshop = panorama(spec.image_width, spec.image_height)
        self._still = still_view(self._camera, spec, workshop[:, : spec.image_width])

    def _composed(self, scene: Scene) -> Image:
        """Return a new picture without the sensor's noise; the dial where the spindle has it."""
        image = self._still.copy()
        stylus_rad = scene.collar_rad - math.radians(self._spec.collar_zero_deg)
        if scene.fitted:
            self._view.paint(image, stylus_rad, needle_rad(scene.reading_mm))
        if scene.covered:
            window = self._view.dial_window(stylus_rad)
            hand_over(window, self._spec.image_width, self._spec.image_height).paint(image)
        return image


def painter_of(spec: BenchSpec, rng: np.random.Generator) -> Painter:
    """Return what draws a bench."""
    return (OrbitPainter if spec.layout == "orbiting" else Painter)(spec, rng)
