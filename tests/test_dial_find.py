"""Finding a scale from nothing, in pictures drawn here: of any size, tilt and density."""

from dataclasses import dataclass

import cv2
import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.special import erf
from skimage.measure import LineModelND, profile_line

from calibration import CameraModel
from vision.dial_beat import pull
from vision.dial_cold import SHRINKS
from vision.dial_find import find_ridges, find_scale
from vision.dial_marks import ScaleLook, scan_marks
from vision.dial_pose import PlanePose, rotation_matrix
from vision.dial_scale import choose_pose, settle

FINE = 4  # times finer drawn than seen
BLUR_PX = 1.0
NEAR_PX = 0.1


@dataclass(frozen=True)
class View:
    width: int = 1280
    height: int = 720
    radius_px: float = 230.0
    tilt_deg: float = 12.0
    marks: int = 100
    dark: bool = True
    noise: float = 2.0

    @property
    def look(self):
        angle = 2 * np.pi * np.arange(self.marks) / self.marks
        inner = np.where(np.arange(self.marks) % 10 == 0, 17.6, 18.6)
        half = np.full(self.marks, 0.10 * 2 * np.pi * 20 / self.marks)
        return ScaleLook(angle, 20.0, inner, half, -1.0 if self.dark else 1.0)

    @property
    def camera(self):
        focal = 1.1 * self.width
        return CameraModel(
            self.width, self.height, focal, focal, (self.width - 1) / 2, (self.height - 1) / 2
        )

    @property
    def pose(self):
        way = np.deg2rad(self.tilt_deg) * np.array([np.cos(0.7), np.sin(0.7), 0.0])
        turn = rotation_matrix(way) @ rotation_matrix(np.array([0.0, 0.0, 0.4]))
        distance = self.camera.fx * 20.0 / self.radius_px
        return PlanePose(self.camera, turn, distance * np.array([0.03, -0.02, 1.0]))


def polygons(view):
    """The marks' corners in pixels, by the pinhole formula written out here."""
    look, pose = view.look, view.pose
    for angle, inner, half in zip(look.angle_rad, look.inner_mm, look.half_width_mm, strict=True):
        out = np.array([np.cos(angle), np.sin(angle), 0.0])
        side = half * np.array([-np.sin(angle), np.cos(angle), 0.0])
        corners = np.array(
            [20 * out + side, 20 * out - side, inner * out - side, inner * out + side]
        )
        seen = corners @ pose.rotation.T + pose.translation
        yield view.camera.fx * seen[:, :2] / seen[:, 2:] + [view.camera.cx, view.camera.cy]


def draw(view, seed=0):
    """A picture of a scale, nothing else, with blur and noise."""
    face, ink = (200.0, 60.0) if view.dark else (50.0, 190.0)
    big = np.full((view.height * FINE, view.width * FINE), face, np.float32)
    for corners in polygons(view):
        at = np.rint(((corners + 0.5) * FINE - 0.5) * 16).astype(np.int32)
        cv2.fillConvexPoly(big, at, ink, cv2.LINE_AA, 4)
    seen = cv2.resize(big, (view.width, view.height), interpolation=cv2.INTER_AREA)
    seen = cv2.GaussianBlur(seen, (0, 0), BLUR_PX)
    seen += np.random.default_rng(seed).normal(0, view.noise, seen.shape)
    return np.clip(np.rint(seen), 0, 255).astype(np.uint8)


def off_px(view, pose):
    """How far the found rim lies from the drawn one outwards, whatever its turn."""
    angle = 2 * np.pi * np.arange(60) / 60
    rim = 20.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    radius = np.linalg.norm(view.pose.locate(pose.project(rim)), axis=1)
    return float(np.abs(radius / 20.0 - 1.0).max()) * view.radius_px


def found(view, image):
    for shrink in SHRINKS:
        best = find_scale(image, view.camera, view.look, shrink=shrink)[:1]
        if best and best[0].locked:
            rough = choose_pose(
                image, [best[0].pose, best[0].pose.mirrored()], view.look, free_camera=False
            )
            return settle(
                image, rough.pose, view.look, free_camera=False, blur_px=rough.blur_px, rounds=3
            )
    return None


@pytest.mark.parametrize(
    "view",
    [
        View(),
        View(dark=False, tilt_deg=30.0),
        View(tilt_deg=43.0, radius_px=260.0),
        View(marks=40),
        View(marks=240, radius_px=260.0, tilt_deg=5.0),
        View(width=640, height=480, radius_px=130.0, marks=80),
        View(width=320, height=240, radius_px=100.0, marks=60),
        View(width=1920, height=1080, radius_px=420.0, marks=120),
    ],
    ids=lambda v: f"{v.width}x{v.height} r{v.radius_px:.0f} {v.marks} marks {v.tilt_deg:.0f} deg",
)
def test_scale_is_found_and_settled(view):
    scale = found(view, draw(view))
    assert scale is not None
    assert scale.agreement > 0.7
    assert off_px(view, scale.pose) < 4 * NEAR_PX  # the blur eats a little of the outer ends
    centre = scale.pose.project(np.zeros((1, 2))) - view.pose.project(np.zeros((1, 2)))
    assert np.linalg.norm(centre) < NEAR_PX


