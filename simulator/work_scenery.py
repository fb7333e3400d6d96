"""How works beside bores, bosses and bars look: table, castings, square, centres, chuck, head."""

import math
from collections.abc import Callable, Mapping

import numpy as np

from simulator.canvas import (
    BLACKED,
    BRASS,
    BRIGHT_IRON,
    CAST_IRON,
    DARK_STEEL,
    STEEL,
    Canvas,
    Material,
    shade,
)
from simulator.optics import Float, Place, project
from simulator.spec import Shown

TOP_MM = -84.0
_FLOOR_MM = -150.0
_RING_MM = 40.0
_BAR_RADIUS_MM = 13.0

# Faces of a box: which axis, and on which side of it.
_FACES = tuple((axis, side) for axis in range(3) for side in (0, 1))


def paint_shown(canvas: Canvas, axis: Place, shown: Shown, radius_mm: float) -> None:
    """Paint what stands under the spindle; own y is the picture's right, own x the lens' side."""
    _PAINT[shown](canvas, axis, radius_mm)


def touch_mm(shown: Shown) -> tuple[float, float, float]:
    """Return where the stylus touches, in the spindle axis' own frame (x, y, z)."""
    if shown == "table":
        at = math.radians(-118.0)
        return _RING_MM * math.cos(at), _RING_MM * math.sin(at), TOP_MM
    if shown == "square":
        return 4.0, -9.0, TOP_MM + 2.0
    if shown == "centres":
        return 0.0, -24.0, TOP_MM
    return -14.0, -30.0, TOP_MM


def box(canvas: Canvas, place: Place, low: tuple[float, ...], high: tuple[float, ...],
        material: Material) -> None:  # fmt: skip
    """Paint a box between two corners of a place's own frame; its far sides are left out."""
    ends = np.array([low, high])
    for axis, side in _FACES:
        others = [k for k in range(3) if k != axis]
        corners = np.empty((4, 3))
        for i, (j, k) in enumerate(((0, 0), (0, 1), (1, 1), (1, 0))):
            corners[i, axis] = ends[side, axis]
            corners[i, others[0]], corners[i, others[1]] = ends[j, others[0]], ends[k, others[1]]
        _face(canvas, place, corners, axis, side, material)


def _face(
    canvas: Canvas, place: Place, corners: Float, axis: int, side: int, material: Material
) -> None:
    normal = place.axes[:, axis] * (1.0 if side else -1.0)
    seen = place.to_camera(corners)
    middle = seen.mean(axis=0, keepdims=True)
    if float(normal @ middle[0]) >= 0:
        return
    colour = shade(material, normal[None, :], middle)
    canvas.polygons(project(canvas.camera, seen)[None], colour)


def _table(canvas: Canvas, axis: Place, radius_mm: float) -> None:
    """Paint a ring on the table, swept by the stylus."""
    box(canvas, axis, (-120.0, -140.0, _FLOOR_MM), (90.0, 120.0, TOP_MM - 9.0), CAST_IRON)
    canvas.turned(axis, [(52.0, TOP_MM - 9.0), (51.0, TOP_MM), (29.0, TOP_MM)], BRIGHT_IRON)
    canvas.turned(axis, [(29.0, TOP_MM), (28.5, TOP_MM - 9.0), (0.0, TOP_MM - 9.0)], DARK_STEEL)


def _casting(canvas: Canvas, axis: Place, radius_mm: float) -> None:
    """Paint a casting with a machined pad on top, bolted down."""
    box(canvas, axis, (-62.0, -64.0, _FLOOR_MM), (34.0, 90.0, TOP_MM - 4.0), CAST_IRON)
    box(canvas, axis, (-54.0, -56.0, TOP_MM - 4.0), (26.0, 82.0, TOP_MM), BRIGHT_IRON)


def _jacks(canvas: Canvas, axis: Place, radius_mm: float) -> None:
    """Paint a rough casting on three screw jacks."""
    for x, y in ((-50.0, 20.0), (22.0, -48.0), (22.0, 70.0)):
        foot = axis.to_camera([[x, y, _FLOOR_MM]])[0]
        canvas.turned(
            Place(axis.axes, foot), [(12.0, 0.0), (9.0, 18.0), (5.0, 20.0), (5.0, 34.0)], BRASS
        )
    box(canvas, axis, (-62.0, -64.0, TOP_MM - 28.0), (34.0, 90.0, TOP_MM), CAST_IRON)


