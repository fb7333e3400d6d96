"""Find a dial's scale anywhere in a picture, at any turn of its bezel and any tilt.

The marks of a scale are thin ridges whose lines all pass through one point, whatever the
view: they vote for it. About that point each tilt is tried; under the right one the
ridges' radii end sharply at the scale's rim. Then the marks' own rhythm around the ring
(its phase, unwrapped) sets the pose to a fraction of a mark.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraModel
from vision.dial_beat import Candidate, pull
from vision.dial_marks import ScaleLook
from vision.dial_pose import Float, PlanePose

_RIDGES = 1600  # strongest ridge pixels kept, on a picture of half size
_LEAST_SIDE = 32  # pixels searched: a smaller picture shows no scale
_BLOCK = 16  # pixels searched: no square of this side
_MOST_OF_BLOCK = 14  # gives more than so many, or numerals would outnumber the marks
_LEVELS = 10000.0  # for a factor e in light
_SIDE = 2  # how far a line's sides are looked at, pixels of the picture searched
_CELL = 4.0  # voting cell, pixels of the picture voted on
_RADII = (0.042, 0.55)  # radii sought for marks, over the picture's shorter side
_CENTRES = 3
_APART = 0.055  # least distance of two centres, over the picture's shorter side
_VOTE_SECTORS = 10  # a centre is pointed at from all sides: one long edge must not outvote it
_STRIDE = 1.5  # cells from one vote of a line to its next
_VOTE_BLUR = 1.0  # cells
_TILTS_DEG = ((0.0, 1), (12.0, 8), (21.0, 12), (29.0, 16), (36.0, 16), (43.0, 20))
_BIN = 0.015  # of the logarithm of the radius
_LOG_RADII = (float(np.log(0.03)), float(np.log(0.45)))  # radius over distance


@dataclass(frozen=True, slots=True, eq=False)
class Ridges:
    """Ridge pixels (n, 2) of the full picture and the unit normals (n, 2) of their lines."""

    at_px: Float
    normal: Float


def _valleys(smooth: NDArray[np.int16]) -> NDArray[np.int16]:
    """Return how much lower each pixel lies than both of two opposite pixels `_SIDE` away.

    The deepest of four directions counts. The side of a step is no valley, however high.
    """
    d = _SIDE
    height, width = smooth.shape
    depth = np.zeros_like(smooth)
    middle, inside = smooth[d:-d, d:-d], depth[d:-d, d:-d]
    for down, right in ((0, d), (d, 0), (d, d), (d, -d)):
        one = smooth[d + down : height - d + down, d + right : width - d + right]
        other = smooth[d - down : height - d - down, d - right : width - d - right]
        below = cv2.subtract(cv2.min(one, other), middle)
        inside[:] = cv2.max(np.asarray(inside), below)
    return depth


def _deepest(depth: NDArray[np.int16], count: int) -> NDArray[np.intp]:
    """Return flat indices of roughly the `count` deepest pixels, by a sparse sample's rank."""
    flat = depth.ravel()
    sample = flat[::23]
    rank = max(1, min(len(sample) - 1, count // 23))
    return np.flatnonzero(flat > np.partition(sample, -rank)[-rank])


def _crests(
    smooth: NDArray[np.int16], keep: NDArray[np.intp]
) -> tuple[NDArray[np.bool_], NDArray[np.float32]]:
    """Return which pixels lie on a valley's floor, and all their normals (n, 2), by curvature."""
    flat, width = smooth.ravel(), smooth.shape[1]
    up, here, down = (
        [flat[keep + (below * width + beside)].astype(np.float32) for beside in (-1, 0, 1)]
        for below in (-1, 0, 1)
    )
    column = [u + 2 * h + d for u, h, d in zip(up, here, down, strict=True)]
    row = [line[0] + 2 * line[1] + line[2] for line in (up, here, down)]
    xx, yy = column[0] + column[2] - 2 * column[1], row[0] + row[2] - 2 * row[1]
    xy = 2 * (down[2] + up[0] - down[0] - up[2])
    angle = 0.5 * np.arctan2(xy, xx - yy)
    normal = np.stack([np.cos(angle), np.sin(angle)], axis=1).astype(np.float32)
    step = np.rint(1.2 * normal).astype(np.intp)
    aside = step[:, 1] * width + step[:, 0]
    own = here[1]
    return (own <= flat[keep + aside]) & (own <= flat[keep - aside]), normal


def find_ridges(gray: NDArray[np.uint8], sign: float, shrink: int) -> Ridges:
    """Return the strongest thin lines of the marks' polarity.

    `gray` is the full picture; the search runs on it shrunk by `shrink`.
    """
    size = gray.shape[1] // shrink, gray.shape[0] // shrink
    small = cv2.resize(gray, size, interpolation=cv2.INTER_AREA) if shrink > 1 else gray
    levels = -sign * np.log(np.arange(256) + 16.0)
    levels = np.rint((levels - levels.min()) * _LEVELS).astype(np.int16)
    smooth = np.asarray(cv2.GaussianBlur(cv2.LUT(small, levels), (0, 0), 1.0), dtype=np.int16)
    count = _RIDGES * 2 if shrink == 1 else _RIDGES
    depth = _valleys(smooth)
    keep = _deepest(depth, 4 * count)
    crest, normal = _crests(smooth, keep)
    keep, normal = keep[crest], normal[crest]
    chosen = _evenly(depth, keep, count)
    y, x = np.divmod(keep[chosen], size[0])
    at = np.stack([x, y], axis=1) * float(shrink) + (shrink - 1) / 2
    return Ridges(at, normal[chosen].astype(np.float64))


def _evenly(depth: NDArray[np.int16], keep: NDArray[np.intp], count: int) -> NDArray[np.intp]:
    """Return which `count` of the pixels `keep` are the deepest, no block giving too many."""
    order = np.argsort(-depth.ravel()[keep], kind="stable")  # of short integers: by radix
    y, x = np.divmod(keep[order], depth.shape[1])
    block = y // _BLOCK * (depth.shape[1] // _BLOCK + 1) + x // _BLOCK
    block = block.astype(np.uint16)  # enough for 4096 x 4096 pixels
    together = np.argsort(block, kind="stable")
    sorted_block = block[together]
    first = np.concatenate([[True], sorted_block[1:] != sorted_block[:-1]])
    start = np.maximum.accumulate(np.where(first, np.arange(len(block)), 0))
    rank = np.empty(len(block), dtype=np.intp)
    rank[together] = np.arange(len(block)) - start
    return np.asarray(order[rank < _MOST_OF_BLOCK][:count])


def vote_centres(ridges: Ridges, shape: tuple[int, int], shrink: int) -> Float:
    """Return up to `_CENTRES` points (n, 2) through which most ridge lines pass."""
    cell = _CELL * shrink
    rows, columns = int(shape[0] / cell) + 1, int(shape[1] / cell) + 1
    along = np.stack([-ridges.normal[:, 1], ridges.normal[:, 0]], axis=1)
    least, most = (share * min(shape) for share in _RADII)
    ahead = np.arange(least, most, _STRIDE * cell) / cell
    reach = np.concatenate([-ahead, ahead]).astype(np.float32)
    start, way = (ridges.at_px / cell + 0.5).astype(np.float32), along.astype(np.float32)
    x = (start[:, :1] + way[:, :1] * reach).astype(np.int16)
    y = (start[:, 1:] + way[:, 1:] * reach).astype(np.int16)
    inside = (x >= 0) & (x < columns) & (y >= 0) & (y < rows)
    sector = np.arctan2(along[:, 1], along[:, 0]) % np.pi / np.pi * _VOTE_SECTORS
    sector = np.minimum(sector.astype(np.int32), _VOTE_SECTORS - 1)[:, None]
    index = ((sector * rows + y) * columns + x)[inside]
    votes = np.bincount(index, minlength=_VOTE_SECTORS * rows * columns)
    heat = np.zeros((rows, columns), dtype=np.float32)
    for layer in votes.reshape(_VOTE_SECTORS, rows, columns).astype(np.float32):
        heat += np.sqrt(cv2.GaussianBlur(layer, (0, 0), _VOTE_BLUR))
    found = []
    for _ in range(_CENTRES):
        r, c = divmod(int(np.argmax(heat)), columns)
        found.append((c * cell, r * cell))
        cv2.circle(heat, (c, r), max(1, int(_APART * min(shape) / cell)), 0.0, -1)
    return np.array(found)


def sharpen_centre(
    ridges: Ridges, centre: Float, shape: tuple[int, int]
) -> tuple[Float, NDArray[np.bool_]]:
    """Return the point nearest to all lines that pass near `centre`, and which those are."""
    least, most = (share * min(shape) for share in _RADII)
    near = np.zeros(len(ridges.at_px), dtype=bool)
    for share in (0.10, 0.06, 0.05):
        arm = ridges.at_px - centre
        distance = np.linalg.norm(arm, axis=1)
        miss = np.einsum("ij,ij->i", arm, ridges.normal)
        fits = np.abs(miss) < share * distance + 1.0
        near = fits & (distance > least) & (distance < most)
        if near.sum() < 30:
            break
        weight = 1.0 / distance[near] ** 2
        n = ridges.normal[near]
        normal = (n * weight[:, None]).T @ n
        right = n.T @ (weight * np.einsum("ij,ij->i", n, ridges.at_px[near]))
        centre = np.linalg.solve(normal + 1e-9 * np.eye(2), right)
    return centre, near


def _tilts() -> Float:
    """Return unit vectors (n, 3) leaning every way about the z axis."""
    out = []
    for tilt_deg, count in _TILTS_DEG:
        turn, tilt = 2 * np.pi * np.arange(count) / count, np.full(count, np.deg2rad(tilt_deg))
        lean = np.sin(tilt)
        out.append(np.stack([lean * np.cos(turn), lean * np.sin(turn), np.cos(tilt)], axis=1))
    return np.concatenate(out)


_LEANING = _tilts()


def _frame(axis: Float) -> Float:
    """Return a rotation (3, 3) whose last column is the unit vector `axis`."""
    x, y, z = (float(v) for v in axis)
    level = float(np.hypot(x, z))
    side = np.array([z, 0.0, -x]) / level
    up = np.array([-x * y, level * level, -y * z]) / level
    return np.stack([side, up, axis], axis=1)


def _ring_kernel(look: ScaleLook) -> Float:
    """Return what the histogram of ridge radii looks like around the rim (log radius bins).

    The kernel's last 8 bins lie outside the rim, where a scale has no marks.
    """
    offset = np.arange(-24, 8) + 0.5
    radius = look.outer_mm * np.exp(offset * _BIN)
    marked = (radius[:, None] > look.inner_mm) & (radius[:, None] < look.outer_mm)
    kernel = marked.mean(axis=1) * np.exp(offset * _BIN)
    kernel /= max(kernel.sum(), 1e-9)
    outside = (offset > 1.0) & (offset < 7.0)
    kernel[outside] = -1.5 / 6.0
    gap = (kernel == 0) & (offset < 0)
    kernel[gap] = -0.3 / max(gap.sum(), 1)
    return np.asarray(kernel)


def ring_poses(
    rays: Float, centre_ray: Float, camera: CameraModel, look: ScaleLook, count: int
) -> list[tuple[float, PlanePose]]:
    """Return the best tilts and distances about one centre with their scores.

    `rays` (n, 3) are the directions of the ridge pixels that point at the centre.
    """
    sight = centre_ray / np.linalg.norm(centre_ray)
    normals = _LEANING @ _frame(sight).T
    toward = rays.astype(np.float32)
    lean = (normals / (normals @ sight)[:, None]).astype(np.float32)
    reach = 1.0 / sum(lean[:, k, None] * toward[:, k] for k in range(3))
    squared, shadow = np.sum(toward * toward, axis=1), 2.0 * toward @ sight.astype(np.float32)
    radius2 = reach * (reach * squared - shadow) + np.float32(1.0)
    bins = int((_LOG_RADII[1] - _LOG_RADII[0]) / _BIN)
    place = np.log(np.maximum(radius2, 1e-9)) * np.float32(0.5 / _BIN)
    index = np.clip(place - np.float32(_LOG_RADII[0] / _BIN), 0, bins - 1).astype(np.int32)
    index += bins * np.arange(len(normals), dtype=np.int32)[:, None]
    histogram = np.bincount(index.ravel(), minlength=bins * len(normals)).reshape(-1, bins)
    kernel = _ring_kernel(look)
    score = cv2.filter2D(histogram.astype(np.float32), -1, kernel[None], anchor=(0, 0))
    score = np.asarray(score)[:, : bins - len(kernel) + 1]
    out: list[tuple[float, PlanePose]] = []
    for h in np.argsort(score.max(axis=1))[::-1][:count]:
        rim = int(np.argmax(score[h])) + 24
        distance = look.outer_mm / np.exp(_LOG_RADII[0] + rim * _BIN)
        out.append((float(score[h].max()), PlanePose(camera, _frame(normals[h]), sight * distance)))
    return out


def find_scale(
    gray: NDArray[np.uint8], camera: CameraModel, look: ScaleLook, *, shrink: int, tries: int = 3
) -> list[Candidate]:
    """Return candidate poses of the scale in a grey picture, the most rhythmic first."""
    if min(gray.shape) // shrink < _LEAST_SIDE:
        return []
    ridges = find_ridges(gray, look.sign, shrink)
    out: list[Candidate] = []
    shape = gray.shape[0], gray.shape[1]
    for voted in vote_centres(ridges, shape, shrink):
        centre, near = sharpen_centre(ridges, voted, shape)
        if near.sum() < 60:
            continue
        rays = np.column_stack([camera.undistort(ridges.at_px[near]), np.ones(int(near.sum()))])
        centre_ray = np.append(camera.undistort(centre[None])[0], 1.0)
        for _, pose in ring_poses(rays, centre_ray, camera, look, tries):
            out.append(pull(gray, pose, look))
            if out[-1].locked:
                return [out[-1]]
    return sorted(out, key=lambda c: -c.coherence)
