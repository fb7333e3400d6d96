"""Two ways to the same result, timed by turns in one run."""

import statistics
import time


def timed(work):
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def race(ours, theirs, rounds):
    """Median seconds of each over interleaved pairs, and the last results."""
    mine, other = [], []
    for _ in range(rounds):
        seconds, found = timed(ours)
        mine.append(seconds)
        seconds, told = timed(theirs)
        other.append(seconds)
    return statistics.median(mine), statistics.median(other), found, told