def _hung(canvas: Canvas, axis: Place, radius_mm: float) -> None:
    """Paint a rough casting between two centres."""
    box(canvas, axis, (-50.0, -54.0, TOP_MM - 40.0), (26.0, 62.0, TOP_MM), CAST_IRON)
    _centre(canvas, axis, 62.0, 92.0, TOP_MM - 20.0)


def _centre(canvas: Canvas, axis: Place, tip: float, back: float, height: float) -> None:
    ends = axis.to_camera([[0.0, back, height], [0.0, tip, height]])
    canvas.tube(ends[0], ends[1], (11.0, 1.0), DARK_STEEL)


def _square(canvas: Canvas, axis: Place, radius_mm: float) -> None:
    """Paint a square standing on the table, its face to the stylus."""
    box(canvas, axis, (-26.0, -9.0, _FLOOR_MM), (22.0, 46.0, TOP_MM - 40.0), DARK_STEEL)
    box(canvas, axis, (-14.0, -9.0, TOP_MM - 40.0), (12.0, 2.0, TOP_MM + 12.0), STEEL)


def _centres(canvas: Canvas, axis: Place, radius_mm: float) -> None:
    """Paint a true bar between two centres."""
    height = TOP_MM - _BAR_RADIUS_MM
    ends = axis.to_camera([[0.0, -90.0, height], [0.0, 62.0, height]])
    canvas.tube(ends[0], ends[1], (_BAR_RADIUS_MM, _BAR_RADIUS_MM), STEEL)
    _centre(canvas, axis, 60.0, 96.0, height)


def _chuck(canvas: Canvas, axis: Place, radius_mm: float) -> None:
    """Paint work held by four jaws."""
    canvas.turned(axis, [(70.0, _FLOOR_MM), (69.0, -118.0), (67.0, -116.0)], DARK_STEEL)
    canvas.turned(axis, [(67.0, -116.0), (0.0, -116.0)], DARK_STEEL)
    for low, high in (((-9.0, radius_mm), (9.0, 60.0)), ((-9.0, -60.0), (9.0, -radius_mm)),
                      ((-60.0, -9.0), (-radius_mm, 9.0))):  # fmt: skip
        box(canvas, axis, (*low, -116.0), (*high, -98.0), BLACKED)
    bar = [(radius_mm, -116.0), (radius_mm, TOP_MM + 14), (radius_mm - 1.5, TOP_MM + 15.5)]
    canvas.turned(axis, [*bar, (0.0, TOP_MM + 15.5)], STEEL)
    box(canvas, axis, (radius_mm, -9.0, -116.0), (60.0, 9.0, -98.0), BLACKED)


def _head(canvas: Canvas, axis: Place, radius_mm: float) -> None:
    """Paint a part with a round boss on the plate of an upright dividing head, its crank aside."""
    box(canvas, axis, (-60.0, -46.0, _FLOOR_MM), (16.0, 44.0, -106.0), CAST_IRON)
    canvas.turned(axis, [(44.0, -106.0), (44.0, -99.0), (43.0, -98.0), (0.0, -98.0)], DARK_STEEL)
    box(canvas, axis, (-30.0, -30.0, -98.0), (30.0, 30.0, -88.0), CAST_IRON)
    boss = [(radius_mm, -88.0), (radius_mm, TOP_MM + 14), (radius_mm - 1.5, TOP_MM + 15.5)]
    canvas.turned(axis, [*boss, (0.0, TOP_MM + 15.5)], STEEL)
    plate = axis.to_camera([[14.0, -62.0, -100.0]])[0]
    facing = Place(axis.axes[:, [1, 2, 0]], plate)
    canvas.turned(facing, [(17.0, 0.0), (17.0, 3.0), (0.0, 3.0)], BRIGHT_IRON)
    for turn in np.radians(np.arange(0, 360, 20)):
        hole = facing.to_camera([[13.5 * math.cos(turn), 13.5 * math.sin(turn), 3.2]])[0]
        canvas.turned(Place(facing.axes, hole), [(1.0, 0.0), (0.0, 0.0)], BLACKED)
    ends = facing.to_camera([[0.0, 0.0, 5.0], [-11.0, 7.5, 5.0], [-11.0, 7.5, 16.0]])
    canvas.tube(ends[0], ends[1], (2.4, 2.0), DARK_STEEL)
    canvas.tube(ends[1], ends[2], (2.4, 2.4), BRASS)


_PAINT: Mapping[Shown, Callable[[Canvas, Place, float], None]] = {
    "table": _table,
    "casting": _casting,
    "jacks": _jacks,
    "hung": _hung,
    "square": _square,
    "centres": _centres,
    "chuck": _chuck,
    "head": _head,
}
