"""The camera model: OpenCV's pinhole with radial and tangential distortion.

Pixel centres lie at integers, (x, y) order. `load_camera` reads the JSON form that
the owner's dial folders hold.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from readings import BadInputError

Float = NDArray[np.float64]

_REQUIRED = ("image_width", "image_height", "fx", "fy", "cx", "cy")
_OPTIONAL = ("k1", "k2", "p1", "p2", "k3")
OPENCV_SUFFIXES = frozenset({".yml", ".yaml", ".xml"})
_MATRIX_NAMES = ("camera_matrix", "M1", "cameraMatrix")
_LENS_NAMES = ("distortion_coefficients", "D1", "distCoeffs")
_UNDISTORT_ROUNDS = 40
_UNDISTORT_STEP = 1e-11  # normalised units: 1e-8 px


@dataclass(frozen=True, slots=True)
class CameraModel:
    """Pinhole camera with OpenCV's five-term distortion; focal lengths and centre in pixels."""

    image_width: int
    image_height: int
    fx: float
    fy: float
    cx: float
    cy: float
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    k3: float = 0.0

    @property
    def matrix(self) -> Float:
        """The (3, 3) camera matrix."""
        return np.array([[self.fx, 0.0, self.cx], [0.0, self.fy, self.cy], [0.0, 0.0, 1.0]])

    @property
    def distortion(self) -> Float:
        """The (5,) distortion vector k1, k2, p1, p2, k3."""
        return np.array([self.k1, self.k2, self.p1, self.p2, self.k3])

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.image_width, self.image_height

    def demand_size(self, image: NDArray[Any]) -> None:
        """Refuse a picture of another size: its pixels mean something else.

        Raises
        ------
        BadInputError
            With both sizes and the way out.
        """
        height, width = image.shape[:2]
        if (width, height) != self.size:
            msg = (
                f"the picture is {width} x {height} pixels, the camera model is for "
                f"{self.image_width} x {self.image_height}: take it at that size or calibrate anew."
            )
            raise BadInputError(msg)

    def undistort(self, points_px: ArrayLike) -> Float:
        """Return normalised image coordinates (n, 2) of pixels (n, 2).

        Fixed-point iteration on `distort`; it converges wherever the distortion is invertible.
        """
        points = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
        focal = np.array([self.fx, self.fy])
        out = np.asarray((points - (self.cx, self.cy)) / focal, dtype=np.float64)
        for _ in range(_UNDISTORT_ROUNDS if np.any(self.distortion) else 0):
            step = (points - self.distort(out)) / focal
            out += step
            if np.abs(step).max(initial=0.0) < _UNDISTORT_STEP:
                break
        return out

    def project(self, points_mm: ArrayLike) -> Float:
        """Return pixels (n, 2) of points (n, 3) given in the camera's own frame."""
        points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 3)
        return self.distort(np.asarray(points[:, :2] / points[:, 2:]))

    def distort(self, normalised: Float) -> Float:
        """Return pixels (n, 2) of normalised image coordinates (n, 2)."""
        out = np.empty((len(normalised), 2))
        out[:, 0], out[:, 1] = self.distort_xy(normalised[:, 0], normalised[:, 1])
        return out

    def distort_xy(self, x: NDArray[Any], y: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
        """Return pixel columns and rows of normalised coordinates; shape and type are kept."""
        r2 = x * x + y * y
        radial = 1.0 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3))
        u = self.fx * (x * radial) + self.cx
        v = self.fy * (y * radial) + self.cy
        if self.p1 or self.p2:
            u += self.fx * (2 * self.p1 * x * y + self.p2 * (r2 + 2 * x * x))
            v += self.fy * (self.p1 * (r2 + 2 * y * y) + 2 * self.p2 * x * y)
        return u, v

    def distort_slopes(self, x: Float, y: Float) -> tuple[Float, Float, Float, Float]:
        """Return the derivatives du/dx, du/dy, dv/dx, dv/dy of `distort_xy`."""
        r2 = x * x + y * y
        radial = 1.0 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3))
        steep = 2.0 * (self.k1 + r2 * (2.0 * self.k2 + r2 * (3.0 * self.k3)))
        across = x * y * steep + 2.0 * (self.p1 * x + self.p2 * y)
        along_x = radial + x * x * steep + 2.0 * self.p1 * y + 6.0 * self.p2 * x
        along_y = radial + y * y * steep + 6.0 * self.p1 * y + 2.0 * self.p2 * x
        return self.fx * along_x, self.fx * across, self.fy * across, self.fy * along_y


