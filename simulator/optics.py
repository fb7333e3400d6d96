"""The bench's own lens and places in space: a true perspective with lens distortion.

Camera frame: x right, y down, z away from the lens, mm. Pixels: the centre of the top-left
pixel is (0, 0). Model: pinhole with radial distortion, as OpenCV documents it.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.camera import CameraModel
from simulator.spec import BenchSpec

Float = NDArray[np.float64]

_FOCAL_PER_WIDTH = 1.02
_K1, _K2 = -0.055, 0.012
_UNDISTORT_STEPS = 8


def camera_model(spec: BenchSpec) -> CameraModel:
    """Return the bench camera's true model."""
    focal_px = _FOCAL_PER_WIDTH * spec.image_width
    return CameraModel(
        image_width=spec.image_width,
        image_height=spec.image_height,
        fx=focal_px,
        fy=focal_px,
        cx=(spec.image_width - 1) / 2,
        cy=(spec.image_height - 1) / 2,
        k1=_K1,
        k2=_K2,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """Where a thing's own frame stands in the camera's: ``camera = axes @ own + origin``.

    `axes` is (3, 3), its columns the thing's own axes; `origin_mm` is (3,).
    """

    axes: Float
    origin_mm: Float

    def to_camera(self, own_mm: ArrayLike) -> Float:
        """Return own points (n, 3) in the camera's frame, mm."""
        return np.asarray(own_mm, dtype=np.float64) @ self.axes.T + self.origin_mm

    def eye_mm(self) -> Float:
        """Return the lens' place (3,) in the thing's own frame."""
        return -self.axes.T @ self.origin_mm


def project(camera: CameraModel, points_mm: ArrayLike) -> Float:
    """Return pixels (n, 2) of points (n, 3) in the camera's frame."""
    points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 3)
    flat = points[:, :2] / points[:, 2:]
    bent = flat * _stretch(camera, flat[:, 0] ** 2 + flat[:, 1] ** 2)[:, None]
    return bent * (camera.fx, camera.fy) + (camera.cx, camera.cy)


def rays(camera: CameraModel, pixels: ArrayLike) -> Float:
    """Return the directions (n, 2) as x/z, y/z in which pixels (n, 2) look."""
    shifted = np.asarray(pixels, dtype=np.float64).reshape(-1, 2) - (camera.cx, camera.cy)
    bent_x, bent_y = shifted[:, 0] / camera.fx, shifted[:, 1] / camera.fy
    x, y = bent_x, bent_y
    for _ in range(_UNDISTORT_STEPS):
        stretch = _stretch(camera, x * x + y * y)
        x, y = bent_x / stretch, bent_y / stretch
    return np.column_stack([x, y])


def _stretch(camera: CameraModel, r2: Float) -> Float:
    return np.asarray(1.0 + r2 * (camera.k1 + r2 * (camera.k2 + r2 * camera.k3)))


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of the picture, in whole pixels, drawn `fine` times finer."""

    left: int
    top: int
    width: int
    height: int
    fine: int = 1

    @property
    def rows(self) -> slice:
        """The window's rows in the picture."""
        return slice(self.top, self.top + self.height)

    @property
    def columns(self) -> slice:
        """The window's columns in the picture."""
        return slice(self.left, self.left + self.width)

    def grid_px(self) -> Float:
        """Return the centres (height·fine, width·fine, 2) of the fine pixels, in pixels."""
        step = 1.0 / self.fine
        x = self.left - 0.5 + step * (np.arange(self.width * self.fine) + 0.5)
        y = self.top - 0.5 + step * (np.arange(self.height * self.fine) + 0.5)
        return np.stack(np.meshgrid(x, y), axis=-1)


def window_round(camera: CameraModel, points_px: Float, margin_px: int, fine: int = 1) -> Window:
    """Return the window of the picture that holds points (n, 2) and a margin."""
    low = np.floor(points_px.min(axis=0)).astype(int) - margin_px
    high = np.ceil(points_px.max(axis=0)).astype(int) + margin_px
    left, top = max(0, int(low[0])), max(0, int(low[1]))
    right = min(camera.image_width - 1, int(high[0]))
    bottom = min(camera.image_height - 1, int(high[1]))
    return Window(left, top, max(1, right - left + 1), max(1, bottom - top + 1), fine)


def on_plane(camera: CameraModel, place: Place, height_mm: float, window: Window) -> Float:
    """Return where each fine pixel meets the plane z = height of a thing's own frame.

    The result is (rows, columns, 2): own x and y in mm.
    """
    grid = window.grid_px()
    return _meet(camera, place, height_mm, grid.reshape(-1, 2)).reshape(*grid.shape[:2], 2)


def on_cylinder(
    camera: CameraModel, place: Place, radius_mm: float, window: Window
) -> tuple[Float, Float, Float]:
    """Return where each fine pixel meets a cylinder about the own z axis.

    Returns ``(angle_rad, height_mm, facing)``, each (rows, columns): the angle about the axis
    (anticlockwise from own x seen from +z), the height, and the cosine between the surface's
    normal and the look. Pixels that miss have NaN.
    """
    grid = window.grid_px()
    look = rays(camera, grid) @ place.axes[:2] + place.axes[2]
    look /= np.linalg.norm(look, axis=1, keepdims=True)
    eye = place.eye_mm()
    a = np.sum(look[:, :2] ** 2, axis=1)
    b = look[:, :2] @ eye[:2]
    root = b * b - a * (eye[:2] @ eye[:2] - radius_mm**2)
    distance = (-b - np.sqrt(np.where(root >= 0, root, np.nan))) / a
    met = eye + distance[:, None] * look
    facing = -np.sum(met[:, :2] * look[:, :2], axis=1) / radius_mm
    shape = grid.shape[:2]
    angle = np.arctan2(met[:, 1], met[:, 0])
    return angle.reshape(shape), met[:, 2].reshape(shape), facing.reshape(shape)


