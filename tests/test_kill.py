"""Killed with -9 in the middle of a sweep: every acknowledged sample is in the book."""

import random
import signal
import time

import pytest
from stream_process import end, kill, prepare_turns, start, wait_until

from records import BookReader, check_book
from stream.client import Client
from stream.keeping import RESTARTED

TURN_S = 8.0
"""Seconds of the mill for a turn, 2 of ours."""


def turn_and_kill(home, process, rng):
    """Turn, kill at a random moment of the turn, return what was acknowledged by then."""
    saved = {}
    with Client(home) as client:
        watch = client.subscribe("saved")
        client.command("bench", do="turn", degrees=385.0, seconds=TURN_S)
        first = wait_until(lambda: fresh(watch, saved))
        until = time.monotonic() + rng.uniform(0.05, 1.2)
        while time.monotonic() < until:
            note(watch.poll(0.02), saved)
        kill(process)
        while (one := watch.poll(0.1)) is not None:
            note(one, saved)
    return first, saved


def note(one, saved):
    if one is not None and not one.body["complete"]:
        saved[one.body["sweep_id"]] = one.body["samples"]


def fresh(watch, saved):
    """The sweep of the first acknowledgement that is not of a sweep already ended."""
    one = watch.poll(0.05)
    note(one, saved)
    return one is not None and not one.body["complete"] and one.body["sweep_id"]


def check_nothing_lost(home, saved):
    with BookReader.open(home) as reader:
        for sweep_id, samples in saved.items():
            assert len(reader.samples(sweep_id)) >= samples
    assert check_book(home) == []


def kills(home, times, seed):
    """Kill a service over and over in the middle of sweeps of one setup."""
    rng = random.Random(seed)
    acknowledged = {}
    prepare_turns(home)
    process = start(home)
    try:
        for _ in range(times):
            sweep_id, saved = turn_and_kill(home, process, rng)
            assert process.returncode == -signal.SIGKILL
            assert saved[sweep_id] > 0
            acknowledged.update(saved)
            check_nothing_lost(home, acknowledged)
            process = start(home)
            check_resumed(home, sweep_id)
        check_nothing_lost(home, acknowledged)
        finish_the_pair(home)
        assert end(process) == 0
    finally:
        if process.poll() is None:
            kill(process)
    return acknowledged


def check_resumed(home, sweep_id):
    """The setup stands where it stood, the cut sweep is told and marked."""
    with Client(home) as client:
        view = client.command("view").body
    assert view["step"] == "turns"
    assert view["advice"]["note"] == RESTARTED
    with BookReader.open(home) as reader:
        record = reader.show_setup(view["setup_id"])
        assert reader.open_sweeps() == []
    sweep = next(s for s in record["sweeps"] if s["id"] == sweep_id)
    assert sweep["state"] == "incomplete"


def finish_the_pair(home):
    """After all that the setup goes on: a turn each way gives numbers."""
    with Client(home) as client:
        for degrees in (385.0, -385.0):
            client.command("bench", do="turn", degrees=degrees, seconds=6.0)
            time.sleep(1.8)
        assert wait_until(lambda: client.command("view").body["found"])["eccentricity_mm"] > 0.01


def test_killed_ten_times_in_the_middle_of_a_sweep_nothing_acknowledged_is_lost(tmp_path):
    acknowledged = kills(tmp_path, 10, seed=7)
    assert sum(acknowledged.values()) > 100


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_killed_two_hundred_times(tmp_path):
    kills(tmp_path, 200, seed=8)
