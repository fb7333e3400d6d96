"""What a page shows of a camera's calibration: big words, and what stands behind them."""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace

from calibration.boards import LeftOut, View
from calibration.calibrate import LEAST_VIEWS, Calibration
from calibration.coverage import CELLS
from calibration.coverage_gather import Gathering, Offer
from stream.messages import CalibrationView

SHOW = "Show the board"
_NUMBER = re.compile(r"\d+")
_SIDES = {"left": "left side", "right": "right side", "top": "top", "bottom": "bottom"}


def taking_view(
    camera: str,
    gathering: Gathering,
    offer: Offer | None = None,
    view: View | None = None,
    index: int = -1,
) -> CalibrationView:
    """Return how the taking of views stands after a picture; `view` is the board found in it."""
    coverage = gathering.coverage
    corners = () if view is None else tuple((round(x, 1), round(y, 1)) for x, y in view.points_px)
    return CalibrationView(
        state="taking",
        camera=camera,
        index=index,
        picture_px=(0, 0) if view is None else view.size,
        corners_px=corners,
        seen="" if offer is None else offer.kind,
        cells=coverage.cells,
        across=CELLS[0],
        tilts=tuple(sorted(coverage.tilts)),
        taken=len(gathering.views),
        least=LEAST_VIEWS,
        headline=_headline(offer, gathering),
        detail=_detail(offer, gathering),
    )


def _headline(offer: Offer | None, gathering: Gathering) -> str:
    if offer is None or offer.kind == "unseen":
        return SHOW
    if offer.kind in ("moving", "hold"):
        return "Hold it still"
    return _next(gathering)


def _next(gathering: Gathering) -> str:
    """Return what to show next, one thing at a time: places first, then tilts."""
    coverage = gathering.coverage
    if coverage.bare_sides:
        return f"Taken. Now the {_SIDES[coverage.bare_sides[0]]}"
    if coverage.tilts_missing:
        return f"Taken. Now the {coverage.tilts_missing[0]} edge nearer"
    return "Taken. Now another place or tilt"


def _detail(offer: Offer | None, gathering: Gathering) -> str:
    if offer is not None and offer.kind == "unseen":
        return f"{offer.words[0].upper()}{offer.words[1:]}."
    missing = gathering.coverage.missing_in_short
    return f"Still missing: {missing}." if missing else "Every side and tilt was seen."


def _ended(before: CalibrationView) -> CalibrationView:
    """Return what stays of a view once no more pictures are looked at."""
    return CalibrationView(
        camera=before.camera,
        cells=before.cells,
        across=before.across,
        tilts=before.tilts,
        taken=before.taken,
        least=before.least,
    )


def judged_view(
    before: CalibrationView, found: Calibration, *, square_mm: float
) -> CalibrationView:
    """Return a model that was made, and how far it may be believed."""
    camera = found.camera
    good = not found.verdict.startswith("poor")
    word, _, more = found.verdict.partition(": ")
    near, far = found.distance_mm
    return replace(
        _ended(before),
        state="judged",
        headline=f"The model is {word}",
        detail=(f"{more[0].upper()}{more[1:]}. " if more else "")
        + f"The board stood {near:.0f} to {far:.0f} mm away: if it did not, its squares are not "
        f"{square_mm:g} mm.",
        numbers=(
            ("views used", f"{len(found.used)}"),
            ("residual", f"{found.rms_px:.2f} px"),
            ("focal length", f"{camera.fx:.1f} ± {2 * found.u['fx']:.1f} px (k = 2)"),
            ("centre", f"{camera.cx:.1f}, {camera.cy:.1f} px"),
            ("picture", f"{camera.image_width} x {camera.image_height}"),
            ("covered", f"{found.covered:.0%} of the picture"),
        ),
        left_out=tuple(
            f"{count} left out: {reason}" for reason, count in _counted(found.left_out).items()
        ),
        good=good,
    )


def _counted(left_out: Iterable[LeftOut]) -> dict[str, int]:
    """Return how many pictures each reason left out, the commonest first; numbers in it aside."""
    counts: Counter[str] = Counter()
    words: dict[str, str] = {}
    for one in left_out:
        alike = _NUMBER.sub("#", one.reason)
        counts[words.setdefault(alike, one.reason)] += one.pictures
    return dict(counts.most_common())


def refused_view(before: CalibrationView, sentence: str) -> CalibrationView:
    """Return a calibration that came to nothing, and why."""
    return replace(
        _ended(before),
        state="refused",
        headline="No model",
        detail=f"{sentence[0].upper()}{sentence[1:]}",
    )