def through(camera: CameraModel, pixel: tuple[float, float], depth_mm: float) -> Float:
    """Return the point (3,) at a depth that is seen at a pixel."""
    flat = rays(camera, [pixel])[0]
    return np.array([flat[0], flat[1], 1.0]) * depth_mm


def dial_axes(camera: CameraModel, spec: BenchSpec, origin_mm: Float) -> Float:
    """Return the axes (3, 3) of the bench's dial, as `facing_axes`."""
    return facing_axes(origin_mm, spec.tilt_deg, spec.tilt_towards_deg, spec.bezel_deg)


def facing_axes(
    origin_mm: Float, tilt_deg: float, towards_deg: float, clockwise_deg: float
) -> Float:
    """Return the axes (3, 3) of a dial's face: x right, y up the face, z out towards the lens.

    The face's normal stands `tilt_deg` off the line of sight to its centre; then a turn is
    taken clockwise, as seen, about the normal.
    """
    to_eye = -origin_mm / np.linalg.norm(origin_mm)
    side = _unit(np.cross([0.0, -1.0, 0.0], to_eye))
    up = np.cross(to_eye, side)
    towards = math.radians(towards_deg)
    lean = math.radians(tilt_deg)
    sideways = math.cos(towards) * side + math.sin(towards) * up
    normal = math.cos(lean) * to_eye + math.sin(lean) * sideways
    x = _unit(np.cross([0.0, -1.0, 0.0], normal))
    y = np.cross(normal, x)
    return turned_axes(np.column_stack([x, y, normal]), -math.radians(clockwise_deg))


def turned_axes(axes: Float, by_rad: float) -> Float:
    """Return axes (3, 3) turned about their own z, anticlockwise seen from +z."""
    cos, sin = math.cos(by_rad), math.sin(by_rad)
    spin = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(axes @ spin)


def leaning_axes(lean_deg: float, nod_deg: float) -> Float:
    """Return axes (3, 3) of an upright thing: z up the picture, x towards the lens.

    `lean_deg` tips its top to the picture's right, `nod_deg` towards the lens.
    """
    lean, nod = math.radians(lean_deg), math.radians(nod_deg)
    up = _unit(np.array([math.tan(lean), -1.0, -math.tan(nod)]))
    right = _unit(np.cross(up, [0.0, 0.0, -1.0]))
    return np.column_stack([np.cross(right, up), right, up])


def _unit(vector: ArrayLike) -> Float:
    array = np.asarray(vector, dtype=np.float64)
    return np.asarray(array / np.linalg.norm(array))


class PlaneMap:
    """Where a window's pixels meet a plane of a thing, from a few exact points.

    The exact map is computed on a small net of Chebyshev points; between them it is the one
    polynomial through all, good to better than 1e-6 mm for a lens as `project` knows it.
    """

    _ORDER = 14

    def __init__(self, camera: CameraModel, place: Place, height_mm: float, window: Window) -> None:
        count = self._ORDER
        knots = np.cos(math.pi * (2 * np.arange(count) + 1) / (2 * count))
        self._middle = np.array(
            [window.left + (window.width - 1) / 2, window.top + (window.height - 1) / 2]
        )
        self._half = np.array([window.width / 2 + 1, window.height / 2 + 1])
        net = np.stack(np.meshgrid(knots, knots), axis=-1).reshape(-1, 2) * self._half
        met = _meet(camera, place, height_mm, net + self._middle).reshape(count, count, 2)
        inverse = np.linalg.inv(np.polynomial.chebyshev.chebvander(knots, count - 1))
        self._share = [inverse @ met[..., i] @ inverse.T for i in range(2)]

    def on(self, window: Window) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return own x and y in mm, each (rows, columns), of a part's fine pixels."""
        step = 1.0 / window.fine
        x = window.left - 0.5 + step * (np.arange(window.width * window.fine) + 0.5)
        y = window.top - 0.5 + step * (np.arange(window.height * window.fine) + 0.5)
        across = self._powers((x - self._middle[0]) / self._half[0])
        down = self._powers((y - self._middle[1]) / self._half[1])
        out = [(down @ share).astype(np.float32) @ across.T for share in self._share]
        return out[0], out[1]

    def _powers(self, at: Float) -> NDArray[np.float32]:
        return np.polynomial.chebyshev.chebvander(at, self._ORDER - 1).astype(np.float32)


def _meet(camera: CameraModel, place: Place, height_mm: float, pixels: Float) -> Float:
    look = rays(camera, pixels) @ place.axes[:2] + place.axes[2]
    eye = place.eye_mm()
    distance = (height_mm - eye[2]) / look[:, 2]
    return np.asarray(eye[:2] + distance[:, None] * look[:, :2])
