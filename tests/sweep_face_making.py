"""Faces, traverses and castings with known truth for the tests of tram, squares and jacks."""

import numpy as np
from scipy.optimize import linprog

from readings import Sweep
from sweeps import Allowance

NOTHING = Allowance(retrace_mm=0.0, lag_s=0.0, reader_common=0.0, reader_floor_mm=0.0, form2_mm=0.0)
"""No stated allowances: the scatter alone, for tests of the error bar."""


def arm(
    lean,
    rng,
    *,
    radius_mm=100.0,
    n=150,
    arc_deg=378.0,
    noise_mm=2e-4,
    sense="anticlockwise",
    slots=(),
    deep_mm=0.35,
    oval_mm=0.0,
    drift_mm=0.0,
    level_mm=0.4,
):
    """A stylus swept round over a table by exact plane geometry.

    The spindle's axis leans by `lean` (x, y): with the axis (lx, ly, 1) the arm's end at θ
    hangs lower by S (lx cos θ + ly sin θ), and the table pushes the stylus in by as much.
    `slots` are (Y of the middle, width) of slots along X.
    """
    way = 1 if sense == "anticlockwise" else -1
    theta = 0.3 + way * np.radians(np.linspace(0, arc_deg, n))
    value = over_table(theta, lean, radius_mm, oval_mm) + level_mm
    for middle, width in slots:
        inside = np.abs(radius_mm * np.sin(theta) - middle) < width / 2
        value = np.where(inside, value - deep_mm, value)
    value = value + drift_mm * np.linspace(0, 1, n) + rng.normal(0, noise_mm, n)
    time = np.linspace(0, 20, n)
    return Sweep(time, value, np.full(n, noise_mm), theta, np.full(n, 5e-4), sense=sense)


def over_table(theta, lean, radius_mm, oval_mm=0.0):
    """Return the reading of a tilted arm above a true table."""
    return radius_mm * (lean[0] * np.cos(theta) + lean[1] * np.sin(theta)) + oval_mm * np.cos(
        2 * theta
    )


def arm_stops(lean, rng, *, places=8, radius_mm=100.0, noise_mm=2e-5):
    """Still places, evenly spaced from θ = 0."""
    theta = 2 * np.pi * np.arange(places) / places
    value = over_table(theta, lean, radius_mm) + rng.normal(0, noise_mm, places)
    sigma, nothing = np.full(places, noise_mm), np.zeros(places)
    return Sweep(2.0 * np.arange(places), value, sigma, theta, nothing, sense=None, kind="stops")


def bow(place, sag_mm):
    """Return a form with no slope of its own: Legendre's second polynomial, sag from end to end."""
    x = 2 * (place - place.min()) / np.ptp(place) - 1
    return sag_mm * (1 - x**2)


def zone_by_program(places, heights):
    """Return the least band's width by a linear program over ``|h - c - slopes·place| <= w``."""
    columns = np.column_stack([places, np.ones(len(heights))])
    rules = np.hstack([np.vstack([columns, -columns]), -np.ones((2 * len(heights), 1))])
    cost = np.append(np.zeros(columns.shape[1]), 1.0)
    limits = np.concatenate([heights, -heights])
    return 2 * linprog(cost, A_ub=rules, b_ub=limits, bounds=(None, None)).fun
