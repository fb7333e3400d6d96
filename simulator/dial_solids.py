"""The solid parts of a drawn dial: its case, its bezel and the limit tabs on it."""

import math
from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from simulator.canvas import DARK_STEEL, Canvas, Colour
from simulator.dial_design import DialDesign
from simulator.dial_light import linear
from simulator.dial_view import DialView
from simulator.optics import Place, Window, project, window_round

Soft = NDArray[np.float32]


def dial_window(design: DialDesign, view: DialView) -> Window:
    """Return the window of the picture that holds the dial."""
    turn = np.linspace(0.0, 2 * math.pi, 40)
    ring = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(40)])
    outer = design.radius_mm * (design.face_radius + design.bezel_width)
    body = [0, 0, -design.body_depth * design.radius_mm]
    points = np.vstack([ring * outer + [0, 0, design.bezel_height_mm], ring * outer + body])
    pixels = project(view.camera, view.place(design).to_camera(points))
    return window_round(view.camera, pixels, 6 + int(1.5 * view.focus_px))


def lay_solids(light: Soft, camera: CameraModel, paint: Callable[[Canvas], None]) -> None:
    """Lay what `paint` paints over the light that a camera sees, in place."""
    canvas = Canvas(camera, 1)
    paint(canvas)
    shown = cv2.GaussianBlur(canvas.cover, (3, 3), 0.6)
    whole = cv2.merge([np.maximum(shown, 1)] * 3)
    tone = cv2.divide(cv2.GaussianBlur(canvas.colour, (3, 3), 0.6), whole, scale=255)
    share = shown.astype(np.float32) / np.float32(255)
    mix(light, share, linear(np.asarray(tone, dtype=np.uint8)))


def paint_body(canvas: Canvas, design: DialDesign, place: Place) -> None:
    """Paint the case behind the face."""
    outer = (design.face_radius + design.bezel_width) * design.radius_mm
    deep = design.body_depth * design.radius_mm
    canvas.turned(place, [(0.95 * outer, -deep), (outer, -0.8 * deep), (outer, 0)], design.body)


def paint_bezel(canvas: Canvas, design: DialDesign, place: Place) -> None:
    """Paint the raised ring around the face, from its inner wall outwards, and the tabs."""
    high, radius = design.bezel_height_mm, design.radius_mm
    face, outer = design.face_radius * radius, (design.face_radius + design.bezel_width) * radius
    lip = face + 0.25 * (outer - face)
    canvas.turned(place, [(lip, high), (face, 0.0)], DARK_STEEL)
    canvas.turned(place, [(outer, 0.0), (outer, 0.6 * high)], design.bezel, knurls=90)
    crown = [(outer, 0.6 * high), (0.5 * (lip + outer), high), (lip, high)]
    canvas.turned(place, crown, design.bezel)
    for at, tone in design.tabs:
        _paint_tab(canvas, design, place, at, tone)


def _paint_tab(canvas: Canvas, design: DialDesign, place: Place, at: float, tone: Colour) -> None:
    """Paint a wedge on the bezel that points inwards over the scale's rim."""
    outer = design.face_radius + design.bezel_width
    shape = np.array([[-0.035, outer], [0.035, outer], [0.008, 0.96], [-0.008, 0.96]])
    cos, sin = math.cos(at), math.sin(at)
    flat = shape @ np.array([[cos, -sin], [sin, cos]]) * design.radius_mm
    points = np.column_stack([flat, np.full(4, design.bezel_height_mm)])
    corners = project(canvas.camera, place.to_camera(points))
    canvas.polygons(corners[None], np.array([tone]))


def cut_camera(camera: CameraModel, window: Window) -> CameraModel:
    """Return the camera whose picture is only the window."""
    return replace(
        camera,
        image_width=window.width,
        image_height=window.height,
        cx=camera.cx - window.left,
        cy=camera.cy - window.top,
    )


def mix(light: Soft, share: Soft, colour: Soft) -> None:
    """Lay a colour (rows, columns, 3) over light, in place, by its share (rows, columns)."""
    shares = cv2.merge([share] * 3)
    light += cv2.multiply(shares, cv2.subtract(colour, light))
