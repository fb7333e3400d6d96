"""What the marks of a scale say about where its plane is: sideways places and outer ends."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dials import TaughtDial
from readings.median import median
from vision.dial_pose import Evidence, Float, PlanePose
from vision.dial_profiles import Offsets, bar, linear, match_bars, match_ends

_BANDS = ((0.12, 0.48), (0.52, 0.88))
"""Two stretches of each mark, from its outer (0) to its inner end (1)."""
_ROWS = 5  # samples along each stretch
_ACROSS = 15  # samples across a mark
_ALONG = 13  # samples along its outer end
_ACROSS_SHARES = np.linspace(-1.0, 1.0, _ACROSS)
_ALONG_SHARES = np.linspace(-1.0, 1.0, _ALONG)
_END_SIGMA_PX = 0.12  # how well a print's mark ends lie on their circle


Maps = tuple[NDArray[np.float32], NDArray[np.float32]]
"""Pixel columns and rows to sample at."""


@dataclass(frozen=True, slots=True, eq=False)
class ScaleLook:
    """The marks of a scale as geometry in the plane (mm) and their polarity."""

    angle_rad: Float
    outer_mm: float
    inner_mm: Float
    half_width_mm: Float
    sign: float
    every: int = 1
    """Only every so manieth mark of the scale is held."""

    @property
    def pitch_mm(self) -> float:
        """Distance between neighbouring marks of the scale at their outer ends."""
        return 2 * np.pi * self.outer_mm / (len(self.angle_rad) * self.every)

    def thinned(self, count: int) -> "ScaleLook":
        """Return the look of `count` marks or somewhat more, evenly spread, for a rough look."""
        every = max(1, len(self.angle_rad) // count)
        while len(self.angle_rad) % every:
            every -= 1
        some = slice(None, None, every)
        return replace(
            self,
            angle_rad=self.angle_rad[some],
            inner_mm=self.inner_mm[some],
            half_width_mm=self.half_width_mm[some],
            every=every * self.every,
        )


def scale_look(dial: TaughtDial) -> ScaleLook:
    """Return the geometry of a taught dial's marks."""
    return ScaleLook(
        dial.mark_angle_rad,
        dial.radius_mm,
        dial.mark_inner_mm,
        dial.mark_half_width_mm,
        dial.mark_sign,
    )


@dataclass(frozen=True, slots=True, eq=False)
class MarkScan:
    """Sideways offsets (n marks x 2 bands) and end offsets (n) measured about one pose."""

    points_mm: Float
    """(n, 2, 2) plane points of the bands."""
    across: Float
    """(n, 2, 2) image unit vectors across the marks."""
    sideways: Offsets
    """Flattened (n * 2,)."""
    ends_mm: Float
    """(n, 2)."""
    outward: Float
    """(n, 2) image unit vectors along the marks."""
    ends: Offsets
    usable: NDArray[np.bool_]
    """(n, 2) bands that look like marks."""
    usable_ends: NDArray[np.bool_]
    contrast: float
    """Typical contrast of the marks, grey levels."""
    noise: float
    light: float
    """The same contrast in light (0 to 1): what other contrasts are measured by."""


def sample(image: NDArray[np.uint8], points_px: Float) -> NDArray[np.uint8]:
    """Return bilinear samples of an image (or of its channels) at pixels (..., 2).

    Whole grey levels: rounding adds 0.3 levels to a noise of 2 and more.
    """
    flat = points_px.reshape(len(points_px), -1, 2)
    x, y = flat[..., 0].astype(np.float32), flat[..., 1].astype(np.float32)
    got = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    tail = () if image.ndim == 2 else (image.shape[2],)
    return np.asarray(got, dtype=np.uint8).reshape(*points_px.shape[:-1], *tail)


