"""A bore's edge in a picture from a camera that rides on the spindle and looks down.

What is seen is an edge, never the bore: where a face or a chamfer ends. The edge is a circle
that a camera near its axis sees as nearly one, so a circle with a two-lobed part is fitted to
what rays from its middle cross. A chamfer shows as a second circle round the first; a shadow
crosses the face or the wall and follows neither, and is left out ray by ray.
"""

from dataclasses import dataclass
from math import hypot

import cv2
import numpy as np

from calibration.camera import CameraModel
from readings import BadInputError
from vision.bore_circles import CHAMFER, Circle, families
from vision.bore_rays import RAYS, Float, Grey, cross_rays, first_guesses, middle_of
from vision.bore_steps import refine_edge

_CLOSEST = 0.012
"""Two circles whose radii differ by less than this share are one."""
_LEAST_SIGMA_PX = 0.006
_FLATTEST = 0.06
"""Two-lobed part over the radius: above it the camera looks 20 degrees past the axis."""


@dataclass(frozen=True, slots=True, eq=False)
class EdgeSight:
    """The edge of a bore in one picture: "edge, not bore".

    Attributes
    ----------
    centre_px, radius_px
        Of the circle, lens distortion taken off; pixels of the picture.
    covariance_px2
        (2, 2) of the centre, from the rays' own scatter.
    centre_mm, covariance_mm2
        The same in the plane of the edge, right and up as the camera sees it from the
        principal point, where diameter and camera model are given; else None.
    distance_mm
        From the camera to the edge's plane, None without a camera model.
    rays, of_rays
        How many rays crossed it.
    chamfer_radius_px
        Of a chamfer's outer circle, None where there is none.
    flattening
        Two-lobed part over the radius.
    """

    centre_px: Float
    radius_px: float
    covariance_px2: Float
    centre_mm: Float | None
    covariance_mm2: Float | None
    distance_mm: float | None
    rays: int
    of_rays: int
    chamfer_radius_px: float | None
    flattening: float

    @property
    def sigma_px(self) -> float:
        """Standard uncertainty of the centre, the larger way (k = 1)."""
        return float(np.sqrt(np.linalg.eigvalsh(self.covariance_px2)[-1]))


def find_bore_edge(
    image: Grey,
    camera: CameraModel | None = None,
    diameter_mm: float | None = None,
) -> EdgeSight:
    """Find the edge of a bore that fills much of a picture.

    Parameters
    ----------
    image
        (rows, columns) grey or (rows, columns, 3) BGR.
    camera
        Takes the lens' distortion off; without it the picture is taken as undistorted.
    diameter_mm
        Of the edge (bore's diameter where there is no chamfer), for lengths in mm.

    Raises
    ------
    BadInputError
        If there is no such circle, less than half of one, or a chamfer that cannot be told
        from the edge; or the picture is not of the camera's size.
    """
    grey: Grey = np.asarray(image, dtype=np.uint8)
    if grey.ndim == 3:
        grey = np.asarray(cv2.cvtColor(grey, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
    if camera is not None:
        camera.demand_size(grey)
    circles = _circles(grey, camera)
    edge, chamfer = _edge_of(circles)
    edge = refine_edge(grey, camera, edge, _round_about(edge, circles))
    x, y, radius, cos2, sin2 = edge.values
    flattening = hypot(cos2, sin2) / radius
    if flattening > _FLATTEST:
        msg = "the camera looks at the bore too far aslant: bring it nearer to the bore's axis."
        raise BadInputError(msg)
    covariance = edge.covariance[:2, :2] + _LEAST_SIGMA_PX**2 * np.eye(2)
    mm = None
    if camera is not None and diameter_mm is not None:
        if not 1.0 <= diameter_mm <= 1000.0:
            msg = f"a diameter of {diameter_mm:g} mm cannot be: give 1 to 1000 mm."
            raise BadInputError(msg)
        mm = diameter_mm / (2 * radius)
    flip = np.array([1.0, -1.0])
    middle = np.array([x, y])
    return EdgeSight(
        centre_px=middle,
        radius_px=float(radius),
        covariance_px2=covariance,
        centre_mm=None
        if mm is None or camera is None
        else (middle - middle_of(camera)) * flip * mm,
        covariance_mm2=None if mm is None else covariance * mm**2 * np.outer(flip, flip),
        distance_mm=None if mm is None or camera is None else camera.fx * mm,
        rays=len(np.unique(edge.rays)),
        of_rays=RAYS,
        chamfer_radius_px=None if chamfer is None else float(chamfer.values[2]),
        flattening=float(flattening),
    )


def _circles(grey: Grey, camera: CameraModel | None) -> list[Circle]:
    """Return the circles that rays from each first guess cross, each once, smallest first."""
    found: list[Circle] = []
    for x, y, radius in first_guesses(grey):
        crossings = cross_rays(grey, camera, np.array([x, y]), radius)
        for circle in families(crossings, np.array([x, y]), radius):
            same = [k for k, one in enumerate(found) if _same(one, circle)]
            if not same:
                found.append(circle)
            elif circle.share > found[same[0]].share:
                found[same[0]] = circle
    return sorted(found, key=lambda one: float(one.values[2]))


def _same(one: Circle, other: Circle) -> bool:
    apart = np.abs(one.values[:3] - other.values[:3]).max()
    return bool(apart < _CLOSEST * one.values[2])


def _edge_of(circles: list[Circle]) -> tuple[Circle, Circle | None]:
    """Return the bore's edge, and its chamfer's outer circle if it has one.

    Raises
    ------
    BadInputError
        If no circle is whole, or what lies within the smallest whole one may be the edge.
    """
    whole = [one for one in circles if one.whole]
    if not whole:
        msg = (
            "no whole circle that is dark inside is in the picture: bring the bore's edge into "
            "it, light the face evenly and look down the bore."
        )
        raise BadInputError(msg)
    edge = whole[0]
    radius = float(edge.values[2])
    chamfers = [one for one in _round_about(edge, circles) if one.whole]
    for one in circles:
        within = float(one.values[2]) < radius and radius < CHAMFER * float(one.values[2])
        if not one.whole and within and _concentric(one, edge, 0.04) and one.share > 0.3:
            msg = (
                "a second circle is half seen within the first: a chamfer that cannot be told "
                "from the edge. Light it from all round and take the picture again."
            )
            raise BadInputError(msg)
    return edge, chamfers[0] if chamfers else None


def _round_about(edge: Circle, circles: list[Circle]) -> list[Circle]:
    """Return the circles that may be a chamfer's, whole or not, the smallest first."""
    radius = float(edge.values[2])
    return [
        one
        for one in circles
        if radius < one.values[2] < CHAMFER * radius and _concentric(one, edge, 0.04)
    ]


def _concentric(one: Circle, other: Circle, share: float) -> bool:
    apart = np.linalg.norm(one.values[:2] - other.values[:2])
    return bool(apart < share * other.values[2])
