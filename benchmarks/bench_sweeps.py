"""How fast a sweep becomes numbers, against general-purpose libraries on the same data.

Run as ``python benchmarks/bench_sweeps.py [--quick]``. Sizes: a full result of 10 000
samples against scipy.optimize.curve_fit; a geometric circle of 10 000 points against
scikit-image's CircleModel; the minimum-zone circle of 3 600 points against scipy's linear
program (HiGHS); and a ladder to 1 000 000 samples (quick 100 000) for growth. One thread,
medians of interleaved stretches of 50 ms or a call. Printed beside them, with no goal, is
one call of ours right after one of theirs, which finds the caches emptied. Ends with a line
a goal: measure, value, goal; exits 1 where one is missed.
"""

import argparse
import sys

import numpy as np
from racing import race, timed
from scipy.optimize import curve_fit, linprog
from skimage.measure import CircleModel

from readings import Sweep
from sweeps import fit_circle, fit_turn, roundness

ORDER, SAMPLES, ZONE_POINTS = 15, 10_000, 3_600
STRETCH_S = 0.05
GOAL_RATIO, GOAL_SAME, GOAL_GROWTH, GOAL_ZONE = 30.0, 1e-9, 2.0, 20.0


def make_sweep(n, rng):
    theta = np.linspace(0.0, 2 * np.pi * 1.05, n)
    value = 0.15 * np.cos(theta - 2.0) + 0.01 * np.cos(2 * theta) + rng.normal(0, 2e-4, n)
    zero = np.zeros(n)
    return Sweep(theta * 3, value, np.full(n, 2e-4), theta, zero, sense="anticlockwise")


def harmonics(theta, *beta):
    total = np.full_like(theta, beta[0])
    for k in range(1, ORDER + 1):
        total += beta[2 * k - 1] * np.cos(k * theta) + beta[2 * k] * np.sin(k * theta)
    return total


def compare(ours, theirs, rounds):
    """Seconds of ours, theirs, and one call of ours after one of theirs; the last results."""
    mine, other, found, told = race(ours, theirs, rounds, STRETCH_S)
    return (mine, other, race(ours, theirs, min(rounds, 5))[0]), found, told


def against_curve_fit(rounds, rng):
    """Full result with covariance; the largest difference of a parameter or a sigma in mm.

    curve_fit's own covariance comes from derivatives by differences, good to some 1e-3 of a
    sigma; the sigmas are held against the same formula with exact columns.
    """
    sweep = make_sweep(SAMPLES, rng)
    start = np.zeros(2 * ORDER + 1)
    times, result, (beta, _) = compare(
        lambda: fit_turn(sweep, surface="bore", diameter_mm=52.0),
        lambda: curve_fit(harmonics, sweep.angle_rad, sweep.value_mm, p0=start),
        rounds,
    )
    columns = np.column_stack([harmonics(sweep.angle_rad, *unit) for unit in np.eye(len(start))])
    rest = sweep.value_mm - columns @ beta
    exact = np.linalg.inv(columns.T @ columns) * (rest @ rest) / (SAMPLES - len(start))
    sigmas = np.sqrt(np.diag(result.covariance)) - np.sqrt(np.diag(exact))
    return times, float(max(np.abs(beta - result.values_mm).max(), np.abs(sigmas).max()))


def against_circle_model(rounds, rng):
    """A quarter arc; the largest difference of centre and radius in mm (theirs is algebraic)."""
    angle = rng.uniform(0, np.pi / 2, SAMPLES)
    points = 26.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    points += rng.normal(0, 2e-4, points.shape)
    times, circle, model = compare(
        lambda: fit_circle(points), lambda: CircleModel.from_estimate(points), rounds
    )
    told = np.array([*model.center, model.radius])
    return times, float(np.abs(told - (circle.x, circle.y, circle.radius)).max())


def zone_program(angle, radius):
    """Minimise outer minus inner circle in the limaçon model; (RONt, x, y)."""
    scale = np.ptp(radius)
    height = (radius - radius.mean()) / scale
    first = np.column_stack([np.cos(angle), np.sin(angle)])
    one, zero = np.ones((len(angle), 1)), np.zeros((len(angle), 1))
    rules = np.vstack([np.hstack([-first, -one, zero]), np.hstack([first, zero, one])])
    limits = np.concatenate([-height, height])
    found = linprog([0, 0, 1, -1], A_ub=rules, b_ub=limits, bounds=(None, None), method="highs")
    return np.array([found.fun, *found.x[:2]]) * scale


def against_zone_program(rounds, rng):
    """The median over traces; the largest difference of width and centre in mm."""
    angle = np.linspace(0, 2 * np.pi, ZONE_POINTS, endpoint=False)
    rows = []
    for _ in range(rounds):
        lobes = sum(
            rng.normal(0, 0.01 / k) * np.cos(k * angle + rng.uniform(0, 6)) for k in range(1, 16)
        )
        radius = 26 + lobes + rng.normal(0, 4e-4, ZONE_POINTS)
        times, found, told = compare(
            lambda radius=radius: roundness(angle, radius, "MZC"),
            lambda radius=radius: zone_program(angle, radius),
            3,
        )
        rows.append((*times, np.abs(told - (found.ront_mm, found.x_mm, found.y_mm)).max()))
    *times, apart = np.array(rows).T
    return tuple(float(np.median(each)) for each in times), float(apart.max())


def growth(sizes, rng):
    rows = []
    for n in sizes:
        sweep = make_sweep(n, rng)
        seconds = min(timed(lambda sweep=sweep: fit_turn(sweep))[0] for _ in range(3))
        rows.append((n, seconds, 1e6 * seconds / n))
    return rows


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="smaller sizes, the same goals")
    quick = parser.parse_args().quick
    rng = np.random.default_rng(1)
    rounds = 7 if quick else 25
    fit = against_curve_fit(5 if quick else 9, rng)
    circle = against_circle_model(rounds, rng)
    zone = against_zone_program(rounds, rng)
    rows = growth([1_000, 10_000, 100_000] + ([] if quick else [1_000_000]), rng)
    print(f"{'milliseconds':45s}    ours  one call    theirs   times   apart, mm")
    for name, ((ours, theirs, cold), apart) in (
        (f"full result, {SAMPLES} samples, curve_fit", fit),
        (f"geometric circle, {SAMPLES} points, CircleModel", circle),
        (f"minimum zone, {ZONE_POINTS} points, linear program", zone),
    ):
        ratio = theirs / ours
        shown = f"{1e3 * ours:8.2f}{1e3 * cold:10.2f}{1e3 * theirs:10.1f}"
        print(f"{name:45s}{shown}{ratio:8.1f}   {apart:.1e}")
    print("samples      seconds   microseconds a sample")
    for size, seconds, each in rows:
        print(f"{size:9d}  {seconds:9.4f}   {each:8.3f}")
    growing = rows[-1][2] / rows[1][2]
    goals = [
        ("times faster than curve_fit", fit[0][1] / fit[0][0], GOAL_RATIO, True),
        ("largest difference of a parameter or sigma, mm", fit[1], GOAL_SAME, False),
        ("times faster than the linear program", zone[0][1] / zone[0][0], GOAL_ZONE, True),
        ("largest difference of the minimum zone, mm", zone[1], GOAL_SAME, False),
        ("cost a sample, largest against 10 000", growing, GOAL_GROWTH, False),
    ]
    for measure, value, goal, _ in goals:
        print(f"{measure}  {value:.3g}  {goal:g}")
    return (
        0 if all(value >= goal if more else value <= goal for _, value, goal, more in goals) else 1
    )


if __name__ == "__main__":
    sys.exit(main())
