"""Two ways to the same result, timed by turns in one run."""

import statistics
import time


def timed(work, least_s=0.0):
    """Return the seconds of a call, the mean over a stretch of at least `least_s`, and its result.

    A stretch, as `timeit` has it, times the work; one call by itself times as well what
    the work before it left in the caches.
    """
    start, calls = time.perf_counter(), 0
    while True:
        result = work()
        calls += 1
        passed = time.perf_counter() - start
        if passed >= least_s:
            return passed / calls, result


def race(ours, theirs, rounds, least_s=0.0):
    """Median seconds of each over interleaved stretches, and the last results."""
    mine, other = [], []
    for _ in range(rounds):
        seconds, found = timed(ours, least_s)
        mine.append(seconds)
        seconds, told = timed(theirs, least_s)
        other.append(seconds)
    return statistics.median(mine), statistics.median(other), found, told
