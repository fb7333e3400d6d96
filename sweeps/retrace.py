"""What a dial's retrace does to a first harmonic, in size and at right angles.

A needle with play h rests for h after each turn of its motion. On a cosine of amplitude A
this is the describing function of backlash: with ``ε = h / 2A`` the part in step shrinks
to ``(π/2 + asin(1 - 2ε) + 2 (1 - 2ε) sqrt(ε (1 - ε))) / π`` of A, by about
``16 / (3π) ε^1.5``, and ``(2h/π) (1 - ε)`` appears at right angles, dragged behind the
sense of turning. A turn each way removes the second, never the first.
"""

from math import asin, pi, sqrt

from scipy.optimize import brentq

_CLOSE_MM = 1e-12


def kept_in_step(amplitude_mm: float, retrace_mm: float) -> float:
    """Return the share of a true amplitude that the needle still shows, 0 to 1.

    >>> kept_in_step(0.001, 0.003)
    0.0
    """
    if retrace_mm <= 0:
        return 1.0
    part = retrace_mm / (2 * amplitude_mm) if amplitude_mm > 0 else 1.0
    if part >= 1.0:
        return 0.0
    return (pi / 2 + asin(1 - 2 * part) + 2 * (1 - 2 * part) * sqrt(part * (1 - part))) / pi


def retrace_loss_mm(shown_mm: float, retrace_mm: float) -> float:
    """Return how much larger than shown the eccentricity can be at this retrace, in mm."""
    if shown_mm <= 0 or retrace_mm <= 0:
        return max(retrace_mm, 0.0) / 2

    def missing(amplitude_mm: float) -> float:
        return amplitude_mm * kept_in_step(amplitude_mm, retrace_mm) - shown_mm

    most = shown_mm + retrace_mm
    if missing(shown_mm) >= 0:  # lost in rounding, as in the next
        return 0.0
    if missing(most) <= 0:
        return retrace_mm
    return float(brentq(missing, shown_mm, most, xtol=_CLOSE_MM)) - shown_mm


def retrace_drag_mm(retrace_mm: float) -> float:
    """Return the part at right angles, 2h/π, in mm (a large amplitude's, the greatest)."""
    return 2 * retrace_mm / pi