def _numbers(data: dict[str, Any], path: Path) -> dict[str, float]:
    missing = [key for key in _REQUIRED if key not in data]
    if missing:
        msg = f"{path} lacks {', '.join(missing)}: a camera file needs {', '.join(_REQUIRED)}."
        raise BadInputError(msg)
    try:
        return {key: float(data.get(key, 0.0)) for key in (*_REQUIRED, *_OPTIONAL)}
    except (TypeError, ValueError) as error:
        msg = f"{path} holds a value that is no number ({error}): calibrate the camera again."
        raise BadInputError(msg) from error


def _check(model: CameraModel, path: Path) -> CameraModel:
    values = np.array(list(asdict(model).values()))
    if not np.all(np.isfinite(values)) or min(model.fx, model.fy, *model.size) <= 0:
        msg = f"{path} holds a size or focal length that is not positive: calibrate again."
        raise BadInputError(msg)
    return model


def _from_opencv(path: Path) -> CameraModel:
    """Read what OpenCV's FileStorage holds under the names that its own samples use."""
    if not path.is_file():
        msg = f"There is no camera file {path}: give the path of a camera.json or an OpenCV file."
        raise BadInputError(msg)
    try:
        store = cv2.FileStorage(str(path), cv2.FILE_STORAGE_READ)
    except cv2.error as error:
        msg = f"{path} cannot be read as an OpenCV file: calibrate again."
        raise BadInputError(msg) from error
    try:
        matrix, lens = _node(store, path, *_MATRIX_NAMES), _node(store, path, *_LENS_NAMES)
        sizes = [store.getNode(name).real() for name in ("image_width", "image_height")]
    finally:
        store.release()
    if matrix.shape != (3, 3) or not 4 <= lens.size <= 14 or np.any(lens.ravel()[5:]):
        msg = f"{path} holds another camera than a pinhole with five lens terms: calibrate again."
        raise BadInputError(msg)
    if not min(sizes) >= 1:
        msg = f"{path} lacks image_width and image_height: add them, in pixels."
        raise BadInputError(msg)
    terms = [float(k) for k in lens.ravel()[:5]] + [0.0] * (5 - min(lens.size, 5))
    fx, fy, cx, cy = (float(matrix[i, j]) for i, j in ((0, 0), (1, 1), (0, 2), (1, 2)))
    return CameraModel(int(sizes[0]), int(sizes[1]), fx, fy, cx, cy, *terms)


def _node(store: cv2.FileStorage, path: Path, *names: str) -> Float:
    for name in names:
        found = store.getNode(name).mat()
        if found is not None:
            return np.asarray(found, dtype=np.float64)
    msg = f"{path} lacks {names[0]}: give an OpenCV file with matrix and distortion."
    raise BadInputError(msg)


def load_camera(path: Path | str) -> CameraModel:
    """Read a camera model from JSON, or from OpenCV's YAML or XML by the file's ending.

    Raises
    ------
    BadInputError
        If the file is missing, is no JSON object, lacks a key or holds a value out of range.
    """
    path = Path(path)
    if path.suffix.lower() in OPENCV_SUFFIXES:
        return _check(_from_opencv(path), path)
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        msg = f"There is no camera file {path}: give the path of a camera.json."
        raise BadInputError(msg) from error
    except UnicodeDecodeError as error:
        msg = f"{path} is no camera file but something binary: give the path of a camera.json."
        raise BadInputError(msg) from error
    except (OSError, ValueError) as error:
        msg = f"The camera file {path} cannot be read as JSON ({error}): calibrate again."
        raise BadInputError(msg) from error
    if not isinstance(data, dict):
        msg = f"{path} is no camera file: it must hold one JSON object."
        raise BadInputError(msg)
    values = _numbers(data, path)
    width, height = int(values.pop("image_width")), int(values.pop("image_height"))
    return _check(CameraModel(width, height, **values), path)


def save_opencv(model: CameraModel, path: Path | str) -> None:
    """Write a camera model as OpenCV's YAML or XML, by the file's ending."""
    store = cv2.FileStorage(str(path), cv2.FILE_STORAGE_WRITE)
    store.write("image_width", model.image_width)
    store.write("image_height", model.image_height)
    store.write(_MATRIX_NAMES[0], model.matrix)
    store.write(_LENS_NAMES[0], model.distortion.reshape(5, 1))
    store.release()


def save_camera(
    model: CameraModel, path: Path | str, more: Mapping[str, Any] | None = None
) -> None:
    """Write a camera model in the form `load_camera` reads, `more` beside it in JSON."""
    if Path(path).suffix.lower() in OPENCV_SUFFIXES:
        save_opencv(model, path)
        return
    data = {field.name: getattr(model, field.name) for field in fields(model)} | dict(more or {})
    data["model"] = "OpenCV plumb bob"
    Path(path).write_text(json.dumps(data, indent=1) + "\n", encoding="utf-8")
