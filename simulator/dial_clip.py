"""Drawn clips of one dial: the needle goes over whole turns, a hand passes, the camera is knocked.

for picture in random_clip(design, camera, rng):
    image, truth = draw_view(design, picture.view, rng)
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from calibration.camera import CameraModel
from simulator.dial_design import DialDesign
from simulator.dial_view import DialView, hide_needle, random_view
from simulator.optics import Float

_OPEN_SHARE = 0.25
"""Share of a picture's time in which the shutter is open."""
_SLOW_SWEEP, _FAST_SWEEP = 0.4, 2.5
"""Divisions moved while the shutter is open, at most: work turned by hand, a part pushed."""
_HAND = (0.36, 0.48)
_KNOCK = 0.70
"""When a hand comes and goes, and when the camera is knocked, as shares of the clip."""


@dataclass(frozen=True, slots=True)
class ClipPicture:
    """One picture of a clip; `view.total_divisions` counts whole turns from zero."""

    view: DialView
    t_s: float
    event: Literal["hand", "knock"] | None
    """"hand" while one hides the needle; "knock" on the first picture after a knock."""


def random_clip(
    design: DialDesign,
    camera: CameraModel,
    rng: np.random.Generator,
    pictures: int = 90,
    fps: float = 15.0,
) -> list[ClipPicture]:
    """Return the pictures of a clip.

    The needle swings slowly, rests while the hand is there, swings fast and by up to a turn
    and a half, and after the knock slowly again.
    """
    first = random_view(design, camera, "clean", rng)
    total = _swing(design, rng, pictures) + first.total_divisions
    knocked = _knocked(first, rng)
    finger = hide_needle(design, replace(first, total_divisions=_rest(total)), rng)
    out = []
    for number in range(pictures):
        share = number / pictures
        view = first if share < _KNOCK else knocked
        covered = _HAND[0] <= share < _HAND[1]
        speed = float(np.gradient(total)[number])
        view = replace(
            view,
            total_divisions=float(total[number]),
            sweep_divisions=abs(speed) * _OPEN_SHARE,
            cover="needle" if covered else None,
            fingers=finger.fingers if covered else (),
        )
        just = share >= _KNOCK > (number - 1) / pictures
        event: Literal["hand", "knock"] | None = "hand" if covered else "knock" if just else None
        out.append(ClipPicture(view, number / fps, event))
    return out


def _rest(total: Float) -> float:
    return float(total[int(sum(_HAND) / 2 * len(total))])


def _swing(design: DialDesign, rng: np.random.Generator, pictures: int) -> Float:
    """Return divisions for each picture: slow swings, and a fast one between hand and knock."""
    at = np.arange(pictures) / pictures
    swings = (
        (0.03, _HAND[0] - 0.05, 0.4, _SLOW_SWEEP),
        (_HAND[1] + 0.02, _KNOCK, 1.5, _FAST_SWEEP),
        (_KNOCK + 0.02, 0.97, 0.4, _SLOW_SWEEP),
    )
    path = np.zeros(pictures)
    for start, end, most_turns, sweep in swings:
        swing = _eased(at, start, end) * rng.choice([-1.0, 1.0])
        fastest = float(np.abs(np.gradient(swing)).max()) * _OPEN_SHARE
        most = min(most_turns * design.marks_per_turn, sweep / fastest)
        path += swing * most * rng.uniform(0.6, 1.0)
    return path


def _eased(at: Float, start: float, end: float) -> Float:
    share = np.clip((at - start) / (end - start), 0.0, 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(math.pi * share))


def _knocked(view: DialView, rng: np.random.Generator) -> DialView:
    """Return the view after the camera was pushed by some millimetres and degrees."""
    way = rng.uniform(0.0, 2 * math.pi)
    shift = rng.uniform(8.0, 40.0) * np.array([math.cos(way), math.sin(way)])
    return replace(
        view,
        at_px=(view.at_px[0] + float(shift[0]), view.at_px[1] + float(shift[1])),
        tilt_deg=view.tilt_deg + float(rng.uniform(0.5, 3.0)),
        turned_deg=view.turned_deg + float(rng.uniform(-3.0, 3.0)),
        face_radius_px=view.face_radius_px * float(rng.uniform(0.95, 1.02)),
    )
