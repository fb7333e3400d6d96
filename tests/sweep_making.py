"""Sweeps with known truth for the tests: exact contact geometry, retrace, clipping, noise."""

from dataclasses import dataclass, replace

import numpy as np

from readings import Sweep

CLEAN_MM, TYPICAL_MM, HARSH_MM = 2e-5, 2e-4, 1.5e-3
"""Ladder of reading noise: a still needle, hand turning on a 0.01 dial, a shaken phone."""


@dataclass(frozen=True)
class Work:
    """What is swept; lengths in mm, angles in radians."""

    e_mm: float = 0.15
    high_rad: float = 2.0
    oval_mm: float = 0.0
    oval_rad: float = 0.5
    lobe3_mm: float = 0.0
    constant_mm: float = 0.07

    def reading(self, theta):
        return (
            self.constant_mm
            + self.e_mm * np.cos(theta - self.high_rad)
            + self.oval_mm * np.cos(2 * theta - self.oval_rad)
            + self.lobe3_mm * np.cos(3 * theta - 1.0)
        )


def turn(
    work,
    rng,
    *,
    n=150,
    arc_rad=2 * np.pi * 1.05,
    noise_mm=TYPICAL_MM,
    start_rad=0.3,
    clip_mm=None,
    retrace_mm=0.0,
    sense="anticlockwise",
):
    """One hand-turned pass with uneven speed."""
    part = np.linspace(0.0, 1.0, n)
    part = part + 0.02 * np.sin(2 * np.pi * 2 * part + rng.uniform(0, 6.28))
    theta = start_rad + arc_rad * part * (1 if sense == "anticlockwise" else -1)
    value = played(work.reading(theta), retrace_mm)
    if clip_mm is not None:
        value = np.clip(value, *clip_mm)
    value = value + rng.normal(0, noise_mm, n)
    time = np.linspace(0.0, 20.0, n)
    sigma, sigma_angle = np.full(n, noise_mm), np.full(n, 5e-4)
    return Sweep(time, value, sigma, theta, sigma_angle, sense=sense)


def exact_angles(sweep):
    """The same sweep with the angles stated as they are: free of error."""
    return replace(sweep, sigma_angle_rad=np.zeros(len(sweep)))


def played(value, play_mm):
    """A dial with play: the needle follows when its slack is taken up."""
    out, needle = np.empty_like(value), value[0]
    for i, push in enumerate(value):
        needle = min(max(needle, push - play_mm / 2), push + play_mm / 2)
        out[i] = needle
    return out


def stops(work, rng, *, per_turn=4, count=None, noise_mm=CLEAN_MM, angle_sigma_rad=0.0):
    """Still places, evenly spaced from θ = 0."""
    n = per_turn if count is None else count
    theta = 2 * np.pi * np.arange(n) / per_turn
    true = theta + rng.normal(0, angle_sigma_rad, n)
    value = work.reading(true) + rng.normal(0, noise_mm, n)
    return Sweep(
        np.arange(n) * 2.0,
        value,
        np.full(n, noise_mm),
        theta,
        np.full(n, angle_sigma_rad),
        sense=None,
        kind="stops",
    )


def bore_reading(theta, offset, bore_radius_mm, tip_radius_mm):
    """Exact: a tip's centre goes out along θ until it is R - ρ from the bore's own axis."""
    along = offset[0] * np.cos(theta) + offset[1] * np.sin(theta)
    across = -offset[0] * np.sin(theta) + offset[1] * np.cos(theta)
    reach = along + np.sqrt((bore_radius_mm - tip_radius_mm) ** 2 - across**2)
    return -reach