def test_half_hidden_scale_is_found_in_its_place():
    """A hand over five twelfths of the ring: the rest must not slip by a mark."""
    view = View(tilt_deg=8.0)
    image = draw(view)
    middle = view.pose.project(np.zeros((1, 2)))[0]
    angle = np.linspace(0.3, 0.3 + 2 * np.pi * 5 / 12, 30)
    rim = middle + 300 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    cv2.fillPoly(image, [np.rint(np.vstack([middle[None], rim])).astype(np.int32)], 120)
    scale = found(view, image)
    assert scale is not None
    centre = scale.pose.project(np.zeros((1, 2)))[0] - middle
    assert np.linalg.norm(centre) < 2 * NEAR_PX


@pytest.mark.parametrize("size", [(120, 160), (16, 16), (3, 500), (1, 1)])
def test_tiny_pictures_hold_no_scale(size):
    image = np.random.default_rng(1).integers(0, 256, size).astype(np.uint8)
    view = View(width=size[1], height=size[0])
    for shrink in SHRINKS:
        assert not any(c.locked for c in find_scale(image, view.camera, view.look, shrink=shrink))


def test_a_step_is_no_ridge():
    image = np.full((200, 200), 60, np.uint8)
    image[:, 100:] = 200
    image[60:63, 20:80] = 30  # the only thin dark line
    at = find_ridges(cv2.GaussianBlur(image, (0, 0), 1.0), -1.0, 1).at_px
    assert len(at) > 30
    assert np.all((np.abs(at[:, 1] - 61) < 7) & (at[:, 0] > 13) & (at[:, 0] < 87))


def test_ridges_lie_on_the_line_that_scikit_image_fits():
    """Outside truth: skimage's LineModelND through the same ridge pixels gives their normals."""
    image = np.full((240, 320), 180, np.uint8)
    cv2.line(image, (40, 60), (280, 150), 40, 3, cv2.LINE_AA)
    ridges = find_ridges(cv2.GaussianBlur(image, (0, 0), 0.8), -1.0, 1)
    inner = (ridges.at_px[:, 0] > 60) & (ridges.at_px[:, 0] < 260)
    line = LineModelND.from_estimate(ridges.at_px[inner])
    assert line
    assert np.abs(line.residuals(ridges.at_px[inner])).max() < 1.0
    across = np.abs(ridges.normal[inner] @ line.direction)
    assert np.degrees(np.arcsin(np.median(across))) < 4.0


def test_mark_offsets_agree_with_scipy_on_the_same_pixels():
    """Outside truth: skimage's profile_line and scipy's curve_fit across single marks."""
    view = View(tilt_deg=4.0, noise=1.0)
    image = draw(view)
    scan = scan_marks(image, view.pose, view.look, BLUR_PX)
    points, across = scan.points_mm[:, 0], scan.across[:, 0]
    ours = scan.sideways.offset_px.reshape(-1, 2)[:, 0]
    pixels = view.pose.project(points)
    theirs = [outside_offset(image, pixels[k], across[k]) for k in range(0, view.marks, 9)]
    off = ours[::9] - np.array(theirs)
    assert np.abs(off).max() < 0.06
    assert np.std(off) < 0.03


def outside_offset(image, at, way):
    reach = 7.0
    ends = at - reach * way, at + reach * way
    profile = profile_line(image, ends[0][::-1], ends[1][::-1], linewidth=3, order=1)
    v = np.linspace(-reach, reach, len(profile))

    def mark(v, middle, depth, level, half, blur):
        z = np.sqrt(2) * blur
        return level - depth / 2 * (erf((v - middle + half) / z) - erf((v - middle - half) / z))

    fit, _ = curve_fit(mark, v, profile, p0=(0.0, 100.0, 200.0, 1.4, 1.1))
    return fit[0]


def test_pulled_pose_is_within_a_pixel():
    view = View(tilt_deg=15.0)
    image = draw(view)
    start = view.pose.moved(np.array([0.05, -0.04, 0.1, 0.01, -0.008, 0.02]))
    pulled = pull(image, start, view.look)
    assert pulled.locked
    centre = pulled.pose.project(np.zeros((1, 2))) - view.pose.project(np.zeros((1, 2)))
    assert np.linalg.norm(centre) < 1.0
    off = start.project(np.zeros((1, 2))) - view.pose.project(np.zeros((1, 2)))
    assert np.linalg.norm(off) > 5.0


def test_checks_of_place_can_fail():
    """A pose half a pitch aside must not pass for the drawn one."""
    view = View()
    aside = view.pose.moved(np.array([0, 0, 0, 0.005, 0, 0]))
    centre = aside.project(np.zeros((1, 2))) - view.pose.project(np.zeros((1, 2)))
    assert np.linalg.norm(centre) > 10 * NEAR_PX
