"""A camera model from views of a board: which views count, how good it is, what is missing.

The model is fitted by OpenCV; which views are used, whether focus or zoom changed between
them, and how well each number is known, is told here.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.boards import LeftOut, View, first_names, shift_px, told_together
from calibration.calibrate_fit import (
    Fit,
    direction_of,
    distances_mm,
    fit_views,
    own_focus,
    pose_of,
    print_stretch,
)
from calibration.camera import CameraModel
from calibration.coverage import ENOUGH_OF_A_SIDE, Coverage, coverage_of
from readings import BadInputError

__all__ = ["LEAST_VIEWS", "Calibration", "LeftOut", "View", "calibrate", "report"]

Float = NDArray[np.float64]

LEAST_VIEWS = 6
ALIKE_SHARE = 0.01
"""Views whose corners lie this near (of the picture's width) say the same twice."""
BAD_VIEW = 2.5
"""A view whose residual is so many times the middle one's is left out."""
LEAST_BAD_PX = 0.25
FOCUS_SIGMAS = 4.0
FOCUS_SHARE = 0.004
"""Views that want a focal length apart by more than both: focus or zoom was changed."""
SURE = 2.5
"""A view whose own focal length is so many times less sure than usual says nothing of it."""
GOOD_PX, USABLE_PX = 0.35, 0.8
BLURRED = 1.8
"""A view whose edges are so many times as wide as the middle one's is left out."""
LEAST_BLURRED_PX = 1.5
PRINT_SHARE, PRINT_SIGMAS = 0.003, 8.0
"""A board longer one way by more than both is not the one that was told."""
NEAREST_MM, FARTHEST_MM = 50.0, 2500.0
"""A board that comes out nearer or farther was not measured in mm."""


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """A camera model and how far it may be believed.

    `u` are standard uncertainties (k = 1) of the model's numbers by name; `residual_px`
    the root mean square of each used view; `distance_mm` the nearest and farthest that the
    board stood from the camera; `covered` the share of the picture's cells that
    held corners; `missing` what further views should show.
    """

    camera: CameraModel
    rms_px: float
    used: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    u: dict[str, float]
    residual_px: tuple[float, ...]
    distance_mm: tuple[float, float]
    covered: float
    missing: tuple[str, ...]
    verdict: str


def calibrate(views: Sequence[View], *, left_out: Sequence[LeftOut] = ()) -> Calibration:
    """Return the camera model that the views of one board say.

    Parameters
    ----------
    views
        All of one size, in any order.
    left_out
        Views in which no board was found, handed on.

    Raises
    ------
    BadInputError
        If sizes differ, fewer than six views differ enough, all are face on, focus or zoom
        changed between them, the print is longer one way than told, or the board comes out
        where none can have stood.
    """
    if not views:
        raise BadInputError(_too_few(0, left_out))
    _demand_one_size(views)
    sharp, blurred = _sharp(views)
    chosen, same = _different(sharp)
    out = [*left_out, *blurred, *same]
    _demand_enough(chosen, out)
    kept, fit, bad = _without_bad(chosen)
    out += [LeftOut(view.name, f"fits badly, {off_px:.2f} px") for view, off_px in bad]
    _demand_a_true_print(kept, fit)
    _demand_one_focus(kept, fit, [view for view, _ in bad])
    _demand_a_place(fit)
    return _result(kept, fit, tuple(out))


def _too_few(count: int, left_out: Sequence[LeftOut]) -> str:
    why = "; ".join(
        f"{first_names(names, 3)}: {reason}" for reason, names in told_together(left_out)[:3]
    )
    return (
        f"{count} usable view(s) of the board, {LEAST_VIEWS} or more are needed, from different "
        f"sides and tilts{': ' + why if why else ''}. Take more, the whole board sharp in sight."
    )


def _demand_one_size(views: Sequence[View]) -> None:
    sizes = {view.size for view in views}
    if len(sizes) > 1:
        words = " and ".join(f"{w} x {h}" for w, h in sorted(sizes))
        msg = (
            f"the views are of different sizes ({words}): a model holds for one size only; take "
            "all with the size that is used later (see: camera set --size)."
        )
        raise BadInputError(msg)


def _sharp(views: Sequence[View]) -> tuple[list[View], list[LeftOut]]:
    """Leave out views far less sharp than the others, as long as enough stay."""
    usual = float(np.median([view.blur_px for view in views]))
    limit = max(BLURRED * usual, LEAST_BLURRED_PX)
    soft = sorted((v for v in views if v.blur_px > limit), key=lambda view: -view.blur_px)
    soft = soft[: max(0, len(views) - LEAST_VIEWS)]
    out = [
        LeftOut(v.name, f"less sharp than others, edges {v.blur_px:.1f} px wide, not {usual:.1f}")
        for v in soft
    ]
    return [view for view in views if not any(view is one for one in soft)], out


def _different(views: Sequence[View]) -> tuple[list[View], list[LeftOut]]:
    """Leave out views that show the board where another one did."""
    kept: list[View] = []
    out: list[LeftOut] = []
    for view in views:
        near = next((one for one in kept if _alike(one, view)), None)
        if near is None:
            kept.append(view)
        else:
            out.append(LeftOut(view.name, f"shows the board where {near.name} does"))
    return kept, out


def _alike(one: View, other: View) -> bool:
    """Whether two views show the same, whatever corners of a cut-off board each of them found."""
    apart = shift_px(one, other)
    least = 0.8 * max(len(one.points_px), len(other.points_px))
    return len(apart) >= least and float(apart.max()) < ALIKE_SHARE * one.size[0]


def _demand_enough(views: Sequence[View], out: Sequence[LeftOut]) -> None:
    if len(views) < LEAST_VIEWS:
        raise BadInputError(_too_few(len(views), out))


def _demand_a_true_print(views: Sequence[View], fit: Fit) -> None:
    """Refuse views of a board that is longer one way than it was said to be."""
    stretch, sigma = print_stretch(views, fit)
    if abs(stretch) > max(PRINT_SHARE, PRINT_SIGMAS * sigma):
        longer, other = ("down", "across") if stretch > 0 else ("across", "down")
        msg = (
            f"the print is {abs(stretch):.1%} longer {longer} than {other}: printers stretch. "
            "Measure both of its ruler lines and give them (--ruler-width-mm and "
            "--ruler-height-mm)."
        )
        raise BadInputError(msg)


def _demand_one_focus(views: Sequence[View], fit: Fit, bad: Sequence[View]) -> None:
    """Refuse views that, each for itself, want clearly different focal lengths.

    Views that fitted badly are asked too: with a focal length of its own a sharp one fits well.
    """
    found = [own_focus(*each, fit) for each in zip(views, fit.rotations, fit.shifts, strict=True)]
    usual = float(np.median([s for _, s in found]))
    middle = float(np.median([c for c, s in found if s < SURE * usual]))
    found += [own_focus(view, *pose_of(view, fit.camera), fit) for view in bad]
    change = np.array([c for c, _ in found])
    sigma = np.array([s for _, s in found])
    sure = sigma < SURE * usual
    off = np.abs(change - middle)
    wrong = sure & (off > FOCUS_SIGMAS * sigma) & (off > FOCUS_SHARE)
    if wrong.sum() >= 2:
        names = ", ".join(v.name for v, w in zip([*views, *bad], wrong, strict=True) if w)
        worst = float(off[wrong].max())
        msg = (
            f"focus or zoom changed between the views: {names} want a focal length {worst:.1%} "
            "from the others'. Lock focus and zoom, then take all views anew."
        )
        raise BadInputError(msg)


def _without_bad(views: Sequence[View]) -> tuple[list[View], Fit, list[tuple[View, float]]]:
    """Fit, and leave out the worst view as long as it fits far worse than the others."""
    kept, out, fit = list(views), [], fit_views(views)
    while len(kept) > LEAST_VIEWS:
        worst = int(np.argmax(fit.residual))
        off_px = float(fit.residual[worst])
        if off_px <= max(BAD_VIEW * float(np.median(fit.residual)), LEAST_BAD_PX):
            break
        out.append((kept.pop(worst), off_px))
        fit = fit_views(kept)
    return kept, fit, out


def _result(views: Sequence[View], fit: Fit, out: tuple[LeftOut, ...]) -> Calibration:
    coverage = coverage_of(views, [direction_of(rotation) for rotation in fit.rotations])
    names = ("fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3")
    return Calibration(
        camera=fit.camera,
        rms_px=fit.rms,
        used=tuple(view.name for view in views),
        left_out=out,
        u={name: float(u) for name, u in zip(names, fit.sigmas, strict=False)},
        residual_px=tuple(float(r) for r in fit.residual),
        distance_mm=distances_mm(fit),
        covered=coverage.share,
        missing=coverage.missing,
        verdict=_verdict(fit, coverage),
    )


def _demand_a_place(fit: Fit) -> None:
    """Refuse a board that would have stood at the lens or in another room: no mm were given."""
    near, far = distances_mm(fit)
    if near < NEAREST_MM or far > FARTHEST_MM:
        msg = (
            f"the board would have stood {near:.0f} to {far:.0f} mm from the camera: its squares "
            "are not of the size given. Measure one and give it in mm with --square-mm."
        )
        raise BadInputError(msg)


def _verdict(fit: Fit, coverage: Coverage) -> str:
    if fit.rms > USABLE_PX:
        return "poor: the corners do not fit one camera; take sharper views, the board flat"
    if fit.rms > GOOD_PX or coverage.share < ENOUGH_OF_A_SIDE or len(coverage.missing) > 2:
        return "usable: more views would make it better"
    return "good"


def report(found: Calibration) -> dict[str, Any]:
    """Return what is kept beside the model in a camera file."""
    return {
        "rms_px": found.rms_px,
        "views_used": len(found.used),
        "used": list(found.used),
        "left_out": [asdict(one) for one in found.left_out],
        "u": found.u,
        "distance_mm": list(found.distance_mm),
        "covered": found.covered,
        "missing": list(found.missing),
        "verdict": found.verdict,
    }
