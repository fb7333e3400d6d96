"""Which mark is zero: the ring of numerals against its taught view.

Marks alone repeat; numerals do not. The ring inside the marks is unrolled, freed of its
shading, and correlated with the taught view at every turn by a whole mark.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dials import TaughtDial
from readings.median import median
from vision.dial_marks import look_at_rings
from vision.dial_pose import Float, PlanePose

PER_MARK = 8
"""Columns of the unrolled view for each mark."""
VIEW_ROWS = 20
INNERMOST = 0.56
"""Share of the scale's radius inside which a counter may stand that does not turn with it."""
_CLIP = 3.0
_STROKE = 0.005  # of a turn: sigma of what counts as broad, along the ring, ...
_STROKE_ROWS = 2.0  # ... and across it: the same in mm


@dataclass(frozen=True, slots=True)
class ScaleTurn:
    """How far the pose's x axis must turn to the zero mark, in marks, and how sure that is."""

    marks: int
    score: float
    """Correlation with the taught view at that turn."""
    margin: float
    """How much it is above the best at any other turn."""


def view_radii(inner_mm: Float, outer_mm: float) -> Float:
    """Return (rows,) radii of the view: between where a counter may be and the longest marks."""
    limit = 0.99 * float(np.quantile(inner_mm, 0.02))
    return np.linspace(INNERMOST * outer_mm, limit, VIEW_ROWS)


def unroll(
    image: NDArray[np.uint8], pose: PlanePose, radii_mm: Float, marks: int, rising: float
) -> Float:
    """Return the ring (rows, marks * PER_MARK) of a grey picture, columns in the rising sense.

    Shading is taken off and contrast made even; glare's hard edges are clipped.
    """
    columns = marks * PER_MARK
    angle = rising * 2 * np.pi * np.arange(columns) / columns
    return even_out(look_at_rings(image, pose.project_rings(radii_mm, angle)).astype(np.float32))


def even_out(values: NDArray[np.float32]) -> Float:
    """Return a ring (rows, columns) freed of shading along its columns, clipped and scaled."""
    columns = values.shape[1]
    reach = columns // 24
    padded = np.concatenate([values[:, -reach:], values, values[:, :reach]], axis=1)
    padded = np.log(padded + np.float32(4.0))
    smooth = cv2.blur(padded, (2 * reach + 1, 5), borderType=cv2.BORDER_REPLICATE)
    flat = (padded - smooth)[:, reach:-reach]
    limit = _CLIP * 1.4826 * median(np.abs(flat[::2, ::3]).ravel()) + 1e-6
    return np.asarray(np.clip(flat, -2 * limit, 2 * limit), dtype=np.float64)


def detail(ring: Float) -> Float:
    """Return a ring (rows, columns) freed of what is broader than a numeral's strokes.

    What numerals have in common says nothing about the turn; needle, shadows and the edges of
    reflections are broad as well.
    """
    across = _STROKE * ring.shape[1]
    reach = int(3 * across) + 1
    padded = np.concatenate([ring[:, -reach:], ring, ring[:, :reach]], axis=1)
    broad = cv2.GaussianBlur(padded.astype(np.float32), (0, 0), across, sigmaY=_STROKE_ROWS)
    return np.asarray(ring - broad[:, reach:-reach])


def match_turn(ring: Float, view: Float, per_mark: int = PER_MARK) -> ScaleTurn:
    """Return the turn by whole marks at which a ring looks most like the taught view."""
    columns = view.shape[1]
    spectrum = np.fft.rfft(ring, axis=1) * np.conj(np.fft.rfft(view, axis=1))
    correlation = np.fft.irfft(spectrum.sum(axis=0), columns)[::per_mark]
    correlation /= float(np.sqrt(np.sum(ring * ring) * np.sum(view * view))) + 1e-12
    best = int(np.argmax(correlation))
    others = np.delete(correlation, best)
    return ScaleTurn(best, float(correlation[best]), float(correlation[best] - others.max()))


def turn_of(image: NDArray[np.uint8], pose: PlanePose, dial: TaughtDial) -> ScaleTurn:
    """Return how far a settled pose of a dial's scale must turn to its zero."""
    ring = unroll(image, pose, dial.view_radius_mm, dial.marks_per_turn, dial.rising)
    return match_turn(detail(ring), detail(dial.view))