def look_at_rings(image: NDArray[np.uint8], maps: Maps) -> NDArray[np.uint8]:
    """Return bilinear samples of a grey picture at maps (rings, angles)."""
    got = cv2.remap(image, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(got, dtype=np.uint8)


def _directions(pose: PlanePose, points_mm: Float, towards_mm: Float) -> tuple[Float, Float]:
    """Return image unit vectors (n, 2) and pixels per mm (n,) along plane directions."""
    count, step = len(points_mm), 1e-3
    ends = pose.project(np.concatenate([points_mm, points_mm]) + _both(step * towards_mm))
    delta = (ends[:count] - ends[count:]) / (2 * step)
    scale = np.hypot(delta[:, 0], delta[:, 1])
    return delta / scale[:, None], scale


def _both(step: Float) -> Float:
    return np.concatenate([step, -step])


def _rays(look: ScaleLook) -> tuple[Float, Float]:
    """Return outward and clockwise unit vectors (n, 2) of the marks."""
    c, s = np.cos(look.angle_rad), np.sin(look.angle_rad)
    return np.stack([c, s], axis=1), np.stack([-s, c], axis=1)


def _band_points(look: ScaleLook, lanes: int) -> tuple[Float, Float]:
    """Return radii (n, 2, rows) of the samples and (n, 2) of the band centres."""
    length = (look.outer_mm - look.inner_mm)[:, None, None]
    share = np.array([np.linspace(a, b, lanes) for a, b in _BANDS])
    radii = look.outer_mm - length * share
    return radii, radii.mean(axis=2)


@dataclass(frozen=True, slots=True, eq=False)
class Sideways:
    """Profiles (n * 2, _ACROSS) across the marks' bands, and where they were sampled."""

    points_mm: Float
    across: Float
    v_px: Float
    half_px: Float
    maps: Maps
    """(lanes, n * 2, _ACROSS) pixel columns and rows."""
    profiles: Float

    @property
    def pixels(self) -> Float:
        """The sampled places as (n * 2, lanes, _ACROSS, 2)."""
        return np.stack(self.maps, axis=-1).transpose(1, 0, 2, 3).astype(np.float64)

    def offsets(self, blur_px: float, every: int = 1) -> Offsets:
        """Return what the profiles (or every so manieth) say if blurred by `blur_px`."""
        some = slice(None, None, every)
        return match_bars(self.v_px[some], self.profiles[some], self.half_px[some], blur_px)


def sideways_basis(v_px: Float, half_px: Float, blur_px: float) -> Float:
    """Return (n, m, 4): level, slope, mark and its derivative across each band."""
    shape, slope = bar(v_px, half_px[:, None], blur_px)
    return np.stack([np.ones_like(v_px), v_px / v_px[:, -1:], shape, slope], axis=2)


def _maps(middle_px: Float, along: Float, steps_px: Float) -> Maps:
    """Return maps (lanes, n, m) of straight rows of samples.

    `middle_px` (n, lanes, 2) are the rows' middles, `along` (n, 2) their direction and `steps_px`
    (n, m) the samples. Over the few pixels of a row perspective bends it by under 0.01 px.
    """
    middle = middle_px.transpose(1, 0, 2).astype(np.float32)[:, :, None]
    steps = steps_px.astype(np.float32)
    way = along.astype(np.float32)[:, None]
    return middle[..., 0] + steps * way[..., 0], middle[..., 1] + steps * way[..., 1]


def look_up(image: NDArray[np.uint8], maps: Maps) -> Float:
    """Return bilinear samples of a grey picture at maps (lanes, n, m), averaged over the lanes.

    Whole grey levels before averaging: rounding adds 0.3 levels to a noise of 2 and more.
    """
    lanes, n, m = maps[0].shape
    x, y = (one.reshape(lanes, n * m) for one in maps)
    got = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    total = np.add.reduce(np.asarray(got), axis=0, dtype=np.uint16)
    return np.asarray(total.reshape(n, m) / lanes)


def sample_sideways(
    image: NDArray[np.uint8],
    pose: PlanePose,
    look: ScaleLook,
    blur_px: float,
    *,
    lanes: int = _ROWS,
) -> Sideways:
    """Sample the marks across, at two bands each, wide enough for a blur of `blur_px`."""
    out, side = _rays(look)
    radii, centre = _band_points(look, lanes)
    points = (centre[:, :, None] * out[:, None, :]).reshape(-1, 2)
    across, scale = _directions(pose, points, np.repeat(side, 2, axis=0))
    pitch_px = 0.48 * look.pitch_mm * centre.ravel() / look.outer_mm * scale
    half_px = np.repeat(look.half_width_mm, 2) * scale
    span = np.minimum(pitch_px, half_px + 3.0 * blur_px + 2.5)
    v_px = span[:, None] * _ACROSS_SHARES
    middle = pose.project((radii[..., None] * out[:, None, None, :]).reshape(-1, 2))
    maps = _maps(middle.reshape(-1, lanes, 2), across, v_px)
    return Sideways(points, across, v_px, half_px, maps, look_up(image, maps))


def scan_ends(
    image: NDArray[np.uint8], pose: PlanePose, look: ScaleLook, blur_px: float
) -> tuple[Float, Float, Offsets]:
    """Measure the marks' outer ends along the marks: points, image directions, offsets."""
    out, side = _rays(look)
    points = look.outer_mm * out
    outward, scale = _directions(pose, points, out)
    length_px = (look.outer_mm - look.inner_mm) * scale
    span = np.minimum(2.5 * blur_px + 2.0, 0.6 * length_px)
    u_px = span[:, None] * _ALONG_SHARES
    lanes = np.array([-0.35, 0.0, 0.35])[None, :] * look.half_width_mm[:, None]
    middle = pose.project((points[:, None] + lanes[..., None] * side[:, None]).reshape(-1, 2))
    profiles = look_up(image, _maps(middle.reshape(-1, 3, 2), outward, u_px))
    return points, outward, match_ends(u_px, profiles, blur_px)


def _like_marks(
    seen: Offsets, sign: float, reach_px: Float | float
) -> tuple[NDArray[np.bool_], float, float]:
    """Return which profiles look like marks, with the typical contrast and noise."""
    contrast = sign * seen.contrast
    strong = contrast > 0
    typical = median(contrast[strong]) if np.any(strong) else 0.0
    noise = median(seen.noise[strong]) if np.any(strong) else np.inf
    clear = contrast > max(0.25 * typical, 1e-6)
    near = np.abs(seen.offset_px) < reach_px
    clean = seen.noise < np.maximum(3.0 * noise, 0.35 * np.abs(contrast))
    return clear & near & clean, typical, noise


def scan_marks(
    image: NDArray[np.uint8], pose: PlanePose, look: ScaleLook, blur_px: float
) -> MarkScan:
    """Measure all marks of a scale about a pose, in a grey picture."""
    count = len(look.angle_rad)
    seen = sample_sideways(image, pose, look, blur_px)
    sideways = seen.offsets(blur_px)
    ends_mm, outward, ends = scan_ends(image, pose, look, blur_px)
    usable, contrast, noise = _like_marks(sideways, look.sign, 0.8 * seen.v_px[:, -1])
    usable_ends, _, _ = _like_marks(ends, look.sign, 1.5 * blur_px + 1.5)
    return MarkScan(
        seen.points_mm.reshape(count, 2, 2),
        seen.across.reshape(count, 2, 2),
        sideways,
        ends_mm,
        outward,
        ends,
        usable.reshape(count, 2),
        usable_ends & usable.reshape(count, 2)[:, 0],
        contrast,
        noise,
        _light(sideways, usable),
    )


def _light(seen: Offsets, usable: NDArray[np.bool_]) -> float:
    if not usable.any():
        return 0.0
    face = seen.background[usable]
    return median(np.abs(linear(face + seen.contrast[usable]) - linear(face)))


def evidence(scan: MarkScan, pose: PlanePose) -> Evidence:
    """Turn a scan into observations for the pose: mark k's sideways bands and its end share k."""
    count = len(scan.ends_mm)
    side, end = scan.usable.ravel(), scan.usable_ends
    points = np.concatenate([scan.points_mm.reshape(-1, 2)[side], scan.ends_mm[end]])
    along = np.concatenate([scan.across.reshape(-1, 2)[side], scan.outward[end]])
    offset = np.concatenate([scan.sideways.offset_px[side], scan.ends.offset_px[end]])
    common = _pooled(scan.sideways.sigma_px[side]), _pooled(scan.ends.sigma_px[end])
    sigma = np.concatenate(
        [
            np.hypot(scan.sideways.sigma_px[side], common[0]) / np.sqrt(2),
            np.hypot(np.hypot(scan.ends.sigma_px[end], common[1]) / np.sqrt(2), _END_SIGMA_PX),
        ]
    )
    group = np.concatenate([np.repeat(np.arange(count), 2)[side], np.arange(count)[end] + count])
    seen = pose.project(points) + offset[:, None] * along
    rim = np.arange(len(points)) >= int(side.sum())
    return Evidence(points, seen, along, sigma, group.astype(np.intp), rim)


def _pooled(sigma: Float) -> float:
    return median(sigma) if len(sigma) else 1.0
