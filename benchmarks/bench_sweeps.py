"""How fast a sweep becomes numbers, against scipy.optimize.curve_fit on the same data.

Run as ``python benchmarks/bench_sweeps.py [--quick]``. Sizes: 10 000 samples, and a ladder
to 1 000 000 (quick 100 000) for growth. Ends with a line a goal: measure,
value, goal; exits 1 where one is missed.
"""

import argparse
import statistics
import sys
import time

import numpy as np
from scipy.optimize import curve_fit

from readings import Sweep
from sweeps import fit_turn

ORDER, SAMPLES = 15, 10_000
GOAL_RATIO, GOAL_SAME, GOAL_GROWTH = 30.0, 1e-9, 2.0


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


def timed(work):
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def against_curve_fit(n, rounds, rng):
    """Median ratio of interleaved pairs, and the largest difference of the parameters in mm."""
    sweep = make_sweep(n, rng)
    ours, theirs, apart = [], [], 0.0
    for _ in range(rounds):
        seconds, result = timed(lambda: fit_turn(sweep))
        ours.append(seconds)
        seconds, (beta, _) = timed(
            lambda: curve_fit(
                harmonics, sweep.angle_rad, sweep.value_mm, p0=np.zeros(2 * ORDER + 1)
            )
        )
        theirs.append(seconds)
        apart = max(apart, float(np.max(np.abs(beta - result.values_mm))))
    return statistics.median(ours), statistics.median(theirs), apart


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
    ours, theirs, apart = against_curve_fit(SAMPLES, 5 if quick else 9, rng)
    rows = growth([1_000, 10_000, 100_000] + ([] if quick else [1_000_000]), rng)
    print(f"{SAMPLES} samples, {ORDER} orders, milliseconds a fit")
    print(f"ours {1e3 * ours:.2f}   curve_fit {1e3 * theirs:.1f}")
    print("samples      seconds   microseconds a sample")
    for size, seconds, each in rows:
        print(f"{size:9d}  {seconds:9.4f}   {each:8.3f}")
    growing = rows[-1][2] / rows[1][2]
    goals = [
        ("times faster than curve_fit", theirs / ours, GOAL_RATIO, theirs / ours >= GOAL_RATIO),
        ("largest difference of a parameter, mm", apart, GOAL_SAME, apart <= GOAL_SAME),
        ("cost a sample, largest against 10 000", growing, GOAL_GROWTH, growing <= GOAL_GROWTH),
    ]
    for measure, value, goal, _ in goals:
        print(f"{measure}  {value:.3g}  {goal:g}")
    return 0 if all(met for *_, met in goals) else 1


if __name__ == "__main__":
    sys.exit(main())
